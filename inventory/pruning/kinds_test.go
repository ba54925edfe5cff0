package pruning_test

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
)

// Conifers and palms grow no new crown from shoots: no broadleaf restoration
// (common practice, no source; the kinds are those of the published equations).
func TestToppedConiferAndPalm(t *testing.T) {
	for _, species := range []string{"Pinus nigra", "Picea abies", "Phoenix canariensis", "Washingtonia robusta"} {
		k := caseOf(tree(func(t *inventory.Tree) { t.Species = species }), topped(2015))
		s := pruning.Specify(k, rules)
		clean(t, &s)
		if s.Work != practice.SecondOpinion || !fired(&s, pruning.KindUnruled) || !strings.Contains(s.SecondOpinion, "no rule here says what to do") {
			t.Errorf("a topped %s: %s, %q", species, s.Work, s.SecondOpinion)
		}
		kept := pruning.SpecifyKept(k, rules)
		clean(t, &kept)
		if list, _ := items(&kept, pruning.KindUnruled); kept.Work != practice.Cleaning || len(list) != 1 || list[0].Cut != "" {
			t.Errorf("a topped %s that is kept: %s, %+v", species, kept.Work, list)
		}
	}
}

// Of a palm dead fronds only, and never live ones that stand level or above
// (common practice, no source).
func TestPalm(t *testing.T) {
	s := pruning.Specify(caseOf(tree(func(t *inventory.Tree) { t.Species, t.DBH = "Phoenix canariensis", some(0.1) }), inventory.Cut{ID: 2, Kind: inventory.CutLionTailing}), rules)
	clean(t, &s)
	not := strings.Join(s.Not, "\n")
	if s.Work != practice.Cleaning || s.DoseTotal != 0 || s.DoseCap != 0 || len(s.Visits) != 1 || len(s.Visits[0].Items) != 1 || s.Visits[0].Items[0].Rule != pruning.PalmFronds {
		t.Errorf("a palm: %+v", s)
	}
	if strings.Contains(not, "60 %") || strings.Contains(not, "lateral") || !strings.Contains(not, "No live frond that stands level or above") || !strings.Contains(not, "irons") {
		t.Errorf("a palm is told: %s", not)
	}
}

// Stressed trees: dead and hazardous parts only (METHOD 1.2, common practice, no
// source); who declines or dies is looked at first.
func TestStressedTrees(t *testing.T) {
	young := pruning.Specify(caseOf(tree(func(t *inventory.Tree) { t.DBH, t.Condition = some(0.08), "poor" })), rules)
	clean(t, &young)
	if young.Work != practice.Cleaning || young.DoseTotal != 0 || !strings.Contains(young.Objective, "everything live left") || strings.Contains(young.Visits[0].Goal, "rubbing") {
		t.Errorf("a stressed young tree: %s, %v, %q, %+v", young.Work, young.DoseTotal, young.Objective, young.Visits)
	}
	for _, c := range []string{"declining", "Dying back", "moribund"} {
		k := caseOf(tree(func(t *inventory.Tree) { t.Condition = c }), topped(2015))
		s := pruning.Specify(k, rules)
		if s.Work != practice.SecondOpinion || !fired(&s, pruning.DyingTree) {
			t.Errorf("%s: %s, %v", c, s.Work, s.Rules)
		}
		if kept := pruning.SpecifyKept(k, rules); !kept.Stressed || kept.DoseCap != 0.05 {
			t.Errorf("%s and kept: stressed %v, cap %v", c, kept.Stressed, kept.DoseCap)
		}
	}
}

// Very long shoots over places in regular use, from a twentieth of the hours on
// (METHOD 2.2, frequent: common practice, no source), and wide decayed wounds
// (assumption; 15 cm is UF/IFAS's) ask for a look; hung and dead parts over places
// may come off before it (METHOD 1.4, V0).
func TestSecondOpinionOverPlaces(t *testing.T) {
	long := topped(2010)
	long.RegrowthLength = some(6)
	wound := func(kind inventory.CutKind, diameter float64, decay bool) inventory.Cut {
		return inventory.Cut{ID: 8, Kind: kind, Diameter: some(diameter), Decay: inventory.Some(decay)}
	}
	for _, c := range []struct {
		name     string
		cut      inventory.Cut
		over     []inventory.TargetKind
		occupied float64
		dbh      float64
		rule     pruning.Rule
	}{
		{"over a walk, regular", long, []inventory.TargetKind{inventory.Walkway}, 0.05, 0.6, pruning.HeavyShoots},
		{"over a walk, seldom", long, []inventory.TargetKind{inventory.Walkway}, 0.049, 0.6, ""},
		{"over a building, regular", long, []inventory.TargetKind{inventory.Building}, 0.3, 0.6, ""},
		{"wide decayed flush cut", wound(inventory.CutFlush, 0.15, true), nil, 0, 0.6, pruning.DecayedWound},
		{"sound flush cut", wound(inventory.CutFlush, 0.15, false), nil, 0, 0.6, ""},
		{"a third of the stem", wound(inventory.CutRemoval, 0.07, true), nil, 0, 0.21, pruning.DecayedWound},
		{"less than a third", wound(inventory.CutRemoval, 0.069, true), nil, 0, 0.21, ""},
	} {
		k := caseOf(tree(func(t *inventory.Tree) { t.DBH = some(c.dbh) }), c.cut)
		k.Over, k.Occupied = c.over, c.occupied
		s := pruning.Specify(k, rules)
		clean(t, &s)
		if (s.SecondOpinion != "") != (c.rule != "") || c.rule != "" && !fired(&s, c.rule) {
			t.Errorf("%s: %q, %v", c.name, s.SecondOpinion, s.Rules)
		}
		if c.rule == "" {
			continue
		}
		hung, _ := items(&s, pruning.HungParts)
		if (len(hung) == 1) != (len(c.over) > 0) || s.DoseTotal != 0 || s.DoseCap != 0 {
			t.Errorf("%s: hung parts %+v, dose %v", c.name, hung, s.DoseTotal)
		}
	}
	dead := caseOf(tree(func(t *inventory.Tree) { t.Status = inventory.Dead }))
	dead.Over = []inventory.TargetKind{inventory.Walkway}
	s := pruning.Specify(dead, rules)
	if hung, _ := items(&s, pruning.HungParts); len(hung) > 0 {
		t.Errorf("a dead tree: %+v", hung)
	}
}

// A crown measured to its four sides, 8 m to the east and 4 m elsewhere: beyond 1.3
// times its mean of 5 m; at 6 m it is within (mean 4.5 m). By hand.
func TestLongSideFromRadii(t *testing.T) {
	for _, c := range []struct {
		sides [4]inventory.Opt[float64]
		want  bool
	}{
		{[4]inventory.Opt[float64]{some(4), some(8), some(4), some(4)}, true},
		{[4]inventory.Opt[float64]{some(4), some(5.5), some(4), some(4)}, false},
		{[4]inventory.Opt[float64]{some(4), some(8), {}, some(4)}, false},
	} {
		s := pruning.Specify(caseOf(tree(func(t *inventory.Tree) { t.CrownRadii = c.sides })), rules)
		clean(t, &s)
		list, _ := items(&s, pruning.LongSide)
		if (len(list) == 1) != c.want || c.want && (list[0].Bearing.V != 90 || list[0].Reach.V != 8 || s.Work != practice.Reduction || !strings.Contains(list[0].Text, "four sides")) {
			t.Errorf("%v: %s, %+v", c.sides, s.Work, list)
		}
	}
}

// A stem that is unusually large is not taken silently (the limit is an assumption).
func TestUnusualStem(t *testing.T) {
	for dbh, want := range map[float64]bool{1.5: false, 1.51: true, 4: true} {
		s := pruning.Specify(caseOf(tree(func(t *inventory.Tree) { t.DBH = some(dbh) })), rules)
		list, _ := items(&s, pruning.UnusualStem)
		if fired(&s, pruning.UnusualStem) != want || (len(list) == 1) != want {
			t.Errorf("a stem of %v m: %v, %v", dbh, s.Rules, list)
		}
	}
}
