package importers

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"
	orbgeo "github.com/paulmach/orb/geo"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/importers/source"
)

// astray finds points that are in range and yet cannot be right: beside 0,0,
// with longitude and latitude swapped, or far from all others.
type astray struct {
	lon, lat float64
	km       float64
	on       bool
}

// nullIsland is how near to 0,0 a position may not be, degrees: what is written
// there is a missing value that was read as zero.
const nullIsland = 0.01

func (a astray) check(p orb.Point) *source.Problem {
	if math.Abs(p[0]) < nullIsland && math.Abs(p[1]) < nullIsland {
		return &source.Problem{Field: "geometry", Reason: fmt.Sprintf("the position %v, %v is beside 0,0: the coordinates are missing", p[0], p[1])}
	}
	if !a.on {
		return nil
	}
	middle := orb.Point{a.lon, a.lat}
	away := orbgeo.Distance(p, middle) / 1000
	if away <= a.km {
		return nil
	}
	if swapped := (orb.Point{p[1], p[0]}); math.Abs(p[0]) <= 90 && orbgeo.Distance(swapped, middle)/1000 <= a.km {
		return &source.Problem{Field: "geometry", Reason: fmt.Sprintf("longitude %v and latitude %v are swapped: the other way round the point lies among the others", p[0], p[1])}
	}
	return &source.Problem{Field: "geometry", Reason: fmt.Sprintf("the position %v, %v lies %.0f km from the middle of the site, more than %.0f km: correct it, or raise --max-km", p[0], p[1], away, a.km)}
}

// middle returns the median position of the sample's records, which a few bad
// ones do not move.
func middle(records []source.Record) (lon, lat float64, ok bool) {
	var xs, ys []float64
	for i := range records {
		if records[i].Geometry == nil || records[i].GeometryProblem != nil || records[i].Problem != nil {
			continue
		}
		if geo.CheckGeometry(records[i].Geometry) != nil {
			continue // what is out of range has no say in where the site is
		}
		c := records[i].Geometry.Bound().Center()
		xs, ys = append(xs, c[0]), append(ys, c[1])
	}
	if len(xs) == 0 {
		return 0, 0, false
	}
	slices.Sort(xs)
	slices.Sort(ys)
	return xs[len(xs)/2], ys[len(ys)/2], true
}
