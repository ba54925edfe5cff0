package geo_test

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"github.com/underbough/underbough/geo"
)

// A second way to measure what two shapes have in common, which shares nothing
// with the package: scan lines. Between two neighbouring heights at which
// something happens (a corner, two edges that cross) the width in common goes
// linearly with the height, so its middle gives the slab exactly.

type flatEdge struct{ ax, ay, bx, by float64 }

// flatEdges are the edges of a geometry's rings or lines on the plane.
func flatEdges(plane geo.Plane, g orb.Geometry) (out []flatEdge) {
	run := func(points []orb.Point) {
		for i := 1; i < len(points); i++ {
			ax, ay := plane.ToPlane(points[i-1])
			bx, by := plane.ToPlane(points[i])
			out = append(out, flatEdge{ax, ay, bx, by})
		}
	}
	switch g := g.(type) {
	case orb.LineString:
		run(g)
	case orb.MultiLineString:
		for _, line := range g {
			run(line)
		}
	case orb.Polygon:
		for _, ring := range g {
			run(ring)
		}
	case orb.MultiPolygon:
		for _, polygon := range g {
			out = append(out, flatEdges(plane, polygon)...)
		}
	}
	return out
}

// spansAt are the places where a scan line enters and leaves, in pairs.
func spansAt(edges []flatEdge, y float64) (out []float64) {
	for _, e := range edges {
		if (e.ay <= y) != (e.by <= y) {
			out = append(out, e.ax+(y-e.ay)/(e.by-e.ay)*(e.bx-e.ax))
		}
	}
	slices.Sort(out)
	return out
}

func commonWidth(a, b []float64) (sum float64) {
	for i := 0; i+1 < len(a); i += 2 {
		for k := 0; k+1 < len(b); k += 2 {
			sum += max(min(a[i+1], b[k+1])-max(a[i], b[k]), 0)
		}
	}
	return sum
}

func scannedArea(a, b []flatEdge) (sum float64) {
	var heights []float64
	for _, e := range append(slices.Clone(a), b...) {
		heights = append(heights, e.ay)
	}
	for _, e := range a {
		for _, f := range b {
			ex, ey, fx, fy := e.bx-e.ax, e.by-e.ay, f.bx-f.ax, f.by-f.ay
			if s := ((f.ax-e.ax)*fy - (f.ay-e.ay)*fx) / (ex*fy - ey*fx); s > 0 && s < 1 {
				heights = append(heights, e.ay+s*ey)
			}
		}
	}
	slices.Sort(heights)
	for i := 1; i < len(heights); i++ {
		y := (heights[i-1] + heights[i]) / 2
		sum += (heights[i] - heights[i-1]) * commonWidth(spansAt(a, y), spansAt(b, y))
	}
	return sum
}

// scannedLength turns the plane until each segment lies along a scan line. It
// looks a little to both sides as well: degrees round at some 3e-9 m, which an
// edge that runs nearly along the segment magnifies.
func scannedLength(shape, line []flatEdge) (low, high float64) {
	for _, s := range line {
		length := math.Hypot(s.bx-s.ax, s.by-s.ay)
		if length == 0 {
			continue
		}
		cos, sin := (s.bx-s.ax)/length, (s.by-s.ay)/length
		turned := make([]flatEdge, len(shape))
		for i, e := range shape {
			ax, ay, bx, by := e.ax-s.ax, e.ay-s.ay, e.bx-s.ax, e.by-s.ay
			turned[i] = flatEdge{ax*cos + ay*sin, ay*cos - ax*sin, bx*cos + by*sin, by*cos - bx*sin}
		}
		least, most := math.Inf(1), 0.0
		for _, aside := range []float64{-1e-8, 0, 1e-8} {
			w := commonWidth(spansAt(turned, aside), []float64{0, length})
			least, most = min(least, w), max(most, w)
		}
		low, high = low+least, high+most
	}
	return low, high
}

func outlineM(edges []flatEdge) (sum float64) {
	for _, e := range edges {
		sum += math.Hypot(e.bx-e.ax, e.by-e.ay)
	}
	return sum
}

// pointsOnEdge counts the points of a collection's first member within a
// micrometre of an edge of a crown, which rounding may put on either side.
func pointsOnEdge(plane geo.Plane, g orb.Geometry, crown orb.Geometry) (n int) {
	collection, ok := g.(orb.Collection)
	if !ok {
		return 0
	}
	edges := flatEdges(plane, crown)
	for _, p := range collection[0].(orb.MultiPoint) {
		x, y := plane.ToPlane(p)
		if slices.ContainsFunc(edges, func(e flatEdge) bool {
			a, b := orb.Point{e.ax, e.ay}, orb.Point{e.bx, e.by}
			return planar.DistanceFromSegment(a, b, orb.Point{x, y}) < 1e-6
		}) {
			n++
		}
	}
	return n
}
