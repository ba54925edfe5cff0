package postgres

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// A rank is counted, as competitions do (1, 2, 2, 4).
func TestHarmOrderCounts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		harm := rapid.OneOf(rapid.Float64Range(0, 1), rapid.Float64Range(0, 1e-12), rapid.SampledFrom([]float64{0, 0, 1, math.SmallestNonzeroFloat64, math.MaxFloat64}))
		harms := rapid.SliceOf(harm).Draw(t, "harms")
		o := newHarmOrder(append([]float64(nil), harms...))
		for _, h := range append(harms, harm.Draw(t, "another")) {
			want := int64(1)
			for _, other := range harms {
				if other > h {
					want++
				}
			}
			if got := o.rank(h); got != want {
				t.Fatalf("%v among %v: %d, want %d", h, harms, got, want)
			}
		}
	})
}

// Mended, an order is that of the harms that are there then.
func TestHarmOrderIsMended(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		harm := rapid.OneOf(rapid.Float64Range(0, 1), rapid.SampledFrom([]float64{0, 0, 0.25, 0.5}))
		harms := rapid.SliceOf(harm).Draw(t, "harms")
		stay := rapid.IntRange(0, len(harms)).Draw(t, "stay")
		come := rapid.SliceOf(harm).Draw(t, "come")
		got := newHarmOrder(slices.Clone(harms)).with(slices.Clone(harms[stay:]), slices.Clone(come))
		want := slices.Sorted(slices.Values(append(slices.Clone(harms[:stay]), come...)))
		if !slices.Equal(got.harms, want) {
			t.Fatalf("%v, want %v", got.harms, want)
		}
	})
	if newHarmOrder([]float64{1, 2}).with([]float64{3}, nil) != nil {
		t.Error("a harm that was not there has gone")
	}
}

func BenchmarkHarmOrder(b *testing.B) {
	harms := make([]float64, 1_000_000)
	for i := range harms {
		harms[i] = math.Exp(float64(i*7919%1_000_000)/1e5) / 1e4
	}
	o := newHarmOrder(append([]float64(nil), harms...))
	for i := 0; b.Loop(); i++ {
		o.rank(harms[i%len(harms)])
	}
}
