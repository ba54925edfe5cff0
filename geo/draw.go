package geo

import (
	"github.com/paulmach/orb"
)

// Polygon is the zone's outline about origin for drawing: its corners lie on
// the zone's edge, segments of them to the full circle (at least 8), the
// exterior ring anticlockwise and closed. Where the zone crosses the
// antimeridian it is cut there into a MultiPolygon (RFC 7946, section 3.1.9).
// Measure with Overlap, never with this outline.
func (z Zone) Polygon(origin orb.Point, segments int) orb.Geometry {
	ring := z.outline(origin, max(segments, 8))
	if b := boxOf(ring); b.minX >= -180 && b.maxX <= 180 {
		return orb.Polygon{closeRing(ring)}
	}
	var parts orb.MultiPolygon
	for _, shift := range []float64{0, 360, -360} {
		part := halfPlane{0, -180 + shift, true}.cut(nil, ring)
		part = halfPlane{0, 180 + shift, false}.cut(nil, part)
		if len(part) < 3 {
			continue
		}
		for i := range part {
			part[i][0] -= shift
		}
		parts = append(parts, orb.Polygon{closeRing(part)})
	}
	return parts
}

// outline is the open ring of the zone, anticlockwise, longitudes continuous.
func (z Zone) outline(origin orb.Point, segments int) []orb.Point {
	p := NewPlane(origin)
	width := min(max(z.Width, 0), 360)
	var ring []orb.Point
	last := segments - 1 // a disc's first corner is not repeated
	if !z.IsDisc() {
		ring = append(ring, origin)
		segments = max(int(float64(segments)*width/360+0.5), 2)
		last = segments
	}
	for i := range last + 1 {
		x, y := direction(z.Bearing + width/2 - width*float64(i)/float64(segments))
		ring = append(ring, orb.Point{origin[0] + x*z.Radius/p.kx, origin[1] + y*z.Radius/p.ky})
	}
	return ring
}

func closeRing(ring []orb.Point) orb.Ring {
	return append(orb.Ring(ring), ring[0])
}
