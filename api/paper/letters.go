package paper

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"

	"github.com/underbough/underbough/inventory"
)

// letters writes each kind's letter on what shows of its areas, where there is
// room that nothing else has taken. Small areas stay without.
func (d *drawing) letters(f *frame, targets []inventory.Target, taken []orb.Bound) {
	for i := range targets {
		var polygons orb.MultiPolygon
		switch g := f.project(targets[i].Geometry).(type) {
		case orb.Polygon:
			polygons = orb.MultiPolygon{g}
		case orb.MultiPolygon:
			polygons = g
		}
		if p, ok := roomIn(polygons, f.view, taken); ok {
			taken = append(taken, around(p, letterRoom))
			d.halo(p[0], p[1]+4, `font-size="12" font-weight="bold"`, lookOf(targets[i].Kind, 1).letter)
		}
	}
}

// letterRoom is half of what a letter needs about it.
const letterRoom = 9.0

func around(p orb.Point, pad float64) orb.Bound { return orb.Bound{Min: p, Max: p}.Pad(pad) }

// roomIn looks for room for a letter in the largest of some areas: its middle,
// else a place of a grid over it.
func roomIn(polygons orb.MultiPolygon, view orb.Bound, taken []orb.Bound) (orb.Point, bool) {
	var best orb.Polygon
	most := 0.0
	for _, p := range polygons {
		if len(p) > 0 && len(p[0]) > 3 {
			if area := math.Abs(planar.Area(p)); area > most {
				best, most = p, area
			}
		}
	}
	if most < 4*letterRoom*letterRoom {
		return orb.Point{}, false
	}
	free := func(p orb.Point) bool {
		b := around(p, letterRoom)
		return view.Contains(b.Min) && view.Contains(b.Max) && !slices.ContainsFunc(taken, b.Intersects) &&
			planar.PolygonContains(best, b.Min) && planar.PolygonContains(best, b.Max) && planar.PolygonContains(best, b.LeftTop()) && planar.PolygonContains(best, b.RightBottom())
	}
	if c, _ := planar.CentroidArea(best); free(c) {
		return c, true
	}
	const steps = 9
	b := best.Bound()
	for i := 1; i < steps; i++ {
		for k := 1; k < steps; k++ {
			p := orb.Point{b.Min[0] + (b.Max[0]-b.Min[0])*float64(k)/steps, b.Min[1] + (b.Max[1]-b.Min[1])*float64(i)/steps}
			if free(p) {
				return p, true
			}
		}
	}
	return orb.Point{}, false
}
