package allometry

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// tally gathers residuals in units of one standard error and of the estimate.
type tally struct{ n, within1, within2, relative, square float64 }

func (s *tally) add(measured, value, se float64) {
	off := math.Abs(measured-value) / se
	s.n, s.within1, s.within2 = s.n+1, s.within1+float64(count(off <= 1)), s.within2+float64(count(off <= 2))
	s.relative += measured/value - 1
	s.square += off * off
}

func (s *tally) log(t *testing.T, what string) {
	t.Helper()
	t.Logf("%-34s %6.0f trees: mean relative residual %+.3f; %.3f within one error, %.3f within two; root mean square %.2f errors",
		what, s.n, s.relative/s.n, s.within1/s.n, s.within2/s.n, math.Sqrt(s.square/s.n))
}

// honest holds that about 68 % lie within one error and 95 % within two, with the slack that was measured: residuals
// have longer tails than a normal distribution's.
func (s *tally) honest(t *testing.T, what string) {
	t.Helper()
	s.log(t, what)
	if one, two := s.within1/s.n, s.within2/s.n; one < 0.65 || one > 0.80 || two < 0.93 || two > 0.985 {
		t.Errorf("%s: %.3f within one error and %.3f within two, want about 0.68 and 0.95", what, one, two)
	}
	if math.Abs(s.relative/s.n) > 0.06 {
		t.Errorf("%s: mean relative residual %+.3f, want within 0.06", what, s.relative/s.n)
	}
}

// TestSpeciesAgainstMeasuredTrees holds the species level against the 14,487 measured trees of RDS-2016-0005, table
// TS3, of all 17 cities, each equation being one city's.
func TestSpeciesAgainstMeasuredTrees(t *testing.T) {
	trees := measuredTrees(t)
	for component, what := range componentNames {
		var all, young, old, beyond tally
		bySpecies := map[string]*tally{}
		for _, tree := range trees {
			measured := tree.metres[component]
			if tree.cm <= 0 || measured <= 0 {
				continue
			}
			k := Find(tree.name)
			got := curveOf(k, component).at(tree.cm / 100)
			if got.From != Species {
				continue
			}
			if got.Extrapolated && tree.cm > 20 {
				beyond.add(measured, got.Value, got.SE)
				continue
			}
			all.add(measured, got.Value, got.SE)
			switch {
			case tree.cm < 10:
				young.add(measured, got.Value, got.SE)
			case tree.cm > 80:
				old.add(measured, got.Value, got.SE)
			}
			if bySpecies[k.Name()] == nil {
				bySpecies[k.Name()] = &tally{}
			}
			bySpecies[k.Name()].add(measured, got.Value, got.SE)
		}
		all.honest(t, what+", species")
		young.honest(t, what+", under 10 cm")
		old.honest(t, what+", over 80 cm")
		beyond.log(t, what+", past the range")
		if beyond.within2/beyond.n < 0.93 {
			t.Errorf("%s past the range: %.3f within two errors", what, beyond.within2/beyond.n)
		}
		biases := make([]float64, 0, len(bySpecies))
		for name, s := range bySpecies {
			bias := s.relative / s.n
			biases = append(biases, math.Abs(bias))
			if math.Abs(bias) > 0.15 || s.square/s.n > 1.4 {
				t.Errorf("%s of %s: mean relative residual %+.3f, root mean square %.2f errors", what, name, bias, math.Sqrt(s.square/s.n))
			}
		}
		slices.Sort(biases)
		n := len(biases)
		t.Logf("%s: %d species, mean relative residual by species: median %.3f, nine tenths below %.3f, largest %.3f",
			what, n, biases[n/2], biases[n*9/10], biases[n-1])
		if n < 140 || biases[n/2] > 0.02 || biases[n*9/10] > 0.11 {
			t.Errorf("%s: too far off by species", what)
		}
	}
}

// TestPalms: a palm's stem says little about its height, and the error says so (TS3's 542 palms with a diameter).
func TestPalms(t *testing.T) {
	for component, what := range componentNames {
		var all tally
		for _, tree := range measuredTrees(t) {
			if !strings.HasPrefix(tree.group, "P") || tree.cm <= 0 || tree.metres[component] <= 0 {
				continue
			}
			k := Find(tree.name)
			if k.Group() != "palm" {
				t.Errorf("%s is %q, want a palm", tree.name, k.Group())
			}
			got := curveOf(k, component).at(tree.cm / 100)
			all.add(tree.metres[component], got.Value, got.SE)
		}
		all.log(t, what+", palms")
		// The equation weighs each of nine taxa equally; most trees are fan palms, whose crowns are narrower.
		if one, two := all.within1/all.n, all.within2/all.n; all.n != 542 || one < 0.62 || two < 0.95 || math.Abs(all.relative/all.n) > 0.12 {
			t.Errorf("%g palms: %.3f within one error, %.3f within two, mean relative residual %+.3f", all.n, one, two, all.relative/all.n)
		}
	}
}
