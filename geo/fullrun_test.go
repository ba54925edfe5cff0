package geo_test

import (
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"
	"github.com/underbough/underbough/geo"
)

// The town of cmd/bench: star-shaped lots 15 to 45 m across and walks of 60 to
// 160 m, two walks to a lot, over a square of 20 km for 300,000 targets; trees
// with a whole-tree disc of 5 to 25 m and a crown disc of 2 to 8 m.
func (w *town) benchTarget(i int) orb.Geometry {
	x, y := w.spot()
	if i%3 > 0 {
		line := make(orb.LineString, 3+w.rng.IntN(6))
		heading := 2 * math.Pi * w.rng.Float64()
		for k := range line {
			line[k] = w.ToPoint(x, y)
			heading += (w.rng.Float64() - 0.5) * 0.8
			step := 20 + 8*w.rng.Float64()
			x, y = x+step*math.Cos(heading), y+step*math.Sin(heading)
		}
		return line
	}
	n := 5 + w.rng.IntN(16)
	ring := make(orb.Ring, n, n+1)
	for k := range ring {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		r := 8 + 15*w.rng.Float64()
		ring[k] = w.ToPoint(x+r*cos, y+r*sin)
	}
	return orb.Polygon{append(ring, ring[0])}
}

func (w *town) benchTrees(n int) []benchTree {
	out := make([]benchTree, n)
	for i := range out {
		x, y := w.spot()
		dbh := 8 + 70*w.rng.Float64()*w.rng.Float64()
		height, crown := 5+dbh*0.22+3*w.rng.Float64(), 1.5+dbh*0.08+w.rng.Float64()
		out[i] = benchTree{w.ToPoint(x, y), [2]geo.Zone{geo.Disc(1.2 * height), geo.Disc(crown)}}
	}
	slices.SortFunc(out, func(p, q benchTree) int { return morton(p.at) - morton(q.at) })
	return out
}

// morton is a place along a Z-order curve with cells of about 5 m.
func morton(p orb.Point) int {
	x, y, m := int((p[0]-10)*20_000), int((p[1]-47)*20_000), 0
	for bit := range 20 {
		m |= (x>>bit&1)<<(2*bit) | (y>>bit&1)<<(2*bit+1)
	}
	return m
}

// BenchmarkFullRun is the geometry of a full run over 1,000,000 trees and
// 300,000 targets; one operation is one tree.
func BenchmarkFullRun(b *testing.B) {
	w := newTown(7, 20_000)
	builder := geo.NewBuilder()
	for i := range 300_000 {
		builder.Add(int32(i), w.benchTarget(i))
	}
	ix := builder.Build()
	trees := w.benchTrees(1_000_000)
	b.ResetTimer()
	benchOverlaps(b, ix, trees)
}

func BenchmarkFullBuild(b *testing.B) {
	w := newTown(7, 20_000)
	targets := make([]orb.Geometry, 300_000)
	for i := range targets {
		targets[i] = w.benchTarget(i)
	}
	b.ReportAllocs()
	for b.Loop() {
		builder := geo.NewBuilder()
		for i, g := range targets {
			builder.Add(int32(i), g)
		}
		builder.Build()
	}
}
