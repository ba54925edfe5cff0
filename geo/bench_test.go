package geo_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/paulmach/orb"
	"github.com/underbough/underbough/geo"
)

// town draws targets over a square: a third lots of 5 to 20 corners, a third
// walks, a third roads.
type town struct {
	rng  *rand.Rand
	side float64 // metres
	geo.Plane
}

func newTown(seed uint64, side float64) *town {
	return &town{rand.New(rand.NewPCG(seed, 1)), side, geo.NewPlane(orb.Point{11, 48})}
}

func (w *town) spot() (x, y float64) {
	return (w.rng.Float64() - 0.5) * w.side, (w.rng.Float64() - 0.5) * w.side
}

func (w *town) target(i int) orb.Geometry {
	x, y := w.spot()
	switch i % 3 {
	case 0:
		n := 5 + w.rng.IntN(16)
		ring := make(orb.Ring, n+1)
		r := 8 + 15*w.rng.Float64()
		for k := range n {
			s, c := math.Sincos(2 * math.Pi * float64(k) / float64(n))
			d := r * (0.7 + 0.3*w.rng.Float64())
			ring[k] = w.ToPoint(x+d*c, y+d*s)
		}
		ring[n] = ring[0]
		return orb.Polygon{ring}
	case 1:
		return w.line(x, y, 4+w.rng.IntN(6), 12)
	default:
		return w.line(x, y, 2+w.rng.IntN(6), 30)
	}
}

func (w *town) line(x, y float64, n int, step float64) orb.LineString {
	line := make(orb.LineString, n)
	heading := w.rng.Float64() * 2 * math.Pi
	for k := range line {
		line[k] = w.ToPoint(x, y)
		heading += w.rng.NormFloat64() * 0.2
		s, c := math.Sincos(heading)
		x, y = x+step*c, y+step*s
	}
	return line
}

func (w *town) index(n int) *geo.Index {
	b := geo.NewBuilder()
	for i := range n {
		b.Add(int32(i), w.target(i))
	}
	return b.Build()
}

type benchTree struct {
	at    orb.Point
	zones [2]geo.Zone
}

func (w *town) trees(n int) []benchTree {
	out := make([]benchTree, n)
	for i := range out {
		x, y := w.spot()
		h := 5 + 15*w.rng.Float64()
		out[i] = benchTree{w.ToPoint(x, y), [2]geo.Zone{geo.Disc(h), geo.Disc(0.3 * h)}}
	}
	return out
}

// BenchmarkIndexOverlaps is a million trees over 300,000 targets, each tree
// with its whole-tree and its crown disc; one operation is one tree. "in
// order" takes the trees block by block, as the engine does; "at random" does
// not.
func BenchmarkIndexOverlaps(b *testing.B) {
	const side = 18500 // gives about 2.2 targets in reach of a tree
	w := newTown(7, side)
	ix := w.index(300_000)
	trees := w.trees(1_000_000)
	b.Run("at random", func(b *testing.B) { benchOverlaps(b, ix, trees) })
	slices.SortFunc(trees, func(p, q benchTree) int { return blockOf(p) - blockOf(q) })
	b.Run("in order", func(b *testing.B) { benchOverlaps(b, ix, trees) })
}

func blockOf(t benchTree) int {
	return int(t.at[1]/0.005)*100_000 + int(t.at[0]/0.007)
}

func benchOverlaps(b *testing.B, ix *geo.Index, trees []benchTree) {
	b.ReportAllocs()
	var s geo.Scratch
	first, both := 0, 0
	n := 0
	for b.Loop() {
		t := &trees[n%len(trees)]
		for _, h := range ix.Overlaps(t.at, t.zones[:], &s) {
			if h.Zone == 0 {
				first++
			}
			both++
		}
		n++
	}
	b.ReportMetric(float64(first)/float64(n), "targets/tree")
	b.ReportMetric(float64(both)/float64(n), "hits/tree")
	b.ReportMetric(float64(ix.Memory())/1e6, "MB")
	b.ReportMetric(float64(ix.Pieces()), "pieces")
}

func BenchmarkBuild(b *testing.B) {
	w := newTown(7, 18500)
	targets := make([]orb.Geometry, 300_000)
	for i := range targets {
		targets[i] = w.target(i)
	}
	for b.Loop() {
		builder := geo.NewBuilder()
		for i, g := range targets {
			builder.Add(int32(i), g)
		}
		builder.Build()
	}
}

func BenchmarkSize(b *testing.B) {
	w := newTown(7, 18500)
	g := w.target(0)
	b.ReportAllocs()
	for b.Loop() {
		geo.Size(g)
	}
}
