package geo

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// box is a rectangle in degrees whose longitudes may run past ±180.
type box struct{ minX, minY, maxX, maxY float64 }

func boxOf(points []orb.Point) box {
	b := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, p := range points {
		b.minX, b.maxX = min(b.minX, p[0]), max(b.maxX, p[0])
		b.minY, b.maxY = min(b.minY, p[1]), max(b.maxY, p[1])
	}
	return b
}

func (b box) with(p orb.Point) box {
	return box{min(b.minX, p[0]), min(b.minY, p[1]), max(b.maxX, p[0]), max(b.maxY, p[1])}
}

func (b box) meets(o box) bool {
	return b.minX <= o.maxX && b.maxX >= o.minX && b.minY <= o.maxY && b.maxY >= o.minY
}

// unwrap copies positions with longitudes made continuous, so that a line
// across the antimeridian does not go round the world: each step is taken the
// short way. It then moves the whole by full turns to lie nearest to lon. The
// result is written over dst.
func unwrap(dst, points []orb.Point, lon float64) []orb.Point {
	out := append(dst[:0], points...)
	for i := 1; i < len(out); i++ {
		if d := out[i][0] - out[i-1][0]; d > 180 || d < -180 {
			out[i][0] = out[i-1][0] + wrapDegrees(d)
		}
	}
	b := boxOf(out)
	shift := 360 * math.Round((lon-(b.minX+b.maxX)/2)/360)
	if shift != 0 {
		for i := range out {
			out[i][0] += shift
		}
	}
	return out
}

// openRing drops the closing position. It returns nil for what has no area.
func openRing(ring []orb.Point) []orb.Point {
	if n := len(ring); n > 1 && ring[0] == ring[n-1] {
		ring = ring[:n-1]
	}
	if len(ring) < 3 {
		return nil
	}
	return ring
}

// orient turns an open ring anticlockwise, or clockwise for a hole, by its
// signed area in degrees: files do not agree on winding.
func orient(ring []orb.Point, hole bool) {
	twice := 0.0
	a, o := ring[len(ring)-1], ring[0]
	for _, b := range ring {
		twice += (a[0]-o[0])*(b[1]-o[1]) - (a[1]-o[1])*(b[0]-o[0])
		a = b
	}
	if (twice < 0) != hole {
		slices.Reverse(ring)
	}
}

// halfPlane is the side of an axis-aligned line: coordinate axis (0 longitude,
// 1 latitude) not above the limit, or not below it.
type halfPlane struct {
	axis  int
	limit float64
	above bool
}

func (h halfPlane) depth(p orb.Point) float64 {
	if h.above {
		return p[h.axis] - h.limit
	}
	return h.limit - p[h.axis]
}

// cut appends to dst the part of an open ring in the half-plane (Sutherland
// and Hodgman 1974). Parts that come apart stay joined by edges that run to
// and fro along the limit; they add no signed area.
func (h halfPlane) cut(dst, ring []orb.Point) []orb.Point {
	if len(ring) == 0 {
		return dst
	}
	a := ring[len(ring)-1]
	da := h.depth(a)
	for _, b := range ring {
		db := h.depth(b)
		if (da < 0 && db > 0) || (da > 0 && db < 0) {
			dst = append(dst, h.meet(a, b, da, db))
		}
		if db >= 0 {
			dst = append(dst, b)
		}
		a, da = b, db
	}
	return dst
}

// meet is where a–b meets the limit. The result does not depend on the
// direction of the edge, so neighbours share their corners to the bit.
func (h halfPlane) meet(a, b orb.Point, da, db float64) orb.Point {
	if a[0] > b[0] || (a[0] == b[0] && a[1] > b[1]) {
		a, b, da, db = b, a, db, da
	}
	t := da / (da - db)
	p := orb.Point{a[0] + t*(b[0]-a[0]), a[1] + t*(b[1]-a[1])}
	p[h.axis] = h.limit
	return p
}

// clipRing is the part of an open ring in a box.
func clipRing(ring []orb.Point, b box) []orb.Point {
	ring = halfPlane{0, b.minX, true}.cut(nil, ring)
	ring = halfPlane{0, b.maxX, false}.cut(nil, ring)
	ring = halfPlane{1, b.minY, true}.cut(nil, ring)
	return halfPlane{1, b.maxY, false}.cut(nil, ring)
}

// clipSegment is the part of a segment in a box (Liang and Barsky 1984).
func clipSegment(p, q orb.Point, b box) (orb.Point, orb.Point, bool) {
	t0, t1 := 0.0, 1.0
	t0, t1 = keepNotAbove(t0, t1, b.minX-p[0], b.minX-q[0])
	t0, t1 = keepNotAbove(t0, t1, p[0]-b.maxX, q[0]-b.maxX)
	t0, t1 = keepNotAbove(t0, t1, b.minY-p[1], b.minY-q[1])
	t0, t1 = keepNotAbove(t0, t1, p[1]-b.maxY, q[1]-b.maxY)
	return between(p, q, t0), between(p, q, t1), t0 < t1
}

// between is the position at t of the way from p to q, exact at both ends.
func between(p, q orb.Point, t float64) orb.Point {
	switch t {
	case 0:
		return p
	case 1:
		return q
	}
	return orb.Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])}
}
