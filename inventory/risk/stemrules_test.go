package risk_test

import (
	"math"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/risk"
)

// cavity is a visit that measured a decayed column, metres and share of girth.
func cavity(on time.Time, stem, decay, opening float64) inventory.Visit {
	v := inventory.Visit{On: on, StemDiameter: inventory.Some(stem), DecayDiameter: inventory.Some(decay)}
	if opening > 0 {
		v.OpeningShare = inventory.Some(opening)
	}
	return v
}

// The sections of TestStrengthLossWorked against the published limits: Wagener
// and Smiley and Fraedrich 0.33, Coder caution 0.20 and hazard 0.44, wall 0.30 to
// 0.35 of the radius.
func TestCavityRules(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	for _, c := range []struct {
		decay, stem, opening float64
		want                 inventory.Likelihood
		rule                 risk.Rule
	}{
		{0.30, 0.60, 0, inventory.Improbable, risk.SoundCavity},
		{0.30, 0.60, 0.20, inventory.Improbable, risk.SoundCavity},
		{0.40, 0.60, 0, inventory.Possible, risk.StrengthCaution}, // the wall
		{0.40, 0.60, 0.15, inventory.Probable, risk.StrengthLoss}, // the opening
		{0.42, 0.60, 0, inventory.Probable, risk.StrengthLoss},
		{0.45, 0.60, 0.25, inventory.Probable, risk.StrengthLoss},
		{0.20, 0.50, 0.33, inventory.Probable, risk.StrengthLoss},
		{0.00, 0.50, 0.34, inventory.Probable, risk.StrengthLoss}, // more than 120 degrees open
	} {
		visit := cavity(day.AddDate(-1, 0, 0), c.stem, c.decay, c.opening)
		j := s.WholeTree(&alive, []inventory.Visit{visit})
		if j.Likelihood != c.want || j.Rule != c.rule || !j.Inferred || j.Stale {
			t.Errorf("%+v: %+v", c, j)
		}
	}
}

// Each limit by itself, the others out of the way: by hand, 40 of 60 cm lose
// 0.2963 (Wagener) and 0.1975 (Coder) with a wall of 0.333, and with 0.4 of the
// girth open 0.2963 + 0.4 × 0.7037 = 0.5778.
func TestEachCavityLimit(t *testing.T) {
	likelihood := func(set func(c *profile.Cavity), opening float64) inventory.Likelihood {
		p := profile.Default()
		c := &p.Screening.Cavity
		c.Wagener.Value, c.WithOpening.Value, c.CoderCaution.Value, c.CoderHazard.Value, c.Wall.Value, c.Opening.Value = 1, 1, 1, 1, 0, 1
		set(c)
		return risk.NewScreener(p, day).WholeTree(&alive, []inventory.Visit{cavity(day, 0.6, 0.4, opening)}).Likelihood
	}
	for _, c := range []struct {
		name        string
		set         func(c *profile.Cavity, v float64)
		opening     float64
		over, under float64 // limits that the section is over and under
		want        inventory.Likelihood
	}{
		{"Wagener", func(c *profile.Cavity, v float64) { c.Wagener.Value = v }, 0, 0.296, 0.297, inventory.Probable},
		{"Coder, hazard", func(c *profile.Cavity, v float64) { c.CoderHazard.Value = v }, 0, 0.197, 0.198, inventory.Probable},
		{"Smiley and Fraedrich", func(c *profile.Cavity, v float64) { c.WithOpening.Value = v }, 0.4, 0.577, 0.578, inventory.Probable},
		{"Coder, caution", func(c *profile.Cavity, v float64) { c.CoderCaution.Value = v }, 0, 0.197, 0.198, inventory.Possible},
		{"wall", func(c *profile.Cavity, v float64) { c.Wall.Value = v }, 0, 0.334, 0.333, inventory.Possible},
		{"opening", func(c *profile.Cavity, v float64) { c.Opening.Value = v }, 0.4, 0.399, 0.4, inventory.Possible},
	} {
		if got := likelihood(func(k *profile.Cavity) { c.set(k, c.over) }, c.opening); got != c.want {
			t.Errorf("%s over its limit: %v, expected %v", c.name, got, c.want)
		}
		if got := likelihood(func(k *profile.Cavity) { c.set(k, c.under) }, c.opening); got != inventory.Improbable {
			t.Errorf("%s under its limit: %v, expected improbable", c.name, got)
		}
	}
}

func TestCavityByTheWallAlone(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	wall := func(t float64) inventory.Visit {
		return inventory.Visit{On: day, StemDiameter: inventory.Some(0.6), SoundWall: inventory.Some(t)}
	}
	// A wall of 9 cm leaves 42 of 60 cm: over the limit by the cube.
	if j := s.WholeTree(&alive, []inventory.Visit{wall(0.09)}); j.Rule != risk.StrengthLoss {
		t.Errorf("%+v", j)
	}
	// A thin wall on one side of a small column: disputed, no more than possible.
	eccentric := wall(0.06)
	eccentric.DecayDiameter = inventory.Some(0.3)
	if j := s.WholeTree(&alive, []inventory.Visit{eccentric}); j.Likelihood != inventory.Possible || j.Rule != risk.StrengthCaution {
		t.Errorf("%+v", j)
	}
	if q, ok := risk.SectionOf(&eccentric); !ok || q.Decay != 0.3 || q.Wall != 0.06 {
		t.Errorf("%+v, expected both as they were measured", q)
	}
}

func TestCavityOldImpossibleAndJudged(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	old := cavity(day.AddDate(-6, 0, 0), 0.6, 0.45, 0)
	impossible := cavity(day.AddDate(-1, 0, 0), 0.6, 0.7, 0)
	future := cavity(day.AddDate(0, 0, 1), 0.6, 0.1, 0)
	if j := s.WholeTree(&alive, []inventory.Visit{old, impossible, future}); j.Rule != risk.StrengthLoss || !j.Stale {
		t.Errorf("%+v, expected the old measure, out of date", j)
	}
	for _, q := range []risk.Section{{Stem: 0.6, Decay: 0.7}, {Stem: 0.6, Decay: -0.2, Wall: 0.4}, {Stem: 0}, {Stem: 0.6, Decay: 0.3, Wall: 0.15, Opening: 2}, {Stem: 0.6, Decay: 0.3, Wall: 0.5}} {
		if l, err := q.Loss(); err == nil {
			t.Errorf("%+v: %+v, expected an error", q, l)
		}
	}
	judged := old
	judged.WholeTree = inventory.Improbable
	if j := s.WholeTree(&alive, []inventory.Visit{judged}); j.Inferred || j.Likelihood != inventory.Improbable || !j.Stale {
		t.Errorf("%+v, expected the visit's own word", j)
	}
	// The crown and the limbs are not judged by the stem's cavity.
	if j := s.Crown(&alive, []inventory.Visit{old}); j.Rule != risk.NothingKnown {
		t.Errorf("%+v", j)
	}
}

func TestLeanAloneIsNoMoreThanPossible(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	for lean, want := range map[float64]inventory.Likelihood{0: inventory.Improbable, 19.9: inventory.Improbable, 20: inventory.Possible, 80: inventory.Possible} {
		if j := s.WholeTree(&inventory.Tree{Status: inventory.Alive, Lean: inventory.Some(lean)}, nil); j.Likelihood != want {
			t.Errorf("leans %v degrees: %+v", lean, j)
		}
	}
	leaning := inventory.Tree{Status: inventory.Alive, Lean: inventory.Some(30.0)}
	if j := s.WholeTree(&leaning, []inventory.Visit{cavity(day, 0.6, 0.45, 0)}); j.Rule != risk.StrengthLoss {
		t.Errorf("%+v, expected the cavity to be named", j)
	}
	if j := s.WholeTree(&leaning, []inventory.Visit{cavity(day, 0.6, 0.1, 0)}); j.Rule != risk.Leaning {
		t.Errorf("%+v, expected the lean to be named over a sound cavity", j)
	}
}

// Slenderness of three stems, by hand: 18 m on 0.45 is 40, 22 on 0.30 is 73, 25
// on 0.25 is 100. Pulling tests found it to make a negligible difference, so the
// judgement does not move.
func TestSlendernessGatesNothing(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	for _, c := range []struct{ height, dbh, want float64 }{{18, 0.45, 40}, {22, 0.30, 73}, {25, 0.25, 100}} {
		tree := inventory.Tree{Status: inventory.Alive, Height: inventory.Some(c.height), DBH: inventory.Some(c.dbh)}
		if h, ok := risk.Slenderness(&tree); !ok || math.Round(h) != c.want {
			t.Errorf("%v on %v: %v", c.height, c.dbh, h)
		}
		if j := s.WholeTree(&tree, nil); j.Rule != risk.NothingKnown || j.Likelihood != inventory.Improbable {
			t.Errorf("%v on %v: %+v", c.height, c.dbh, j)
		}
	}
	if _, ok := risk.Slenderness(&inventory.Tree{Height: inventory.Some(18.0)}); ok {
		t.Error("a slenderness without a diameter")
	}
}
