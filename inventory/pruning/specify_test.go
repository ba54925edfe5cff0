package pruning_test

import (
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
)

var (
	some  = inventory.Some[float64]
	asOf  = time.Date(2026, 11, 26, 0, 0, 0, 0, time.UTC)
	rules = practice.Default()
)

// tree is a mature oak of 60 cm in good condition with a crown of 6 m.
func tree(change func(*inventory.Tree)) *inventory.Tree {
	t := &inventory.Tree{ID: 7, Species: "Quercus rubra", Status: inventory.Alive, DBH: some(0.6), Condition: "good", Point: orb.Point{7.4, 51.5}}
	if change != nil {
		change(t)
	}
	return t
}

func caseOf(t *inventory.Tree, cuts ...inventory.Cut) *pruning.Case {
	return &pruning.Case{Tree: t, Cuts: cuts, Height: 15, CrownRadius: 6, AsOf: asOf}
}

func topped(year int) inventory.Cut {
	return inventory.Cut{ID: 11, Kind: inventory.CutTopping, Year: inventory.Some(year), Diameter: some(0.2), Height: some(8), Bearing: some(90)}
}

func fired(s *pruning.Specification, r pruning.Rule) bool {
	for _, f := range s.Rules {
		if f.Rule == r && f.Why != "" && f.Source != "" {
			return true
		}
	}
	return false
}

func items(s *pruning.Specification, r pruning.Rule) (list []pruning.Item, visits []int) {
	for _, v := range s.Visits {
		for _, item := range v.Items {
			if item.Rule == r {
				list, visits = append(list, item), append(visits, v.Number)
			}
		}
	}
	return list, visits
}

func clean(t *testing.T, s *pruning.Specification) {
	t.Helper()
	for _, b := range pruning.Check(s, rules) {
		t.Errorf("breach of %s: %s", b.Rule, b.Text)
	}
}

// Which work a tree gets from what is recorded of it. The kinds of work are the
// issue's; that a reduction to a lateral under a third is a heading cut is the
// published lateral rule (UF/IFAS, reduction cuts).
func TestWorkFromFacts(t *testing.T) {
	cut := func(k inventory.CutKind, change func(*inventory.Cut)) inventory.Cut {
		c := inventory.Cut{ID: 5, Kind: k, Year: inventory.Some(2015), Diameter: some(0.06)}
		if change != nil {
			change(&c)
		}
		return c
	}
	young := func(t *inventory.Tree) { t.DBH = some(0.1) }
	for _, c := range []struct {
		name  string
		tree  *inventory.Tree
		cuts  []inventory.Cut
		work  practice.Work
		rules []pruning.Rule
	}{
		{"topped", tree(nil), []inventory.Cut{topped(2015)}, practice.Restoration, []pruning.Rule{pruning.ToppedTree, pruning.KeepShoots, pruning.Subordinate, pruning.OneLeader, pruning.LookAgain}},
		{"headed", tree(nil), []inventory.Cut{cut(inventory.CutHeading, nil)}, practice.Restoration, []pruning.Rule{pruning.ToppedTree}},
		{"reduced to a quarter", tree(nil), []inventory.Cut{cut(inventory.CutReduction, func(c *inventory.Cut) { c.LateralDiameter = some(0.015) })}, practice.Restoration, []pruning.Rule{pruning.ToppedTree}},
		{"reduced to a third", tree(nil), []inventory.Cut{cut(inventory.CutReduction, func(c *inventory.Cut) { c.LateralDiameter = some(0.02) })}, practice.Cleaning, []pruning.Rule{pruning.Crossing, pruning.NaturalCycle}},
		{"lion-tailed", tree(nil), []inventory.Cut{cut(inventory.CutLionTailing, nil)}, practice.Rebalancing, []pruning.Rule{pruning.BareLimb, pruning.InnerShoots}},
		{"long limb", tree(nil), []inventory.Cut{cut(inventory.CutReduction, func(c *inventory.Cut) { c.LateralDiameter, c.Reach = some(0.03), some(8) })}, practice.Reduction, []pruning.Rule{pruning.OverExtended}},
		{"young", tree(young), nil, practice.Structural, []pruning.Rule{pruning.YoungTree}},
		{"young and topped", tree(young), []inventory.Cut{topped(2015)}, practice.Restoration, []pruning.Rule{pruning.ToppedTree, pruning.YoungTree}},
		{"clean", tree(nil), nil, practice.Cleaning, []pruning.Rule{pruning.DeadWood, pruning.Crossing, pruning.ByMaturity}},
		{"stub", tree(nil), []inventory.Cut{cut(inventory.CutStub, nil)}, practice.Cleaning, []pruning.Rule{pruning.LeftStub}},
		{"flush", tree(nil), []inventory.Cut{cut(inventory.CutFlush, nil)}, practice.Cleaning, []pruning.Rule{pruning.FlushWound, pruning.LookAgain}},
		{"dead", tree(func(t *inventory.Tree) { t.Status = inventory.Dead }), []inventory.Cut{topped(2015)}, practice.SecondOpinion, []pruning.Rule{pruning.DeadTree}},
		{"gone", tree(func(t *inventory.Tree) { t.Status = inventory.Stump }), nil, "", []pruning.Rule{pruning.NoTree}},
		{"young palm", tree(func(t *inventory.Tree) { t.DBH, t.Species = some(0.1), "Washingtonia robusta" }), nil, practice.Cleaning, nil},
	} {
		s := pruning.Specify(caseOf(c.tree, c.cuts...), rules)
		if s.Work != c.work {
			t.Errorf("%s: work is %q, expected %q", c.name, s.Work, c.work)
		}
		for _, r := range c.rules {
			if !fired(&s, r) {
				t.Errorf("%s: rule %q did not speak, or without a reason and a source: %v", c.name, r, s.Rules)
			}
		}
		clean(t, &s)
	}
}

// Every rule that is named has words and a source, and what fires is listed.
func TestRulesListed(t *testing.T) {
	seen := map[pruning.Rule]bool{}
	for _, r := range pruning.Rules() {
		if seen[r.Rule] || r.Words == "" || r.Source == "" {
			t.Errorf("rule %q is twice or has no words or source", r.Rule)
		}
		seen[r.Rule] = true
	}
	s := pruning.Specify(caseOf(tree(nil), topped(2025)), rules)
	for _, f := range s.Rules {
		if !seen[f.Rule] {
			t.Errorf("rule %q speaks and is not listed", f.Rule)
		}
	}
}

// The cap by maturity and vigour: a quarter, a fifth, a tenth, and a twentieth
// where stressed (the published dose table, METHOD 1.2). Unknown counts as mature.
func TestDoseTable(t *testing.T) {
	for _, c := range []struct {
		name     string
		change   func(*inventory.Tree)
		maturity pruning.Maturity
		limit    float64
	}{
		{"small stem", func(t *inventory.Tree) { t.DBH = some(0.10) }, pruning.Young, 0.25},
		{"planted lately", func(t *inventory.Tree) { t.DBH, t.PlantedYear = some(0.2), inventory.Some(2020) }, pruning.Young, 0.25},
		{"small and old", func(t *inventory.Tree) { t.DBH, t.PlantedYear = some(0.1), inventory.Some(1990) }, pruning.Established, 0.20},
		{"middle", func(t *inventory.Tree) { t.DBH = some(0.3) }, pruning.Established, 0.20},
		{"large", nil, pruning.Mature, 0.10},
		{"large though planted lately", func(t *inventory.Tree) { t.PlantedYear = inventory.Some(2020) }, pruning.Mature, 0.10},
		{"no stem", func(t *inventory.Tree) { t.DBH = inventory.Opt[float64]{} }, pruning.Mature, 0.10},
		{"poor", func(t *inventory.Tree) { t.DBH, t.Condition = some(0.1), "Very Poor" }, pruning.Young, 0.05},
		{"40 %", func(t *inventory.Tree) { t.DBH, t.Condition = some(0.1), "40 %" }, pruning.Young, 0.05},
		{"class 4 of another scale", func(t *inventory.Tree) { t.DBH, t.Condition = some(0.1), "4" }, pruning.Young, 0.25},
		{"4 %", func(t *inventory.Tree) { t.DBH, t.Condition = some(0.1), "4 %" }, pruning.Young, 0.05},
		{"60 %", func(t *inventory.Tree) { t.DBH, t.Condition = some(0.1), "60%" }, pruning.Young, 0.25},
	} {
		s := pruning.Specify(caseOf(tree(c.change)), rules)
		if s.Maturity != c.maturity || s.DoseCap != c.limit {
			t.Errorf("%s: %s, cap %v, expected %s, %v", c.name, s.Maturity, s.DoseCap, c.maturity, c.limit)
		}
	}
}

// A wide stub is left for somebody to decide; of what nobody recorded the text
// says so; paint only where local rules ask for it.
func TestTexts(t *testing.T) {
	stub := inventory.Cut{Kind: inventory.CutStub, Diameter: some(0.18)}
	s := pruning.Specify(caseOf(tree(nil), stub, inventory.Cut{Kind: inventory.CutTopping}), rules)
	if list, _ := items(&s, pruning.LeftStub); len(list) != 1 || list[0].Cut != "" || !strings.Contains(list[0].Text, "18 cm") {
		t.Errorf("wide stub: %v", list)
	}
	if list, _ := items(&s, pruning.KeepShoots); !strings.Contains(list[0].Text, "not recorded") {
		t.Errorf("shoots nobody counted: %q", list[0].Text)
	}
	not := strings.Join(s.Not, "\n")
	for _, want := range []string{"No topping", "No heading", "lion-tailing", "flush", "irons", "drought", "over 5 cm in one cut", "wider than 15 cm", "paint oak wounds"} {
		if !strings.Contains(not, want) {
			t.Errorf("what not to do says nothing of %q:\n%s", want, not)
		}
	}
	s = pruning.Specify(caseOf(tree(func(t *inventory.Tree) { t.Species = "Tilia cordata" })), rules)
	if not := strings.Join(s.Not, "\n"); strings.Contains(not, "oak") || !strings.Contains(not, "No wound paint.") {
		t.Errorf("a lime: %s", not)
	}
}

// A surveyed crown far longer to the east is reduced there: radii of 8 m on one side
// and 4 on three are beyond the limit of 1.3 times any mean of the two.
func TestLongSide(t *testing.T) {
	k := caseOf(tree(func(tr *inventory.Tree) {
		plane := geo.NewPlane(tr.Point)
		tr.Crown = orb.Polygon{{plane.ToPoint(8, 0), plane.ToPoint(0, 4), plane.ToPoint(-4, 0), plane.ToPoint(0, -4), plane.ToPoint(8, 0)}}
	}))
	s := pruning.Specify(k, rules)
	list, _ := items(&s, pruning.LongSide)
	if s.Work != practice.Reduction || len(list) != 1 || list[0].Bearing.V != 90 {
		t.Errorf("long side: %s, %+v", s.Work, list)
	}
	clean(t, &s)
}

// The end of one limb is reduced once, whatever the number of rules that ask for it.
func TestLimbReducedOnce(t *testing.T) {
	bare := inventory.Cut{ID: 4, Kind: inventory.CutLionTailing, Bearing: some(200), Reach: some(8.2)}
	long := topped(2015)
	long.Reach, long.RegrowthLength = some(5), some(3.5)
	k := caseOf(tree(nil), bare, long)
	k.Over = []inventory.TargetKind{inventory.Walkway}
	s := pruning.Specify(k, rules)
	for _, id := range []inventory.CutID{4, 11} {
		n := 0
		for _, item := range s.Visits[0].Items {
			if item.OnCut == id && item.Cut == inventory.CutReduction {
				n++
			}
		}
		if n != 1 || !fired(&s, pruning.OverExtended) {
			t.Errorf("cut %d: %d reductions at one visit", id, n)
		}
	}
	k.Over = nil
	s = pruning.Specify(k, rules)
	list, _ := items(&s, pruning.OverExtended)
	if len(list) != 1 || list[0].OnCut != 11 || !strings.Contains(list[0].Text, "Shorten the shoots that reach beyond the crown") {
		t.Errorf("shoots beyond the crown: %+v", list)
	}
	clean(t, &s)
}
