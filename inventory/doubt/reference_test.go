package doubt_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/underbough/underbough/inventory/doubt"
)

// reference draws the model as its text says, with the standard library's random
// numbers, exponentials and sort, and returns each tree's share of draws among
// the first top.
func reference(in *doubt.Input, draws, top int) []float64 {
	r := rand.New(rand.NewPCG(77, 78))
	share := make([]float64, len(in.Trees))
	for range draws {
		busy := make([]float64, len(in.Targets))
		for i, t := range in.Targets {
			s := float64(t.Sigma)
			busy[i] = math.Exp(s*r.NormFloat64() - s*s/2)
		}
		harms, part, term := make([]float64, len(in.Trees)), 0, 0
		for i, tree := range in.Trees {
			z := [2]float64{r.NormFloat64(), r.NormFloat64()}
			for range tree.Parts {
				p, sum := in.Parts[part], 0.0
				for _, m := range in.Terms[term : term+int(p.Terms)] {
					sum += busy[m.Target] * sized(m, z[p.Size])
				}
				if p.Draw != doubt.NoDraw {
					s, u := in.Likelihoods[p.Draw], r.Float64()
					for k, c := range s.Shares {
						if u -= float64(c); u < 0 || k == len(s.Shares)-1 {
							sum *= float64(s.Factors[k])
							break
						}
					}
				}
				harms[i] += sum
				term += int(p.Terms)
				part++
			}
		}
		bound := slices.Sorted(slices.Values(harms))[len(harms)-top]
		for i, h := range harms {
			if h >= bound && h > 0 {
				share[i] += 1 / float64(draws)
			}
		}
	}
	return share
}

func sized(m doubt.Term, z float64) float64 {
	z = min(max(z, -2.5), 2.5)
	low, mid, high := float64(m.Low), float64(m.Mid), float64(m.High)
	end, by := high, z
	if z < 0 {
		end, by = low, -z
	}
	if low == 0 || mid == 0 || high == 0 {
		return max(0, mid+by*(end-mid))
	}
	if by > 1 && end > mid {
		return mid + by*(end-mid)
	}
	return mid * math.Pow(end/mid, by)
}

func TestAgainstDrawingByTheStandardLibrary(t *testing.T) {
	const draws, top = 20_000, 12
	in := inventoryOf(120, 25)
	for i := range in.Terms { // some targets on the edge of reach
		if i%7 == 0 {
			in.Terms[i].Low = 0
		}
		if i%21 == 0 {
			in.Terms[i].Mid = 0
		}
	}
	want := reference(in, draws, top)
	got := ranks(t, in, doubt.Options{Draws: draws, Seed: 1, Top: top})
	for i := range want {
		// Both are draws: the error of their difference is √2 of one's, and that of
		// shares kept to 1/4096 comes on top.
		p := max(want[i], 1.0/draws)
		if off := math.Abs(float64(got[i].TopShare) - want[i]); off > 5*math.Sqrt(2*p*(1-p)/draws)+1e-3 {
			t.Errorf("tree %d: share %.4f, by the standard library %.4f", i, got[i].TopShare, want[i])
		}
	}
}
