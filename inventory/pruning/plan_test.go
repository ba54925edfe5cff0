package pruning_test

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
)

func afterYears(s *pruning.Specification) (out []int) {
	for _, v := range s.Visits {
		out = append(out, v.AfterYears)
	}
	return out
}

func same(a, b []int) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// The template counts from the topping: shoots chosen in year 2 to 3, competitors
// held back in 4 to 6, one leader in 7 to 9 (UF/IFAS for the seasons, the years
// common practice, no source; METHOD 1.4). What has grown longer than that need
// not wait again. While nothing live is taken somebody looks within two years
// (assumption).
func TestYearsFromTopping(t *testing.T) {
	for _, c := range []struct {
		name  string
		year  inventory.Opt[int]
		years []int
	}{
		{"this year", inventory.Some(2026), []int{0, 2, 3, 5, 8}}, // with a look in between
		{"a year ago", inventory.Some(2025), []int{0, 2, 4, 7}},
		{"two years ago", inventory.Some(2024), []int{0, 1, 3, 6}},
		{"long ago", inventory.Some(1999), []int{0, 1, 3, 6}},
		{"nobody knows", inventory.Opt[int]{}, []int{0, 2, 3, 5, 8}},
	} {
		cut := topped(0)
		cut.Year = c.year
		s := pruning.Specify(caseOf(tree(nil), cut), rules)
		clean(t, &s)
		if got := afterYears(&s); !same(got, c.years) {
			t.Errorf("topped %s: visits after %v years, expected %v", c.name, got, c.years)
			continue
		}
		chosen := map[int]pruning.Rule{1: pruning.KeepShoots, 2: pruning.Subordinate, 3: pruning.OneLeader}
		since := 0
		if c.year.OK {
			since = 2026 - c.year.V
		}
		for n, within := range map[int][2]int{1: {2, 3}, 2: {4, 6}, 3: {7, 9}} {
			_, at := items(&s, chosen[n])
			y := since + s.Visits[at[0]-1].AfterYears
			if since <= 2 && (y < within[0] || y > within[1]) {
				t.Errorf("topped %s: %s comes %d years after the topping, expected %v", c.name, chosen[n], y, within)
			}
		}
		if look, _ := items(&s, pruning.LookBetween); len(look) > 0 != (len(c.years) == 5) {
			t.Errorf("topped %s: looks in between: %v", c.name, look)
		}
	}
	slow := *rules
	slow.Pruning.ToppedLatelyYears.Value = 7
	s := pruning.Specify(caseOf(tree(nil), topped(2025)), &slow)
	if got := afterYears(&s); !same(got, []int{0, 2, 4, 6, 7, 8}) || s.WaitYears != 6 {
		t.Errorf("a wait of seven years from the topping: %v, waits %d", got, s.WaitYears)
	}
}

// One small cut on a young tree takes one visit or two; where each old cut has one
// shoot there is none to choose (both common practice, no source).
func TestShortPlans(t *testing.T) {
	small := inventory.Cut{ID: 3, Kind: inventory.CutHeading, Year: inventory.Some(2022), Diameter: some(0.04)}
	young := func(t *inventory.Tree) { t.DBH = some(0.09) }
	for _, c := range []struct {
		name   string
		shoots inventory.Opt[int]
		years  []int
		rule   pruning.Rule
	}{
		{"not counted", inventory.Opt[int]{}, []int{0, 2}, pruning.OneLeader},
		{"five shoots", inventory.Some(5), []int{0, 2}, pruning.OneLeader},
		{"one shoot", inventory.Some(1), []int{0, 2}, pruning.LeftStub},
		{"none", inventory.Some(0), []int{0}, pruning.DeadStub},
	} {
		cut := small
		cut.RegrowthCount = c.shoots
		s := pruning.Specify(caseOf(tree(young), cut), rules)
		clean(t, &s)
		if got := afterYears(&s); !same(got, c.years) || !fired(&s, c.rule) {
			t.Errorf("%s: visits after %v years, expected %v, and %s: %v", c.name, got, c.years, c.rule, s.Rules)
		}
	}
	// Topped this year it waits, and then one leader is all; with a look in between.
	now := small
	now.Kind, now.Year = inventory.CutTopping, inventory.Some(2026)
	s := pruning.Specify(caseOf(tree(young), now), rules)
	clean(t, &s)
	lead, at := items(&s, pruning.OneLeader)
	if choose, _ := items(&s, pruning.KeepShoots); !same(afterYears(&s), []int{0, 2, 3}) || len(lead) != 1 || at[0] != 3 || len(choose) != 0 {
		t.Errorf("a small topping of this year: %v, %+v", afterYears(&s), s.Visits)
	}
	// Wider, or several like it, and the long plan holds.
	wide, many := small, small
	wide.Diameter, many.Count = some(0.1), inventory.Some(3)
	for _, cut := range []inventory.Cut{wide, many} {
		if s := pruning.Specify(caseOf(tree(young), cut), rules); len(s.Visits) != 4 {
			t.Errorf("%+v: %d visits, expected 4", cut, len(s.Visits))
		}
	}
}

// What is said fits: where all shoots stay none is taken out, and nothing is said
// of others (UF/IFAS: of those not kept a third goes).
func TestShootsSaid(t *testing.T) {
	for _, c := range []struct {
		shoots int
		say    string
		cut    inventory.CutKind
	}{
		{1, "keep the one shoot", ""}, {3, "keep all 3 shoots", ""}, {4, "of 4 keep 3, shorten 1.", inventory.CutReduction}, {5, "of 5 keep 3, take out 1 at the base, shorten 1.", inventory.CutRemoval},
	} {
		cut := topped(2015)
		cut.RegrowthCount = inventory.Some(c.shoots)
		s := pruning.Specify(caseOf(tree(nil), cut), rules)
		clean(t, &s)
		list, _ := items(&s, pruning.KeepShoots)
		if len(list) == 0 || !strings.Contains(list[0].Text, c.say) || list[0].Cut != c.cut {
			t.Errorf("%d shoots: %+v", c.shoots, list)
		}
		others := false
		for _, item := range list {
			others = others || strings.Contains(item.Text, "not kept")
		}
		if others != (c.cut != "") {
			t.Errorf("%d shoots, and of those not kept: %+v", c.shoots, list)
		}
		for _, v := range s.Visits {
			if len(v.Items) == 0 {
				t.Errorf("%d shoots: nothing to do at visit %d", c.shoots, v.Number)
			}
		}
	}
}

// A record that stands for three cuts is three cuts.
func TestCountsSaid(t *testing.T) {
	cut := topped(2015)
	cut.Count, cut.RegrowthCount = inventory.Some(3), inventory.Some(6)
	s := pruning.Specify(caseOf(tree(nil), cut), rules)
	list, _ := items(&s, pruning.KeepShoots)
	if !strings.Contains(list[0].Text, "3 topping cuts of 2015") || !strings.Contains(list[0].Text, "at each keep 1 to 3") || !strings.Contains(list[0].Text, "of 6 keep 3, take out 1") {
		t.Errorf("three cuts: %q", list[0].Text)
	}
	said := ""
	for _, f := range s.Rules {
		said += f.Why + "\n"
	}
	if !strings.Contains(said, "3 topping cuts and 0 heading cuts") || !strings.Contains(said, "3 old cuts") {
		t.Errorf("three cuts: %s", said)
	}
}

// What a dose leaves no room for is not asked for (METHOD 1.2: stressed trees give
// up dead and hazardous parts only, to 5 %).
func TestDoseFitsItems(t *testing.T) {
	cut := topped(2015)
	cut.RegrowthCount = inventory.Some(30)
	s := pruning.Specify(caseOf(tree(func(t *inventory.Tree) { t.Condition = "poor" }), cut), rules)
	limited, at := items(&s, pruning.DoseCap)
	if len(limited) != 3 || at[0] != 2 || !strings.Contains(limited[0].Text, "only as far as the dose of 5 % of the live crown allows") {
		t.Errorf("a stressed tree: %+v at %v", limited, at)
	}
	none := *rules
	none.Pruning.Dose.Stressed.Value = 0
	s = pruning.Specify(caseOf(tree(func(t *inventory.Tree) { t.Condition = "poor" }), cut), &none)
	for _, v := range s.Visits {
		if v.Dose != 0 || strings.Contains(v.Goal, "Choose") || strings.Contains(v.Goal, "hold back") {
			t.Errorf("nothing live may be taken: %+v", v)
		}
		for _, item := range v.Items {
			if item.Rule == pruning.KeepShoots && item.Cut != "" {
				t.Errorf("nothing live may be taken: %+v", item)
			}
		}
	}
	if len(pruning.Check(&s, &none)) > 0 || s.Work != practice.Restoration {
		t.Errorf("work %s, breaches %v", s.Work, pruning.Check(&s, &none))
	}
}
