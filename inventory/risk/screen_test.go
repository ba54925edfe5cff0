package risk_test

import (
	"math"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/risk"
)

var alive = inventory.Tree{Status: inventory.Alive}

var day = time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)

// The rules are ours, their thresholds assumptions of the profile; what is held
// here is their order: older, heavier and decayed is never rated below younger,
// lighter and sound, and no rule says imminent.
func TestLimbByCut(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	topped := func(year int, shoots float64, decay bool) inventory.Cut {
		return inventory.Cut{Kind: inventory.CutTopping, Year: inventory.Some(year), RegrowthLength: inventory.Some(shoots), Decay: inventory.Some(decay)}
	}
	shoots := func(year int, length, base, stub float64) inventory.Cut {
		c := topped(year, length, false)
		c.RegrowthDiameter, c.Diameter = inventory.Some(base), inventory.Some(stub)
		return c
	}
	closed := func(k inventory.CutKind, year int, share float64) inventory.Cut {
		return inventory.Cut{Kind: k, Year: inventory.Some(year), Diameter: inventory.Some(0.12), Closure: inventory.Some(share)}
	}
	lateral := func(k inventory.CutKind, year int, d float64) inventory.Cut {
		return inventory.Cut{Kind: k, Year: inventory.Some(year), Diameter: inventory.Some(0.06), LateralDiameter: inventory.Some(d / 10)}
	}
	heavyLateral := lateral(inventory.CutHeading, 2023, 0.15)
	heavyLateral.RegrowthLength = inventory.Some(3.0)
	narrow := func(k inventory.CutKind, year int, share float64) inventory.Cut {
		c := closed(k, year, share)
		c.Diameter.V = 0.05
		return c
	}
	bare := func(share, reach float64) inventory.Cut {
		return inventory.Cut{Kind: inventory.CutLionTailing, BareShare: inventory.Some(share), Reach: inventory.Some(reach)}
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
		{"topped two years ago, 20 cm across", inventory.Cut{Kind: inventory.CutTopping, Year: inventory.Some(2024), Diameter: inventory.Some(0.2)}, inventory.Possible, risk.WideWound},
		{"heavy and stout after three years", shoots(2023, 3, 0.09, 0.14), inventory.Probable, risk.RegrownHeavy},
		{"old and stout", shoots(2012, 2, 0.09, 0.14), inventory.Probable, risk.StoutShoots},
		{"stout after three years", shoots(2023, 2, 0.09, 0.14), inventory.Possible, risk.StoutShoots},
		{"old and slight", shoots(2012, 2, 0.08, 0.14), inventory.Possible, risk.Regrown},
		{"decay at a young topping", topped(2025, 1, true), inventory.Possible, risk.WideWound},
		{"old and open", closed(inventory.CutTopping, 2012, 0.3), inventory.Probable, risk.OpenWound},
		{"old and nearly closed", closed(inventory.CutTopping, 2012, 0.9), inventory.Possible, risk.Regrown},
		{"removal open after five years", closed(inventory.CutRemoval, 2021, 0.3), inventory.Possible, risk.OpenWound},
		{"removal open after four years", closed(inventory.CutRemoval, 2022, 0.3), inventory.Improbable, risk.CautionWound},
		{"headed to a lateral of a quarter", lateral(inventory.CutHeading, 2012, 0.15), inventory.Possible, risk.SmallLateral},
		{"reduced to a lateral of a quarter", lateral(inventory.CutReduction, 2012, 0.15), inventory.Possible, risk.SmallLateral},
		{"the same, last year", lateral(inventory.CutReduction, 2025, 0.15), inventory.Improbable, risk.FreshCut},
		{"headed to a lateral of a quarter, heavy after three years", heavyLateral, inventory.Possible, risk.Regrown},
		{"removal closed to the limit", closed(inventory.CutRemoval, 2012, 0.5), inventory.Improbable, risk.CautionWound},
		{"narrow removal still open", narrow(inventory.CutRemoval, 2012, 0.1), inventory.Improbable, risk.SmallWound},
		{"two thirds bare", bare(2.0/3, 2), inventory.Possible, risk.BareLimb},
		{"two thirds bare and long", bare(0.7, 6), inventory.Probable, risk.LongBareLimb},
		{"half bare and long", bare(0.5, 9), inventory.Improbable, risk.PartlyBare},
		{"12 cm stub", inventory.Cut{Kind: inventory.CutStub, Diameter: inventory.Some(0.12)}, inventory.Improbable, risk.CautionWound},
		{"small stub", inventory.Cut{Kind: inventory.CutStub, Diameter: inventory.Some(0.03)}, inventory.Improbable, risk.SmallWound},
	} {
		got := s.Limb(&alive, &c.cut, nil)
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

	if j := s.Limb(&alive, &cut, []inventory.Visit{old, silent, recent, future}); j.Likelihood != inventory.Possible || j.Inferred || j.Stale {
		t.Errorf("%+v, expected the last judging visit before the day", j)
	}
	// A visit that is silent about a part leaves the older word standing, stale.
	if j := s.Limb(&alive, &cut, []inventory.Visit{old, silent}); j.Likelihood != inventory.Improbable || j.Inferred || !j.Stale {
		t.Errorf("%+v, expected the old visit's word, marked out of date", j)
	}
	if j := s.Crown(&inventory.Tree{Status: inventory.Alive}, []inventory.Visit{old, recent}); j.Likelihood != inventory.Imminent {
		t.Errorf("%+v, expected the crown's own word", j)
	}
	// A visit before the cut was made cannot have judged it.
	fresh := inventory.Cut{Kind: inventory.CutTopping, Year: inventory.Some(2025)}
	if j := s.Limb(&alive, &fresh, []inventory.Visit{old}); !j.Inferred {
		t.Errorf("%+v, expected the rule: the visit is older than the cut", j)
	}
	// By the day where it is known; on the day itself it was there to be seen.
	fresh = inventory.Cut{Kind: inventory.CutTopping, On: inventory.Some(recent.On.AddDate(0, 0, 1))}
	if j := s.Limb(&alive, &fresh, []inventory.Visit{recent}); !j.Inferred {
		t.Errorf("%+v, expected the rule: the visit is a day older than the cut", j)
	}
	fresh.On.V = recent.On
	if j := s.Limb(&alive, &fresh, []inventory.Visit{recent}); j.Inferred {
		t.Errorf("%+v, expected the visit of the same day", j)
	}
}

func TestUnjudgedTrees(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	if j := s.WholeTree(&inventory.Tree{Status: inventory.Dead}, nil); j.Likelihood != inventory.Probable || j.Rule != risk.DeadTree {
		t.Errorf("dead: %+v", j)
	}
	// Its limbs are no better than it is, however small the cut.
	if j := s.Limb(&inventory.Tree{Status: inventory.Dead}, &inventory.Cut{Kind: inventory.CutStub}, nil); j.Likelihood != inventory.Probable || j.Rule != risk.DeadTree {
		t.Errorf("limb of a dead tree: %+v", j)
	}
	if j := s.Crown(&inventory.Tree{Status: inventory.Alive}, nil); j.Likelihood != inventory.Improbable || j.Rule != risk.NothingKnown {
		t.Errorf("alive: %+v", j)
	}
}

// Anniversaries count, leap days or none.
func TestYearsByTheDay(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	for _, c := range []struct {
		on   time.Time
		want float64
	}{
		{day.AddDate(-5, 0, 0), 5},
		{day.AddDate(-5, 0, 1), 5 - 1/365.25},
		{day.AddDate(0, 0, -73), 73 / 365.25},
		{day, 0},
	} {
		years, ok := s.Years(&inventory.Cut{On: inventory.Some(c.on)})
		if !ok || math.Abs(years-c.want) > 0.002 {
			t.Errorf("%s: %v years, expected %v", c.on.Format(time.DateOnly), years, c.want)
		}
	}
	five := inventory.Visit{On: day.AddDate(-5, 0, 0), Crown: inventory.Possible}
	if j := s.Crown(&alive, []inventory.Visit{five}); j.Stale {
		t.Error("a visit of five years ago to the day is out of date, the limit is five years")
	}
	five.On = five.On.AddDate(0, 0, -1)
	if j := s.Crown(&alive, []inventory.Visit{five}); !j.Stale {
		t.Error("a visit a day older than the limit is not out of date")
	}
}
