package geo

import (
	"github.com/paulmach/orb"
)

// Overlap is the measure of the part of a geometry that lies in a zone about
// origin: points in it, metres of lines, square metres of polygons less their
// holes. Ring winding does not matter. Members of a collection or multipart
// that cover the same ground count each; the area never exceeds the zone's.
//
// It is the plain form, one geometry at a time; Index.Overlaps gives the same
// for many. Coordinates must have passed CheckGeometry.
func Overlap(z Zone, origin orb.Point, g orb.Geometry) Measure {
	o := overlapper{
		plane:  NewPlane(origin),
		cutter: newCutter(&z),
		lon:    origin[0],
	}
	if o.cutter.empty {
		return Measure{}
	}
	// Room beyond the zone keeps the clipping edges, whose position in the
	// plane is only nearly straight, out of it.
	b := Disc(z.Radius * 1.1).Bound(origin)
	o.near = box{b.Min[0], b.Min[1], b.Max[0], b.Max[1]}
	m := o.measure(g)
	m.AreaM2 = min(settle(m.AreaM2, z.Radius), z.Area())
	return m
}

// settle clears what rounding leaves where a hole takes out all of its
// polygon's share.
func settle(area, radius float64) float64 {
	if area < 1e-9*radius*radius {
		return 0
	}
	return area
}

type overlapper struct {
	plane  Plane
	cutter cutter
	lon    float64
	near   box
}

func (o *overlapper) measure(g orb.Geometry) Measure {
	switch g := g.(type) {
	case orb.Point:
		return o.point(g)
	case orb.MultiPoint:
		var sum Measure
		for _, p := range g {
			sum = sum.plus(o.point(p))
		}
		return sum
	case orb.LineString:
		return Measure{LengthM: o.line(g)}
	case orb.MultiLineString:
		return sumOf(g, o.measure)
	case orb.Ring:
		return o.measure(orb.Polygon{g})
	case orb.Polygon:
		return Measure{AreaM2: o.polygon(g)}
	case orb.MultiPolygon:
		return sumOf(g, o.measure)
	case orb.Collection:
		return sumOf(g, o.measure)
	case orb.Bound:
		return o.measure(g.ToPolygon())
	}
	return Measure{}
}

func (o *overlapper) point(p orb.Point) Measure {
	x, y := o.plane.ToPlane(p)
	if o.cutter.contains(x, y) {
		return Measure{Points: 1}
	}
	return Measure{}
}

func (o *overlapper) project(dlon, dlat float64) (x, y float64) {
	return dlon * o.plane.kx, dlat * o.plane.ky
}

func (o *overlapper) line(line []orb.Point) float64 {
	line = unwrap(nil, line, o.lon)
	sum := 0.0
	for i := 1; i < len(line); i++ {
		a, b, ok := clipSegment(line[i-1], line[i], o.near)
		if !ok {
			continue
		}
		ax, ay := o.project(a[0]-o.lon, a[1]-o.plane.lat0)
		bx, by := o.project(b[0]-o.lon, b[1]-o.plane.lat0)
		sum += o.cutter.segmentLength(ax, ay, bx, by)
	}
	return sum
}

func (o *overlapper) polygon(g orb.Polygon) float64 {
	sum := 0.0
	for i, r := range g {
		ring := openRing(r)
		if ring == nil {
			continue
		}
		ring = unwrap(nil, ring, o.lon)
		orient(ring, i > 0)
		sum += o.ring(clipRing(ring, o.near))
	}
	return sum
}

func (o *overlapper) ring(ring []orb.Point) float64 {
	if len(ring) == 0 {
		return 0
	}
	last := ring[len(ring)-1]
	ax, ay := o.project(last[0]-o.lon, last[1]-o.plane.lat0)
	sum := 0.0
	for _, b := range ring {
		bx, by := o.project(b[0]-o.lon, b[1]-o.plane.lat0)
		sum += o.cutter.edgeArea(ax, ay, bx, by)
		ax, ay = bx, by
	}
	return sum
}
