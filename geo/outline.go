package geo

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"
)

// maxOutlineM is how far an outline may reach from its tree. The plane is not
// meant for more, and no crown is so wide: the two belong to different trees.
const maxOutlineM = 1000.0

// Outline is the zone of a surveyed crown: a polygon or multipolygon with its
// holes, in degrees, projected onto the plane about the tree at origin. Its
// Radius is the distance of the farthest corner. The tree need not stand in
// it. Rings may wind either way; they must not cross themselves or each other.
// Two outlines are equal (==) when they are copies of one.
//
// The error says what keeps g from being used: another type, no or too few
// corners, coordinates out of range, no area, or more than 1 km between the
// tree and its farthest corner.
func Outline(g orb.Geometry, origin orb.Point) (Zone, error) {
	if err := CheckPoint(origin[0], origin[1]); err != nil {
		return Zone{}, fmt.Errorf("tree of the outline: %w", err)
	}
	var polygons orb.MultiPolygon
	switch g := g.(type) {
	case orb.Polygon:
		polygons = orb.MultiPolygon{g}
	case orb.MultiPolygon:
		polygons = g
	case nil:
		return Zone{}, fmt.Errorf("outline is missing: give a Polygon or MultiPolygon")
	default:
		return Zone{}, fmt.Errorf("outline is a %s: give a Polygon or MultiPolygon", g.GeoJSONType())
	}
	if err := CheckGeometry(polygons); err != nil {
		return Zone{}, fmt.Errorf("outline: %w", err)
	}
	plane, o := NewPlane(origin), &outline{}
	for i, polygon := range polygons {
		if err := o.add(&plane, polygon); err != nil {
			return Zone{}, fmt.Errorf("outline: polygon %d of %d: %w", i+1, len(polygons), err)
		}
	}
	return o.zone()
}

// IsOutline reports whether the zone is a surveyed outline, made by Outline.
func (z Zone) IsOutline() bool { return z.outline != nil }

// outline is the prepared ground of a surveyed zone, in metres from the tree.
// It does not change once made: zones that are copies of each other share it.
type outline struct {
	box                    // metres here, not degrees
	parts  [][][]orb.Point // open rings; exterior anticlockwise, then holes clockwise
	edges  []outlineEdge   // of all rings
	area   float64         // square metres
	radius float64         // of the farthest corner
}

// outlineEdge is an edge with the outline on its left.
type outlineEdge struct {
	px, py, qx, qy float64
	twice          float64 // signed area, twice, of the triangle apex, p, q
}

func (o *outline) add(plane *Plane, polygon orb.Polygon) error {
	if len(polygon) == 0 {
		return fmt.Errorf("no rings: give at least an exterior ring")
	}
	var rings [][]orb.Point
	for i, r := range polygon {
		open := openRing(r)
		if open == nil {
			return fmt.Errorf("ring %d has %d positions: give three corners or more and the first again", i+1, len(r))
		}
		ring := make([]orb.Point, len(open))
		for k, p := range open {
			ring[k][0], ring[k][1] = plane.ToPlane(p)
			o.radius = max(o.radius, math.Hypot(ring[k][0], ring[k][1]))
		}
		orient(ring, i > 0)
		rings = append(rings, ring)
		o.addEdges(ring)
	}
	o.parts = append(o.parts, rings)
	return nil
}

func (o *outline) addEdges(ring []orb.Point) {
	p := ring[len(ring)-1]
	for _, q := range ring {
		if p != q {
			e := outlineEdge{p[0], p[1], q[0], q[1], p[0]*q[1] - p[1]*q[0]}
			o.edges = append(o.edges, e)
		}
		p = q
	}
}

func (o *outline) zone() (Zone, error) {
	if len(o.parts) == 0 {
		return Zone{}, fmt.Errorf("outline is empty: give a polygon of three corners or more")
	}
	if o.radius > maxOutlineM {
		return Zone{}, fmt.Errorf("outline reaches %.0f m from the tree, more than %.0f m: check that both are of the same tree", o.radius, maxOutlineM)
	}
	o.box = boxOf(nil)
	for i := range o.edges {
		e := &o.edges[i]
		// About a corner, not the tree: far from it the sum would cancel.
		c := &o.edges[0]
		o.area += ((e.px-c.px)*(e.qy-c.py) - (e.py-c.py)*(e.qx-c.px)) / 2
		o.minX, o.maxX = min(o.minX, e.px), max(o.maxX, e.px)
		o.minY, o.maxY = min(o.minY, e.py), max(o.maxY, e.py)
	}
	if settle(o.area, o.radius) == 0 {
		return Zone{}, fmt.Errorf("outline has no area: give corners that enclose ground")
	}
	return Zone{Radius: o.radius, Width: 360, outline: o}, nil
}
