package doubt_test

import (
	"math"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/doubt"
	"github.com/underbough/underbough/inventory/profile"
)

// The shares written out by hand for a class up with 0.2, down with 0.1, and the
// same again: from possible, one down 0.1, stay 0.7, one up 0.2·0.8 and two up
// 0.2²; from the ends, only inwards.
func TestLikelihoods(t *testing.T) {
	p := profile.Default()
	p.Doubt.Judged.Higher.Value, p.Doubt.Judged.Lower.Value = 0.2, 0.1
	w := p.Weights.Chance
	chances := []float64{w.Improbable.Value, w.Possible.Value, w.Probable.Value, w.Imminent.Value}
	spreads := doubt.Likelihoods(p)
	for l, want := range map[inventory.Likelihood][]float64{
		inventory.Improbable: {0.8, 0.16, 0.032, 0.008},
		inventory.Possible:   {0.1, 0.7, 0.16, 0.04},
		inventory.Probable:   {0.01, 0.09, 0.7, 0.2},
		inventory.Imminent:   {0.001, 0.009, 0.09, 0.9},
	} {
		s := spreads[doubt.DrawOf(l, doubt.Judged)]
		for i := range want {
			if math.Abs(float64(s.Shares[i])-want[i]) > 1e-6 {
				t.Errorf("%v: share of class %d is %v, by hand %v", l, i, s.Shares[i], want[i])
			}
			if f := chances[i] / chances[l-1]; math.Abs(float64(s.Factors[i])/f-1) > 1e-6 {
				t.Errorf("%v: factor of class %d is %v, by hand %v", l, i, s.Factors[i], f)
			}
		}
	}
	if d := doubt.DrawOf(inventory.Unjudged, doubt.Inferred); d != doubt.NoDraw {
		t.Errorf("unjudged has draw %d", d)
	}
}

// Each source draws by its own chances; those of the profile are more doubtful
// the less somebody looked.
func TestSourcesDiffer(t *testing.T) {
	spreads := doubt.Likelihoods(profile.Default())
	same := func(s doubt.Source) float32 {
		return spreads[doubt.DrawOf(inventory.Possible, s)].Shares[1]
	}
	if !(same(doubt.Judged) > same(doubt.Stale) && same(doubt.Stale) > same(doubt.Inferred)) {
		t.Errorf("stays the same: judged %v, stale %v, inferred %v", same(doubt.Judged), same(doubt.Stale), same(doubt.Inferred))
	}
	// 18 assessors all agree on a tree with at least the chance same^18, and did
	// on at most 17 % of them: Forests 2023, 14(5), 1043.
	if math.Pow(float64(same(doubt.Judged)), 18) > 0.17 {
		t.Errorf("assessors agree with chance %v, more than was seen", same(doubt.Judged))
	}
}

// The chance to outrank a tree of fixed harm is the share of the factors that do,
// for the first part and, drawn apart from it, for those beyond the first hash.
func TestLikelihoodIsDrawnByPart(t *testing.T) {
	spread := doubt.Spread{Factors: []float32{0, 1}, Shares: []float32{0.3, 0.7}}
	for _, parts := range []int{1, 2, 3, 7, 9} {
		in := &doubt.Input{Targets: []doubt.Target{{Key: 1}}, Likelihoods: []doubt.Spread{{}, spread}}
		in.AddTree(1, 1, 0)
		for range parts {
			in.AddPart(doubt.ByCrown, 1)
			in.AddTerm(0, 1, 1, 1)
		}
		single(in, 2, 0, float32(parts)-0.5, float32(parts)-0.5, float32(parts)-0.5)
		got := ranks(t, in, doubt.Options{Draws: manyDraws, Top: 1})
		within(t, "all parts at once", got[0].TopShare, math.Pow(0.7, float64(parts)), manyDraws)
	}
}

func TestSigma(t *testing.T) {
	d := profile.Default().Doubt
	var assumed, given, counted inventory.Target
	given.Stalls = inventory.Some(40.0)
	counted.PeoplePerHour = inventory.Some(3.0)
	counted.VehiclesCounted = &inventory.CountedWeek{}
	for _, c := range []struct {
		target inventory.Target
		want   profile.Number
	}{{assumed, d.OccupancyAssumed}, {given, d.OccupancyGiven}, {counted, d.OccupancyCounted}} {
		if got := doubt.Sigma(&c.target, d); got != float32(c.want.Value) {
			t.Errorf("sigma %v, expected %v", got, c.want.Value)
		}
	}
}
