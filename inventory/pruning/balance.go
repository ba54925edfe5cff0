package pruning

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
)

// Radius is how far the crown reaches from the stem on one bearing.
type Radius struct {
	BearingDeg float64 `json:"bearing_deg"` // clockwise from north
	Metres     float64 `json:"metres"`
}

// Asymmetry says how much a crown hangs to one side of its stem. Weight is taken
// to be spread evenly over the crown's area, and the crown to end in straight
// lines from radius to radius.
type Asymmetry struct {
	MeanM float64 `json:"mean_m"` // radius of the disc that the radii are the mean of
	// OffsetM is how far the middle of the crown's area lies from the stem, and
	// HeavyDeg on which bearing: the lever of the crown's own weight.
	OffsetM  float64 `json:"offset_m"`
	HeavyDeg float64 `json:"heavy_deg"`
	// OffsetShare is the offset over the mean radius: the overturning moment of
	// the crown's own weight for each newton and metre of mean radius.
	OffsetShare float64 `json:"offset_share"`
	// VectorM is the mean of the radii as vectors, each with the angle that is
	// nearest to it. For a disc beside its stem it is half the offset.
	VectorM  float64    `json:"vector_m"`
	Longest  Radius     `json:"longest"`
	Opposite []Opposite `json:"opposite"`
}

// Opposite compares two sides of a crown.
type Opposite struct {
	BearingDeg float64 `json:"bearing_deg"` // of the longer side
	Ratio      float64 `json:"ratio"`       // longer over shorter; 0 where the shorter is nothing
}

// Moment is the overturning moment of the crown's own weight at the stem, N·m,
// from its weight in newtons.
func (a *Asymmetry) Moment(weightN float64) float64 { return weightN * a.OffsetM }

// Balance works out a crown's asymmetry from radii on three or more bearings, in
// any order. The error says which radius cannot be, or that half a turn or more
// lies between two bearings.
func Balance(radii []Radius) (Asymmetry, error) {
	r, err := around(radii)
	if err != nil {
		return Asymmetry{}, err
	}
	a := Asymmetry{Longest: r[0]}
	var area, mx, my, vx, vy float64
	for i := range r {
		next, before := r[(i+1)%len(r)], r[(i+len(r)-1)%len(r)]
		x, y := tip(r[i])
		nx, ny := tip(next)
		// The triangle from the stem to two neighbouring tips.
		t := (nx*y - x*ny) / 2
		area += t
		mx += t * (x + nx) / 3
		my += t * (y + ny) / 3
		weight := (turn(before, r[i]) + turn(r[i], next)) / 720
		a.MeanM += weight * r[i].Metres
		vx += weight * x
		vy += weight * y
		if r[i].Metres > a.Longest.Metres {
			a.Longest = r[i]
		}
	}
	if !(area > 0) {
		return Asymmetry{}, inventory.Errorf(inventory.Invalid, "crown radii enclose no area: expected three or more above 0")
	}
	a.OffsetM, a.VectorM = math.Hypot(mx, my)/area, math.Hypot(vx, vy)
	a.OffsetShare = a.OffsetM / a.MeanM
	// Of a crown that is even to rounding no side is heavy.
	if a.OffsetShare > 1e-9 {
		a.HeavyDeg = math.Mod(math.Atan2(mx, my)*180/math.Pi+360, 360)
	}
	a.Opposite = opposites(r)
	return a, nil
}

// around checks radii and puts them in the order of their bearings.
func around(radii []Radius) ([]Radius, error) {
	if len(radii) < 3 {
		return nil, inventory.Errorf(inventory.Invalid, "crown radii: %d are given, expected three or more", len(radii))
	}
	r := slices.Clone(radii)
	for i := range r {
		if !(r[i].Metres >= 0) || math.IsInf(r[i].Metres, 0) || math.IsNaN(r[i].BearingDeg) || math.IsInf(r[i].BearingDeg, 0) {
			return nil, inventory.Errorf(inventory.Invalid, "crown radius %v m at bearing %v°: expected 0 or more metres and a bearing in degrees", r[i].Metres, r[i].BearingDeg)
		}
		r[i].BearingDeg = math.Mod(math.Mod(r[i].BearingDeg, 360)+360, 360)
	}
	slices.SortFunc(r, func(a, b Radius) int {
		switch {
		case a.BearingDeg < b.BearingDeg:
			return -1
		case a.BearingDeg > b.BearingDeg:
			return 1
		}
		return 0
	})
	for i := range r {
		next := r[(i+1)%len(r)]
		if g := turn(r[i], next); g == 0 || g >= 180 {
			return nil, inventory.Errorf(inventory.Invalid, "crown radii at bearings %v° and %v°: expected bearings that differ, less than half a turn apart", r[i].BearingDeg, next.BearingDeg)
		}
	}
	return r, nil
}

// turn is the angle from a on to b, degrees.
func turn(a, b Radius) float64 { return math.Mod(b.BearingDeg-a.BearingDeg+360, 360) }

func tip(r Radius) (x, y float64) {
	sin, cos := math.Sincos(r.BearingDeg * math.Pi / 180)
	return r.Metres * sin, r.Metres * cos
}

func opposites(r []Radius) []Opposite {
	var out []Opposite
	for _, one := range r {
		if one.BearingDeg >= 180 {
			break
		}
		other := Radius{BearingDeg: one.BearingDeg + 180, Metres: radiusAt(r, one.BearingDeg+180)}
		long, short := one, other
		if other.Metres > one.Metres {
			long, short = other, one
		}
		o := Opposite{BearingDeg: long.BearingDeg}
		if short.Metres > 0 {
			o.Ratio = long.Metres / short.Metres
		}
		out = append(out, o)
	}
	return out
}

// radiusAt is the radius on a bearing, between its neighbours by angle.
func radiusAt(r []Radius, bearing float64) float64 {
	at := Radius{BearingDeg: bearing}
	for i := range r {
		next := r[(i+1)%len(r)]
		if on := turn(r[i], at); on < turn(r[i], next) {
			return r[i].Metres + (next.Metres-r[i].Metres)*on/turn(r[i], next)
		}
	}
	return r[0].Metres
}

// CrownRadii measures a surveyed outline on n bearings from north on: from the
// stem to where the outline is left for the last time. A bearing on which there
// is no crown has 0. It reports false where none was surveyed.
func CrownRadii(t *inventory.Tree, n int) ([]Radius, bool) {
	var outlines orb.MultiPolygon
	switch g := t.Crown.(type) {
	case orb.Polygon:
		outlines = orb.MultiPolygon{g}
	case orb.MultiPolygon:
		outlines = g
	}
	if len(outlines) == 0 || n < 3 {
		return nil, false
	}
	plane := geo.NewPlane(t.Point)
	radii := make([]Radius, n)
	seen := false
	for i := range radii {
		radii[i].BearingDeg = 360 * float64(i) / float64(n)
		sin, cos := math.Sincos(radii[i].BearingDeg * math.Pi / 180)
		for _, polygon := range outlines {
			// Holes end no crown: the outer ring is what is farthest.
			if len(polygon) > 0 {
				radii[i].Metres = max(radii[i].Metres, farthest(&plane, polygon[0], sin, cos))
			}
		}
		seen = seen || radii[i].Metres > 0
	}
	return radii, seen
}

// measured returns the crown's radii, surveyed or else as recorded to the four
// sides, and how they were come by. A side that was not recorded leaves half a
// turn open, and then there are none.
func measured(t *inventory.Tree) (radii []Radius, how string, ok bool) {
	if radii, ok = CrownRadii(t, rays); ok {
		return radii, "surveyed crown", true
	}
	for i, r := range t.CrownRadii {
		if !r.OK {
			return nil, "", false
		}
		radii = append(radii, Radius{BearingDeg: 90 * float64(i), Metres: r.V})
	}
	return radii, "crown, measured to its four sides,", true
}

// farthest is the largest distance from the origin at which the ray in direction
// (dx, dy) meets a ring; 0 for none.
func farthest(plane *geo.Plane, ring orb.Ring, dx, dy float64) float64 {
	most := 0.0
	for i := range ring {
		ax, ay := plane.ToPlane(ring[i])
		bx, by := plane.ToPlane(ring[(i+1)%len(ring)])
		// Distances to the left of the ray; the edge meets its line between signs.
		la, lb := dx*ay-dy*ax, dx*by-dy*bx
		if la == 0 {
			most = max(most, dx*ax+dy*ay)
		}
		if la < 0 != (lb < 0) && la != lb {
			s := la / (la - lb)
			most = max(most, dx*(ax+s*(bx-ax))+dy*(ay+s*(by-ay)))
		}
	}
	return most
}

// String says an asymmetry in words.
func (a *Asymmetry) String() string {
	return fmt.Sprintf("middle of the crown %s off the stem at bearing %.0f° (%s of the mean radius, %s)", metres(a.OffsetM), a.HeavyDeg, percentOf(a.OffsetShare), metres(a.MeanM))
}
