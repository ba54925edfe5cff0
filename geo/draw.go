package geo

import (
	"github.com/paulmach/orb"
)

// Polygon is the zone's edge about origin for drawing: its corners lie on it,
// segments of them to the full circle (at least 8); a surveyed outline keeps
// the corners it has. Exterior rings are anticlockwise, holes clockwise, all
// closed. Where the zone crosses the antimeridian it is cut there into a
// MultiPolygon (RFC 7946, section 3.1.9), and it ends at the poles. Measure with
// Overlap, never with this polygon.
func (z Zone) Polygon(origin orb.Point, segments int) orb.Geometry {
	var parts orb.MultiPolygon
	for _, rings := range z.rings(origin, max(segments, 8)) {
		for _, ring := range rings {
			for i := range ring {
				ring[i][1] = max(-90, min(90, ring[i][1]))
			}
		}
		if b := boxOf(rings[0]); b.minX >= -180 && b.maxX <= 180 {
			parts = append(parts, closeRings(rings))
			continue
		}
		for _, shift := range turns {
			if part := worldPart(rings, shift); len(part) > 0 {
				parts = append(parts, part)
			}
		}
	}
	if len(parts) == 1 {
		return parts[0]
	}
	return parts
}

// worldPart is what of a polygon lies within ±180 after a turn of -shift.
func worldPart(rings [][]orb.Point, shift float64) orb.Polygon {
	var part [][]orb.Point
	for _, ring := range rings {
		ring = halfPlane{0, -180 + shift, true}.cut(nil, ring)
		ring = halfPlane{0, 180 + shift, false}.cut(nil, ring)
		if len(ring) < 3 {
			if len(part) == 0 {
				return nil // no exterior, so no holes either
			}
			continue
		}
		for i := range ring {
			ring[i][0] -= shift
		}
		part = append(part, ring)
	}
	return closeRings(part)
}

// rings is the zone's polygons in degrees: open rings, longitudes continuous.
func (z Zone) rings(origin orb.Point, segments int) [][][]orb.Point {
	if z.outline == nil {
		return [][][]orb.Point{{z.corners(origin, segments)}}
	}
	p := NewPlane(origin)
	parts := make([][][]orb.Point, len(z.outline.parts))
	for i, rings := range z.outline.parts {
		for _, ring := range rings {
			moved := make([]orb.Point, len(ring))
			for k, xy := range ring {
				moved[k] = orb.Point{origin[0] + xy[0]/p.kx, origin[1] + xy[1]/p.ky}
			}
			parts[i] = append(parts[i], moved)
		}
	}
	return parts
}

// corners is the open ring of a disc or sector, anticlockwise.
func (z Zone) corners(origin orb.Point, segments int) []orb.Point {
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

func closeRings(rings [][]orb.Point) orb.Polygon {
	polygon := make(orb.Polygon, len(rings))
	for i, ring := range rings {
		polygon[i] = append(orb.Ring(ring), ring[0])
	}
	return polygon
}
