package risk_test

import (
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/risk"
)

func TestWhyOfALimb(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	tree := inventory.Tree{Status: inventory.Alive, DBH: inventory.Some(0.18)}
	for _, c := range []struct {
		cut  inventory.Cut
		want string
	}{
		{
			inventory.Cut{Kind: inventory.CutTopping, Year: inventory.Some(2012), RegrowthLength: inventory.Some(4.2), RegrowthDiameter: inventory.Some(0.09), Diameter: inventory.Some(0.14)},
			"heavy regrowth or decay on an old cut: topped 2012 (14 years ago, limit 5), shoots 4.2 m (limit 3.0), base 9 cm on a stub of 14 cm (ratio 0.64, limit 0.60)",
		},
		{
			inventory.Cut{Kind: inventory.CutHeading, On: inventory.Some(day.AddDate(0, -6, 0)), RegrowthDiameter: inventory.Some(0.105), Diameter: inventory.Some(0.14)},
			"shoots stout for their stub: headed 2025 (0.5 years ago, limit 5), base 10.5 cm on a stub of 14 cm (ratio 0.75, limit 0.60; work to be planned near 0.70)",
		},
		{
			inventory.Cut{Kind: inventory.CutTopping},
			"regrowth on an old cut: topped, year unknown (taken for old, limit 5)",
		},
		{
			inventory.Cut{Kind: inventory.CutReduction, Year: inventory.Some(2020), Diameter: inventory.Some(0.06), LateralDiameter: inventory.Some(0.015)},
			"cut to a lateral too small to take over: reduced 2020 (6 years ago, limit 5), lateral 1.5 cm on a cut of 6 cm (ratio 0.25, limit 0.33)",
		},
		{
			inventory.Cut{Kind: inventory.CutLionTailing, Year: inventory.Some(2025), BareShare: inventory.Some(0.7), Reach: inventory.Some(7.0), Decay: inventory.Some(true)},
			"long bare limb: lion-tailed 2025 (1 year ago), 70 % of the limb bare (limit 67 %), 7.0 m from the trunk (limit 6.0), decay seen",
		},
		{
			inventory.Cut{Kind: inventory.CutRemoval, Year: inventory.Some(2016), Diameter: inventory.Some(0.12), Closure: inventory.Some(0.3)},
			"wound still open: branch removed 2016 (10 years ago), 30 % closed (limit 50 % after 5 years), cut 12 cm across (caution 10 cm, limit 15 cm), stem 18 cm (ratio at least 0.67, limit 0.50)",
		},
	} {
		if got := s.Why(s.Limb(&tree, &c.cut, nil), &tree, &c.cut, nil); got != c.want {
			t.Errorf("\n%s\nexpected\n%s", got, c.want)
		}
	}
}

func TestWhyOfATree(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	tree := inventory.Tree{Status: inventory.Alive, Height: inventory.Some(22.0), DBH: inventory.Some(0.3), Lean: inventory.Some(12.0)}
	for _, c := range []struct {
		visits []inventory.Visit
		want   string
	}{
		{nil, "nothing known: leans 12 degrees (limit 20), slenderness 73 (shown only, no limit)"},
		{
			[]inventory.Visit{cavity(day.AddDate(-7, 0, 0), 0.60, 0.40, 0.15)},
			"strength loss at a cavity: 40 cm decayed of a stem of 60 cm with 10 cm of sound wall on 2019-06-01, out of date: 7 years ago, limit 5, Wagener 0.30 (limit 0.33), Coder 0.20 (caution 0.20, limit 0.44), " +
				"with 15 % of the girth open 0.40 (limit 0.33), t/R 0.33 (caution below 0.35, disputed), leans 12 degrees (limit 20), slenderness 73 (shown only, no limit)",
		},
		{
			[]inventory.Visit{cavity(day.AddDate(-1, 0, 0), 0.60, 0.70, 0), cavity(day, 0.50, 0.20, 0.4)},
			"strength loss at a cavity: 20 cm decayed of a stem of 50 cm with 15 cm of sound wall on 2026-06-01, Wagener 0.06 (limit 0.33), Coder 0.03 (caution 0.20, limit 0.44), " +
				"with 40 % of the girth open 0.44 (limit 0.33), t/R 0.60 does not hold with more than 120 degrees open, " +
				"measures at the stem on 2025-06-01 not used: decayed diameter 0.7 is larger than the stem's, 0.6, leans 12 degrees (limit 20), slenderness 73 (shown only, no limit)",
		},
	} {
		if got := s.Why(s.WholeTree(&tree, c.visits), &tree, nil, c.visits); got != c.want {
			t.Errorf("\n%s\nexpected\n%s", got, c.want)
		}
	}
	dead := inventory.Tree{Status: inventory.Dead}
	if got := s.Why(s.Crown(&dead, nil), &dead, nil, nil); got != "dead tree" {
		t.Errorf("%q", got)
	}
}

func TestWhyOfAVisit(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	visits := []inventory.Visit{
		{On: day.AddDate(-6, 0, 0), By: "A. Inspector", Crown: inventory.Possible, Limb: inventory.Imminent},
		{On: day.AddDate(-2, 0, 0), Limb: inventory.Probable},
	}
	if got, want := s.Why(s.Crown(&alive, visits), &alive, nil, visits), "judged possible by A. Inspector on 2020-06-01, out of date: 6 years ago, limit 5"; got != want {
		t.Errorf("%q, expected %q", got, want)
	}
	cut := inventory.Cut{Kind: inventory.CutStub}
	if got, want := s.Why(s.Limb(&alive, &cut, visits), &alive, &cut, visits), "judged probable on 2024-06-01"; got != want {
		t.Errorf("%q, expected %q", got, want)
	}
}

// Numbers of rules are stored. This table may grow; a line of it never changes.
func TestRuleNumbersStay(t *testing.T) {
	want := []string{
		0: "judged", 1: "nothing known", 2: "dead tree", 3: "fresh cut", 4: "wide or decayed wound", 5: "small wound",
		6: "regrowth on an old cut", 7: "heavy regrowth or decay on an old cut", 8: "bare limb", 9: "long bare limb",
		10: "shoots stout for their stub", 11: "wound still open", 12: "cut to a lateral too small to take over", 13: "partly bare limb",
		14: "wound to watch", 15: "wound wide for what carries it", 16: "strength loss at a cavity", 17: "cavity that calls for caution",
		18: "cavity within the limits", 19: "leaning stem",
	}
	rules := risk.Rules()
	if len(rules) != len(want) {
		t.Fatalf("%d rules, expected %d: add the new one to this table", len(rules), len(want))
	}
	for i, r := range rules {
		if int(r) != i || r.String() != want[i] {
			t.Errorf("rule %d is %q, expected %q", r, r, want[i])
		}
	}
}
