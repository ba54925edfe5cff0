package geo

import (
	"math"

	"github.com/paulmach/orb"
)

// Zone is the ground a part of a tree can reach: a disc about the tree, a
// sector with its apex at the tree, or a surveyed Outline. An outline's Radius
// is only read: it is the distance of its farthest corner.
type Zone struct {
	Radius  float64 // metres
	Bearing float64 // centre of the sector, degrees clockwise from north
	Width   float64 // whole angle of the sector in degrees; 360 or more is a disc

	outline *outline // a pointer, so that zones can be compared
}

// Disc is the zone of everything within radius metres.
func Disc(radius float64) Zone { return Zone{Radius: radius, Width: 360} }

// Sector is the zone within radius metres and width/2 degrees to either side
// of a bearing (degrees clockwise from north).
func Sector(radius, bearing, width float64) Zone {
	return Zone{Radius: radius, Bearing: bearing, Width: width}
}

// IsDisc reports whether the zone is a disc: it goes all the way round and is
// no outline.
func (z Zone) IsDisc() bool { return z.Width >= 360 && z.outline == nil }

// Area is the zone's area in square metres.
func (z Zone) Area() float64 {
	if z.outline != nil {
		return z.outline.area
	}
	share := min(max(z.Width, 0), 360) / 360
	return math.Pi * z.Radius * z.Radius * share
}

// ContainsXY reports whether a point of the plane, metres from the apex, lies
// in the zone; its boundary belongs to it. An outline moves with its apex.
func (z Zone) ContainsXY(x, y float64) bool {
	c := newCutter(&z)
	return c.contains(x, y)
}

// Bound is the box of the zone about origin, degrees. It is never too small,
// is too large by less than a part in a thousand, and may run past ±180 in
// longitude (and past ±90 in latitude at a pole) rather than jump across.
func (z Zone) Bound(origin orb.Point) orb.Bound {
	p := NewPlane(origin)
	minX, minY, maxX, maxY := z.extent()
	pad := 1e-3 * z.Radius
	return orb.Bound{
		Min: orb.Point{origin[0] + (minX-pad)/p.kx, origin[1] + (minY-pad)/p.ky},
		Max: orb.Point{origin[0] + (maxX+pad)/p.kx, origin[1] + (maxY+pad)/p.ky},
	}
}

// extent is the zone's box in the plane, metres from the apex.
func (z Zone) extent() (minX, minY, maxX, maxY float64) {
	if o := z.outline; o != nil {
		return o.minX, o.minY, o.maxX, o.maxY
	}
	if z.IsDisc() {
		return -z.Radius, -z.Radius, z.Radius, z.Radius
	}
	reach := func(bearing float64) {
		x, y := direction(bearing)
		minX, maxX = min(minX, x*z.Radius), max(maxX, x*z.Radius)
		minY, maxY = min(minY, y*z.Radius), max(maxY, y*z.Radius)
	}
	reach(z.Bearing - z.Width/2)
	reach(z.Bearing + z.Width/2)
	for _, cardinal := range []float64{0, 90, 180, 270} {
		if math.Abs(wrapDegrees(cardinal-z.Bearing)) <= z.Width/2 {
			reach(cardinal)
		}
	}
	return minX, minY, maxX, maxY
}

// direction is the unit vector of a bearing: east, north.
func direction(bearing float64) (x, y float64) {
	return math.Sincos(bearing * radPerDeg)
}
