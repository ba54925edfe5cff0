package doubt_test

import (
	"math/rand/v2"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/doubt"
	"github.com/underbough/underbough/inventory/profile"
)

// inventoryOf is an inventory as cities have them: whole tree, crown and for half
// of the trees a cut's limb, three terms a tree in the mean, neighbours over the
// same targets, a tenth of the trees over nothing.
func inventoryOf(trees, targets int) *doubt.Input {
	r := rand.New(rand.NewPCG(1, 2))
	p := profile.Default()
	in := &doubt.Input{Likelihoods: doubt.Likelihoods(p)}
	sigmas := []float32{float32(p.Doubt.OccupancyCounted.Value), float32(p.Doubt.OccupancyGiven.Value), float32(p.Doubt.OccupancyAssumed.Value)}
	for i := range targets {
		in.Targets = append(in.Targets, doubt.Target{Key: uint64(1000 + i), Sigma: sigmas[min(r.IntN(20)/2, 2)]})
	}
	term := func(i int, chance float64) {
		target := (i*targets/trees + r.IntN(20)) % targets
		mid := chance * r.ExpFloat64() * 0.1
		in.AddTerm(int32(target), float32(mid*(0.5+0.4*r.Float64())), float32(mid), float32(mid*(1.1+r.Float64())))
	}
	for i := range trees {
		in.AddTree(uint64(7+3*i), int32(i), 0)
		if r.IntN(10) == 0 {
			continue
		}
		in.AddPart(doubt.ByHeight, doubt.DrawOf(inventory.Improbable, doubt.Inferred))
		term(i, 6e-5)
		term(i, 6e-5)
		in.AddPart(doubt.ByCrown, doubt.DrawOf(inventory.Improbable, doubt.Inferred))
		term(i, 4e-4)
		if r.IntN(2) == 0 {
			in.AddPart(doubt.ByCrown, doubt.DrawOf(inventory.Likelihood(1+r.IntN(3)), doubt.Source(r.IntN(3))))
			term(i, 1e-2)
		}
	}
	return in
}

func benchmarkRanks(b *testing.B, trees, targets, draws int) {
	in := inventoryOf(trees, targets)
	b.ReportMetric(float64(len(in.Terms))/float64(trees), "terms/tree")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := doubt.Ranks(in, doubt.Options{Draws: draws, Seed: 1, Top: 100}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkRanks(b *testing.B) {
	b.Run("100k_trees_500_draws", func(b *testing.B) { benchmarkRanks(b, 100_000, 30_000, 500) })
	b.Run("1M_trees_500_draws", func(b *testing.B) { benchmarkRanks(b, 1_000_000, 300_000, 500) })
}
