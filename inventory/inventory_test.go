package inventory_test

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"github.com/underbough/underbough/inventory"
)

// The lateral rule. A third to a half is common practice, no source; the last
// two cases, a side branch of 1 in on a trunk of 2 in that passes and one of
// 0.5 in that fails, are a published teaching case (Colorado extension).
func TestClassByLateral(t *testing.T) {
	const third, half = 1.0 / 3, 1.0 / 2
	for _, c := range []struct {
		lateral, cut, share float64
		want                inventory.CutKind
	}{
		{25, 60, third, inventory.CutReduction}, {25, 60, half, inventory.CutHeading},
		{20, 60, third, inventory.CutReduction}, {20, 60, half, inventory.CutHeading},
		{15, 60, third, inventory.CutHeading}, {40, 60, half, inventory.CutReduction},
		{0.20, 0.60, third, inventory.CutReduction}, // a third in metres, where it does not divide evenly
		{1, 2, third, inventory.CutReduction}, {0.5, 2, third, inventory.CutHeading},
		{0, 60, third, inventory.CutHeading},
	} {
		got, ok := inventory.ClassByLateral(inventory.Some(c.cut), inventory.Some(c.lateral), c.share)
		if !ok || got != c.want {
			t.Errorf("lateral %v on a cut of %v by a share of %.2f: %v, expected %v", c.lateral, c.cut, c.share, got, c.want)
		}
	}
	if _, ok := inventory.ClassByLateral(inventory.Some(60.0), inventory.Opt[float64]{}, third); ok {
		t.Error("a cut without a recorded lateral was classed")
	}
}

// Square root of the sum of squares: published examples of the form, stems
// 30, 20 and 10; 12 and 12; 15, 10 and 8.
func TestCombinedDiameter(t *testing.T) {
	for _, c := range []struct {
		stems []float64
		want  float64
	}{{[]float64{30, 20, 10}, 37.42}, {[]float64{12, 12}, 16.97}, {[]float64{15, 10, 8}, 19.72}} {
		if got := inventory.CombinedDiameter(c.stems...); math.Abs(got-c.want) > 0.005 {
			t.Errorf("%v: %.3f, expected %v", c.stems, got, c.want)
		}
	}
}

func TestErrorsKeepKindAndCause(t *testing.T) {
	cause := errors.New("disk full")
	err := fmt.Errorf("loading: %w", inventory.Errorf(inventory.Unavailable, "writing %s: %w", "trees", cause))
	if inventory.KindOf(err) != inventory.Unavailable || !errors.Is(err, cause) || err.Error() != "loading: writing trees: disk full" {
		t.Errorf("kind %v, cause kept %v, text %q", inventory.KindOf(err), errors.Is(err, cause), err)
	}
	if inventory.KindOf(cause) != inventory.Internal {
		t.Error("an error without a kind is not internal")
	}
}

// The mean of four radii is common practice, no source.
func TestRadiusFromSides(t *testing.T) {
	sides := func(r ...float64) (out [4]inventory.Opt[float64]) {
		for i := range r {
			out[i] = inventory.Some(r[i])
		}
		return out
	}
	for _, c := range []struct {
		tree inventory.Tree
		want inventory.Opt[float64]
	}{
		{inventory.Tree{CrownRadii: sides(1, 2.5, 0, 7)}, inventory.Some(2.625)},
		{inventory.Tree{CrownRadii: sides(1, 2, 3, 4), CrownRadius: inventory.Some(9.0)}, inventory.Some(9.0)},
		{inventory.Tree{CrownRadii: sides(1, 2, 3)}, inventory.Opt[float64]{}},
		{inventory.Tree{CrownRadii: sides(0, 0, 0, 0)}, inventory.Opt[float64]{}},
		{inventory.Tree{}, inventory.Opt[float64]{}},
	} {
		if c.tree.RadiusFromSides(); c.tree.CrownRadius != c.want {
			t.Errorf("%v: radius %v, expected %v", c.tree.CrownRadii, c.tree.CrownRadius, c.want)
		}
	}
}
