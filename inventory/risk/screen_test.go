package risk_test

import (
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/risk"
)

var day = time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)

// The rules are ours, their thresholds assumptions of the profile; what is held
// here is their order: older, heavier and decayed is never rated below younger,
// lighter and sound, and no rule says imminent.
func TestLimbByCut(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	topped := func(year int, shoots float64, decay bool) inventory.Cut {
		return inventory.Cut{Kind: inventory.CutTopping, Year: inventory.Some(year), RegrowthLength: inventory.Some(shoots), Decay: inventory.Some(decay)}
	}
	for _, c := range []struct {
		name string
		cut  inventory.Cut
		want inventory.Likelihood
		rule risk.Rule
	}{
		{"topped last year", topped(2025, 1, false), inventory.Improbable, risk.FreshCut},
		{"topped five years ago", topped(2021, 2, false), inventory.Possible, risk.Regrown},
		{"long shoots after three years", topped(2023, 3, false), inventory.Possible, risk.Regrown},
		{"old and heavy", topped(2012, 4, false), inventory.Probable, risk.RegrownHeavy},
		{"old over decay", topped(2012, 1, true), inventory.Probable, risk.RegrownHeavy},
		{"year unknown", inventory.Cut{Kind: inventory.CutTopping}, inventory.Possible, risk.Regrown},
		{"headed", inventory.Cut{Kind: inventory.CutHeading, Year: inventory.Some(2010)}, inventory.Possible, risk.Regrown},
		{"bare limb", inventory.Cut{Kind: inventory.CutLionTailing}, inventory.Possible, risk.BareLimb},
		{"long bare limb", inventory.Cut{Kind: inventory.CutLionTailing, Reach: inventory.Some(7.0)}, inventory.Probable, risk.LongBareLimb},
		{"wide flush cut", inventory.Cut{Kind: inventory.CutFlush, Diameter: inventory.Some(0.2)}, inventory.Possible, risk.WideWound},
		{"small stub", inventory.Cut{Kind: inventory.CutStub, Diameter: inventory.Some(0.03)}, inventory.Improbable, risk.SmallWound},
	} {
		got := s.Limb(c.cut, nil)
		if got.Likelihood != c.want || got.Rule != c.rule || !got.Inferred {
			t.Errorf("%s: %v by %q, inferred %v; expected %v by %q", c.name, got.Likelihood, got.Rule, got.Inferred, c.want, c.rule)
		}
	}
}

func TestJudgedVisitWinsOverTheRule(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	cut := inventory.Cut{Kind: inventory.CutTopping, Year: inventory.Some(2012), RegrowthLength: inventory.Some(5.0)}
	old := inventory.Visit{On: day.AddDate(-6, 0, 0), Limb: inventory.Improbable, Crown: inventory.Imminent}
	silent := inventory.Visit{On: day.AddDate(-1, 0, 0), Condition: "fair"}
	recent := inventory.Visit{On: day.AddDate(0, -1, 0), Limb: inventory.Possible}
	future := inventory.Visit{On: day.AddDate(0, 1, 0), Limb: inventory.Imminent}

	if j := s.Limb(cut, []inventory.Visit{old, silent, recent, future}); j.Likelihood != inventory.Possible || j.Inferred || j.Stale {
		t.Errorf("%+v, expected the last judging visit before the day", j)
	}
	// A visit that is silent about a part leaves the older word standing, stale.
	if j := s.Limb(cut, []inventory.Visit{old, silent}); j.Likelihood != inventory.Improbable || j.Inferred || !j.Stale {
		t.Errorf("%+v, expected the old visit's word, marked out of date", j)
	}
	if j := s.Crown(inventory.Tree{Status: inventory.Alive}, []inventory.Visit{old, recent}); j.Likelihood != inventory.Imminent {
		t.Errorf("%+v, expected the crown's own word", j)
	}
	// A visit before the cut was made cannot have judged it.
	fresh := inventory.Cut{Kind: inventory.CutTopping, Year: inventory.Some(2025)}
	if j := s.Limb(fresh, []inventory.Visit{old}); !j.Inferred {
		t.Errorf("%+v, expected the rule: the visit is older than the cut", j)
	}
}

func TestUnjudgedTrees(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	if j := s.WholeTree(inventory.Tree{Status: inventory.Dead}, nil); j.Likelihood != inventory.Probable || j.Rule != risk.DeadTree {
		t.Errorf("dead: %+v", j)
	}
	if j := s.Crown(inventory.Tree{Status: inventory.Alive}, nil); j.Likelihood != inventory.Improbable || j.Rule != risk.NothingKnown {
		t.Errorf("alive: %+v", j)
	}
}
