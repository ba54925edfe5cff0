package tiling

import (
	"math"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/clip"
)

// window is the tile with its buffer, in units.
var window = orb.Bound{Min: orb.Point{-Buffer, -Buffer}, Max: orb.Point{Extent + Buffer, Extent + Buffer}}

// InWindow reports whether a place in units is in the tile or its buffer.
func InWindow(x, y float64) bool {
	return x >= -Buffer && x < Extent+Buffer && y >= -Buffer && y < Extent+Buffer
}

// Ground is the ring of a disc or a sector on the ground: radius in metres,
// bearing of its middle and width in degrees, clockwise from north. It is cut
// along the tile's buffer; nil where nothing of it is there. What reaches
// nowhere, and what no number says, is nowhere.
func (t Tile) Ground(at orb.Point, radius, bearing, width float64) [][2]int32 {
	x, y := t.Place(at)
	east, north := t.UnitsPerMetre(at[1])
	rx, ry := radius*east, radius*north
	if !(rx >= 0 && ry >= 0) || !Finite(orb.Point{rx, ry}) || !Finite(orb.Point{x, y}) || !Finite(orb.Point{bearing, width}) ||
		x+rx < window.Min[0] || x-rx > window.Max[0] || y+ry < window.Min[1] || y-ry > window.Max[1] {
		return nil
	}
	// A chord of 1/n of the circle stays within r (pi/n)^2 / 2 of it: half a unit.
	n := int(max(8, min(64, math.Ceil(math.Pi*math.Sqrt(max(rx, ry))/4)*4)))
	var ring orb.Ring
	corner := func(degrees float64) {
		sin, cos := math.Sincos(degrees * math.Pi / 180)
		ring = append(ring, orb.Point{x + rx*sin, y - ry*cos})
	}
	if width >= 360 {
		for i := range n {
			corner(360 * float64(i) / float64(n))
		}
	} else {
		ring = append(ring, orb.Point{x, y})
		n = max(2, int(math.Ceil(float64(n)*width/360)))
		for i := range n + 1 {
			corner(bearing - width/2 + width*float64(i)/float64(n))
		}
	}
	ring = append(ring, ring[0])
	return whole(clip.Ring(window, ring))
}

// whole rounds a ring to whole units and leaves out points that repeat the one
// before.
func whole(ring orb.Ring) [][2]int32 {
	out := make([][2]int32, 0, len(ring))
	for _, p := range ring {
		q := Unit(p[0], p[1])
		if len(out) == 0 || out[len(out)-1] != q {
			out = append(out, q)
		}
	}
	return out
}

// Unit rounds a place to whole units.
func Unit(x, y float64) [2]int32 {
	return [2]int32{int32(math.Floor(x + 0.5)), int32(math.Floor(y + 0.5))}
}

// Geometry gives a feature a geometry whose coordinates are whole units of the
// tile; of a collection it takes the members of the highest dimension.
func (l *Layer) Geometry(g orb.Geometry) {
	switch g := g.(type) {
	case orb.Point:
		l.Points(Unit(g[0], g[1]))
	case orb.MultiPoint:
		l.Points(whole(orb.Ring(g))...)
	case orb.LineString:
		l.Line(whole(orb.Ring(g)))
	case orb.MultiLineString:
		for _, line := range g {
			l.Line(whole(orb.Ring(line)))
		}
	case orb.Polygon:
		for i, ring := range g {
			if !l.Ring(whole(ring), i > 0) && i == 0 {
				return
			}
		}
	case orb.MultiPolygon:
		for _, p := range g {
			l.Geometry(p)
		}
	case orb.Collection:
		most := 0
		for _, member := range g {
			most = max(most, member.Dimensions())
		}
		for _, member := range g {
			if member.Dimensions() == most {
				l.Geometry(member)
			}
		}
	}
}
