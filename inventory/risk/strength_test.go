package risk_test

import (
	"math"
	"testing"

	"github.com/underbough/underbough/inventory/risk"
)

func near(t *testing.T, what string, got float64, err error, want, tolerance float64) {
	t.Helper()
	if err != nil || math.Abs(got-want) > tolerance {
		t.Errorf("%s: %v, %v, expected %v", what, got, err, want)
	}
}

// The strength-loss table of Arboriculture and Urban Forestry prints 22 % and
// 13 % at d/D = 0.60 and 9 % and 4 % at about 0.447, which settles the powers.
func TestStrengthLossAsPrinted(t *testing.T) {
	for _, c := range []struct{ decay, wagener, coder float64 }{{60, 0.22, 0.13}, {44.7, 0.09, 0.04}} {
		w, err := risk.Wagener(c.decay, 100)
		near(t, "Wagener", w, err, c.wagener, 0.005)
		q, err := risk.Coder(c.decay, 100)
		near(t, "Coder", q, err, c.coder, 0.005)
	}
}

// Sections worked out by hand from the published formulas; the last two rows
// from the same, in per cent: d/D = 0.70 loses 34.3 and 24.0, and 47.4 with a
// fifth of the girth open.
func TestStrengthLossWorked(t *testing.T) {
	for _, c := range []struct{ decay, stem, opening, wagener, coder, wall, open float64 }{
		{30, 60, 0, 0.1250, 0.0625, 0.500, 0.1250},
		{30, 60, 0.20, 0.1250, 0.0625, 0.500, 0.3000},
		{40, 60, 0.15, 0.2963, 0.1975, 0.333, 0.4019},
		{42, 60, 0, 0.3430, 0.2401, 0.300, 0.3430},
		{45, 60, 0.25, 0.4219, 0.3164, 0.250, 0.5664},
		{20, 50, 0.33, 0.0640, 0.0256, 0.600, 0.3729},
		{70, 100, 0, 0.343, 0.2401, 0.300, 0.343},
		{70, 100, 0.2, 0.343, 0.2401, 0.300, 0.4744},
	} {
		w, err := risk.Wagener(c.decay, c.stem)
		near(t, "Wagener", w, err, c.wagener, 5e-5)
		q, err := risk.Coder(c.decay, c.stem)
		near(t, "Coder", q, err, c.coder, 5e-5)
		o, err := risk.WithOpening(c.decay, c.stem, c.opening)
		near(t, "Smiley and Fraedrich", o, err, c.open, 5e-5)
		r, err := risk.WallRatio((c.stem-c.decay)/2, c.stem)
		near(t, "t/R", r, err, c.wall, 5e-4)
	}
}

// The limits of the formulas as one: t/R 0.30 is Wagener 0.343, 0.33 is 0.301;
// Wagener 0.33 is d/D 0.691 and Coder 0.44 is 0.814.
func TestStrengthLossLimitsAgree(t *testing.T) {
	for _, c := range []struct{ ratio, wagener float64 }{{0.30, 0.343}, {0.33, 0.301}} {
		w, err := risk.Wagener(1-c.ratio, 1)
		near(t, "Wagener", w, err, c.wagener, 5e-4)
		r, err := risk.WallRatio(c.ratio/2, 1)
		near(t, "t/R", r, err, c.ratio, 1e-12)
	}
	w, err := risk.Wagener(0.691, 1)
	near(t, "Wagener at 0.691", w, err, 0.33, 0.001)
	q, err := risk.Coder(0.814, 1)
	near(t, "Coder at 0.814", q, err, 0.44, 0.002)
}

func TestStrengthLossRejects(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct{ decay, stem, opening float64 }{
		{61, 60, 0}, {-1, 60, 0}, {0, 0, 0}, {10, -60, 0}, {nan, 60, 0}, {10, nan, 0},
		{30, 60, -0.1}, {30, 60, 1.1}, {30, 60, nan},
	} {
		if v, err := risk.WithOpening(c.decay, c.stem, c.opening); err == nil {
			t.Errorf("%+v: %v, expected an error", c, v)
		}
		if c.opening != 0 {
			continue
		}
		if v, err := risk.Wagener(c.decay, c.stem); err == nil {
			t.Errorf("Wagener %+v: %v, expected an error", c, v)
		}
		if v, err := risk.Coder(c.decay, c.stem); err == nil {
			t.Errorf("Coder %+v: %v, expected an error", c, v)
		}
	}
	for _, c := range []struct{ wall, stem float64 }{{31, 60}, {-1, 60}, {1, 0}, {nan, 60}, {1, nan}} {
		if v, err := risk.WallRatio(c.wall, c.stem); err == nil {
			t.Errorf("t/R %+v: %v, expected an error", c, v)
		}
	}
	if _, err := risk.Wagener(61, 60); err == nil || err.Error() != "decayed diameter 61 is larger than the stem's, 60" {
		t.Errorf("%v", err)
	}
}
