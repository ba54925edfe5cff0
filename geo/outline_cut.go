package geo

import (
	"math"
	"slices"
)

// contains is the even-odd rule; points on an edge belong.
func (o *outline) contains(x, y float64) bool {
	if x < o.minX || x > o.maxX || y < o.minY || y > o.maxY {
		return false
	}
	in := false
	for i := range o.edges {
		e := &o.edges[i]
		if y < min(e.py, e.qy) || y > max(e.py, e.qy) {
			continue
		}
		side := (e.qx-e.px)*(y-e.py) - (e.qy-e.py)*(x-e.px)
		if side == 0 && x >= min(e.px, e.qx) && x <= max(e.px, e.qx) {
			return true
		}
		if (e.py > y) != (e.qy > y) && (side > 0) == (e.qy > e.py) {
			in = !in
		}
	}
	return in
}

// segmentLength splits a→b at every edge it meets; each stretch is in or out
// as a whole, and its middle tells which. A stretch along an edge is in if
// rounding leaves its middle on the edge or to the inside.
func (o *outline) segmentLength(ax, ay, bx, by float64) float64 {
	if max(ax, bx) < o.minX || min(ax, bx) > o.maxX || max(ay, by) < o.minY || min(ay, by) > o.maxY {
		return 0
	}
	dx, dy := bx-ax, by-ay
	dd := dx*dx + dy*dy
	var room [64]float64 // enough for all but a line through a fine comb
	cuts := append(room[:0], 0, 1)
	for i := range o.edges {
		e := &o.edges[i]
		p, q := dx*(e.py-ay)-dy*(e.px-ax), dx*(e.qy-ay)-dy*(e.qx-ax)
		if (p > 0 && q > 0) || (p < 0 && q < 0) || p == q {
			continue // p == q lies along a→b: its neighbours cut at its ends
		}
		s := p / (p - q)
		x, y := e.px+s*(e.qx-e.px)-ax, e.py+s*(e.qy-e.py)-ay
		if t := (x*dx + y*dy) / dd; t > 0 && t < 1 {
			cuts = append(cuts, t)
		}
	}
	slices.Sort(cuts)
	in := 0.0
	for i, t1 := range cuts[1:] {
		if t0 := cuts[i]; t0 < t1 && o.contains(ax+(t0+t1)/2*dx, ay+(t0+t1)/2*dy) {
			in += t1 - t0
		}
	}
	return in * math.Sqrt(dd)
}

// edgeArea is Zone.EdgeArea for an outline. A ring is the signed sum of the
// triangles that its edges make with the apex, and so is the outline; the
// ground in common is the sum, over all pairs, of what two triangles with one
// apex have in common. It holds for any shape, holes and parts on either side.
func (o *outline) edgeArea(ax, ay, bx, by float64) float64 {
	if ax*by-ay*bx == 0 {
		return 0
	}
	sum := 0.0
	for i := range o.edges {
		sum += o.edges[i].commonArea(ax, ay, bx, by)
	}
	return sum / 2
}

// commonArea is twice the signed area that the triangles apex, p, q and apex,
// a, b have in common: positive where both turn the same way.
func (e *outlineEdge) commonArea(ax, ay, bx, by float64) float64 {
	px, py, qx, qy, whole, sign := e.px, e.py, e.qx, e.qy, e.twice, 1.0
	if whole < 0 {
		px, py, qx, qy, whole, sign = qx, qy, px, py, -whole, -1
	}
	if whole == 0 {
		return 0
	}
	t0, t1 := keepNotAbove(0, 1, py*ax-px*ay, py*bx-px*by)
	t0, t1 = keepNotAbove(t0, t1, qx*ay-qy*ax, qx*by-qy*bx)
	if t0 >= t1 {
		return 0
	}
	ux, uy, vx, vy := ax, ay, bx, by
	dx, dy := bx-ax, by-ay
	if t0 > 0 {
		ux, uy = ax+t0*dx, ay+t0*dy
	}
	if t1 < 1 {
		vx, vy = ax+t1*dx, ay+t1*dy
	}
	// Between the directions of p and q, what lies beyond the edge p–q is
	// drawn back to it along the ray from the apex.
	u := (qx-px)*(uy-py) - (qy-py)*(ux-px)
	v := (qx-px)*(vy-py) - (qy-py)*(vx-px)
	backU, backV := 1.0, 1.0
	if u < 0 {
		backU = whole / (whole - u)
	}
	if v < 0 {
		backV = whole / (whole - v)
	}
	if (u < 0) == (v < 0) {
		return sign * backU * backV * (ux*vy - uy*vx)
	}
	t := u / (u - v)
	mx, my := ux+t*(vx-ux), uy+t*(vy-uy)
	return sign * (backU*(ux*my-uy*mx) + backV*(mx*vy-my*vx))
}
