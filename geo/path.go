package geo

import (
	"math"
	"slices"
)

// path is a ring's projected vertices: metres from the apex and the squared
// distance. It starts with its last vertex, so that edge i always runs from
// vertex i to vertex i+1.
type path struct {
	x, y, r2 []float64
	touch    []int32 // the edges that come within the widest zone's radius
	turns    int     // counted where edges cross the negative x axis
}

// follow projects a ring and finds the edges that matter, most of which do
// not. It has no branches: which edges come near is too random for the machine
// to guess, and each wrong guess would cost more than the sums. The sign bit
// of a number stands for its being below zero. An edge comes near where an end
// lies within, or where the apex lies abreast of it and the circle is met.
func (s *Scratch) follow(p *Plane, coords []float64) path {
	n := len(coords) / 2
	if cap(s.x) <= n {
		s.x, s.y, s.r2 = make([]float64, 2*n+1), make([]float64, 2*n+1), make([]float64, 2*n+1)
		s.touch = make([]int32, 2*n+1)
	}
	xs, ys, r2, touch := s.x[:n+1], s.y[:n+1], s.r2[:n+1], s.touch[:n+1]
	lon0, lat0, kx, ky, radius2 := p.lon0, p.lat0, p.kx, p.ky, s.radius2
	ax, ay := (coords[2*n-2]-lon0)*kx, (coords[2*n-1]-lat0)*ky
	ar := ax*ax + ay*ay
	xs[0], ys[0], r2[0] = ax, ay, ar
	out := ar - radius2
	k := 0
	up, down := uint64(0), uint64(0)
	for i := range n {
		bx, by := (coords[2*i]-lon0)*kx, (coords[2*i+1]-lat0)*ky
		br := bx*bx + by*by
		xs[i+1], ys[i+1], r2[i+1] = bx, by, br
		outB := br - radius2
		dx, dy := bx-ax, by-ay
		dd, ad := dx*dx+dy*dy, ax*dx+ay*dy
		ends := math.Float64bits(out) | math.Float64bits(outB)
		between := math.Float64bits(ad) &^ math.Float64bits(dd+ad) & math.Float64bits(dd*out-ad*ad)
		touch[k] = int32(i)
		k += int((ends | between) >> 63)
		left := leftOf(ax, ay, bx, by)
		a, b := math.Float64bits(ay), math.Float64bits(by)
		down += b &^ a & math.Float64bits(0-left) >> 63
		up += a &^ b & math.Float64bits(0+left) >> 63
		ax, ay, out = bx, by, outB
	}
	return path{xs, ys, r2, touch[:k], int(down) - int(up)}
}

// box is the ring's, in metres.
func (p *path) box() box {
	return box{slices.Min(p.x), slices.Min(p.y), slices.Max(p.x), slices.Max(p.y)}
}

// misses reports whether a box, in metres, is too far from the zone to meet it.
func (c *cutter) misses(b box) bool {
	if c.outline != nil {
		return !b.meets(c.outline.box)
	}
	x, y := max(b.minX, -b.maxX, 0), max(b.minY, -b.maxY, 0)
	return x*x+y*y > c.r2
}
