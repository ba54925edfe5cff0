package pruning_test

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
)

func restoration(t *testing.T) pruning.Specification {
	t.Helper()
	s := pruning.Specify(caseOf(tree(nil), topped(2015)), rules)
	clean(t, &s)
	return s
}

func dose(visit int, share float64) pruning.Change {
	return pruning.Change{Visits: []pruning.VisitChange{{Number: visit, Dose: some(share)}}}
}

func years(visit, after int) pruning.Change {
	return pruning.Change{Visits: []pruning.VisitChange{{Number: visit, AfterYears: inventory.Some(after)}}}
}

func add(item pruning.Item) pruning.Change {
	item.Text = "as asked"
	if item.Place == "" {
		item.Place = pruning.WholeCrown
	}
	return pruning.Change{Add: []pruning.AddedItem{{Visit: 2, Item: item}}}
}

// What breaks a rule is refused and named, and goes with a reason that is kept;
// topping and heading never go (published restatements of the pruning standard:
// no topping in any specification). Limits: lateral a third (UF/IFAS), dose of a
// mature tree 10 % (UF/IFAS), wound 15 cm (UF/IFAS).
func TestApplyRefusesAndOverrides(t *testing.T) {
	for _, c := range []struct {
		name  string
		ch    pruning.Change
		rule  pruning.Rule
		final bool
	}{
		{"lateral of 30 %", pruning.Change{LateralShare: some(0.3)}, pruning.LateralLeast, true},
		{"dose of 11 %", dose(2, 0.11), pruning.DoseCap, false},
		{"visit before the one before", years(3, 0), pruning.VisitOrder, false},
		{"first visit later", years(1, 1), pruning.VisitOrder, false},
		{"topping", add(pruning.Item{Cut: inventory.CutTopping}), pruning.NoTopping, true},
		{"heading", add(pruning.Item{Cut: inventory.CutHeading}), pruning.NoHeading, true},
		{"lion-tailing", add(pruning.Item{Cut: inventory.CutLionTailing}), pruning.NoLionTailing, false},
		{"stripping inside", add(pruning.Item{Cut: inventory.CutRemoval, Place: pruning.LimbInside}), pruning.NoLionTailing, false},
		{"flush", add(pruning.Item{Cut: inventory.CutFlush}), pruning.NoFlush, false},
		{"stub", add(pruning.Item{Cut: inventory.CutStub}), pruning.NoStub, false},
		{"wide wound", add(pruning.Item{Cut: inventory.CutRemoval, SizeTo: 0.16}), pruning.WoundMost, false},
		{"reduction to nothing", add(pruning.Item{Cut: inventory.CutReduction}), pruning.LateralLeast, true},
		{"dose of half the crown and more", dose(2, 0.51), pruning.DoseNever, true},
		{"dose over a quarter", dose(2, 0.3), pruning.DoseCap, false},
		{"more than the whole crown in all", pruning.Change{Visits: []pruning.VisitChange{{Number: 2, Dose: some(0.5)}, {Number: 3, Dose: some(0.5)}, {Number: 4, Dose: some(0.5)}}}, pruning.DoseTotal, true},
		{"topping in words", pruning.Change{Objective: inventory.Some("Top the tree at 6 m.")}, pruning.NoTopping, true},
		{"heading in a note", pruning.Change{Note: inventory.Some("head back to the old points")}, pruning.NoTopping, true},
		{"all over in an item", pruning.Change{Add: []pruning.AddedItem{{Visit: 1, Item: pruning.Item{Cut: inventory.CutReduction, Place: pruning.WholeCrown, LateralShare: 0.5, Text: "reduce by 30 % all over"}}}}, pruning.NoTopping, true},
	} {
		s := restoration(t)
		before, _ := json.Marshal(s)
		_, err := pruning.Apply(s, c.ch, rules)
		if inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), string(c.rule)) {
			t.Errorf("%s: %v, expected it refused by %q", c.name, err, c.rule)
			continue
		}
		c.ch.Reason, c.ch.At = "the owner wants it, and the officer agreed", asOf
		if _, err := pruning.Apply(s, c.ch, rules); err == nil {
			t.Errorf("%s: overridden by nobody", c.name)
		}
		c.ch.By = "A. Warden"
		out, err := pruning.Apply(s, c.ch, rules)
		if after, _ := json.Marshal(s); string(after) != string(before) {
			t.Errorf("%s: the specification given was changed", c.name)
		}
		if c.final {
			if err == nil || !strings.Contains(err.Error(), "no reason overrides") {
				t.Errorf("%s: %v, expected it refused whatever the reason", c.name, err)
			}
			continue
		}
		if err != nil || !slices.ContainsFunc(out.Overrides, func(o pruning.Override) bool {
			return o.Rule == c.rule && o.Breach != "" && o.Reason == c.ch.Reason && o.By == "A. Warden" && o.At.Equal(asOf)
		}) {
			t.Errorf("%s: %v, overrides %v", c.name, err, out.Overrides)
		}
		// The reason holds for what it was given for, and not for more.
		if _, err := pruning.Apply(out, pruning.Change{Note: inventory.Some("ring the school first")}, rules); err != nil {
			t.Errorf("%s: a note afterwards is refused: %v", c.name, err)
		}
		if len(pruning.Check(&out, rules)) == 0 {
			t.Errorf("%s: an override hides the breach", c.name)
		}
	}
	s := restoration(t)
	ch := dose(2, 0.11)
	ch.Reason, ch.By = "storm damage", "A. Warden"
	out, err := pruning.Apply(s, ch, rules)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := pruning.Apply(out, dose(2, 0.2), rules); err == nil {
		t.Error("a reason for 11 % let 20 % through")
	}
}

// A tree topped a year ago waits: nothing live before (UF/IFAS). Growing seasons
// lie between live visits, and all together stay within the total.
func TestApplyTimes(t *testing.T) {
	s := pruning.Specify(caseOf(tree(nil), topped(2025)), rules)
	if _, err := pruning.Apply(s, dose(1, 0.02), rules); err == nil || !strings.Contains(err.Error(), string(pruning.ToppedLately)) {
		t.Errorf("live at once after topping: %v", err)
	}
	slow := *rules
	slow.Restoration.Between.Value = 4
	if _, err := pruning.Apply(restoration(t), years(3, 4), &slow); err == nil || !strings.Contains(err.Error(), string(pruning.Between)) {
		t.Errorf("visits too close: %v", err)
	}
	slow.Pruning.DoseTotal.Value = 0.2
	if got := pruning.Check(&s, &slow); !slices.ContainsFunc(got, func(b pruning.Breach) bool { return b.Rule == pruning.DoseTotal }) {
		t.Errorf("total of %v over 0.2: %v", s.DoseTotal, got)
	}
}

func TestApplySets(t *testing.T) {
	ch := pruning.Change{
		Objective: inventory.Some("Keep the school's oak."), LateralShare: some(0.5), CycleYears: inventory.Some(2), Note: inventory.Some("ring first"),
		Visits: []pruning.VisitChange{{Number: 2, Dose: some(0.05), AfterYears: inventory.Some(2)}},
		Add:    []pruning.AddedItem{{Visit: 1, Item: pruning.Item{Cut: inventory.CutRemoval, Place: pruning.OverTarget, Text: "take the hung branch over the gate out", SizeTo: 0.08}}},
	}
	text, err := json.Marshal(ch)
	if err != nil {
		t.Fatal(err)
	}
	var read pruning.Change
	if err := json.Unmarshal(text, &read); err != nil || !reflect.DeepEqual(read, ch) {
		t.Errorf("change read back: %v, %s", err, text)
	}
	s := restoration(t)
	out, err := pruning.Apply(s, ch, rules)
	if err != nil {
		t.Fatal(err)
	}
	added := out.Visits[0].Items[len(out.Visits[0].Items)-1]
	if out.Objective != ch.Objective.V || out.CycleYears != 2 || out.Note != "ring first" || out.Visits[1].Dose != 0.05 || out.Visits[1].AfterYears != 2 || added.Rule != pruning.ByHand || len(out.Overrides) != 0 {
		t.Errorf("changed: %+v", out)
	}
	near(t, "total", out.DoseTotal, s.DoseTotal-s.Visits[1].Dose+0.05, 1e-9)
	for _, v := range out.Visits {
		for _, item := range v.Items {
			if item.Cut == inventory.CutReduction && item.LateralShare != 0.5 {
				t.Errorf("lateral of %v", item.LateralShare)
			}
		}
	}
}

func TestApplyRefusesWhatCannotBe(t *testing.T) {
	for want, ch := range map[string]pruning.Change{
		"no kind of work":     {Work: inventory.Some(practice.Work("topping"))},
		"no visit 9":          dose(9, 0.1),
		"visits.1.dose":       dose(1, 1.5),
		"visits.2.after":      years(2, -1),
		"lateral_share":       {LateralShare: some(2)},
		"cycle_years":         {CycleYears: inventory.Some(0)},
		"no kind of cut":      add(pruning.Item{Cut: "pollard"}),
		"no place":            add(pruning.Item{Place: "somewhere"}),
		"objective: expected": {Objective: inventory.Some(" \n")},
		"note: expected":      {Note: inventory.Some("  ")},
		"instruction in word": {Add: []pruning.AddedItem{{Visit: 1, Item: pruning.Item{Place: pruning.LimbEnd}}}},
	} {
		ch.Reason, ch.By = "because", "A. Warden"
		if _, err := pruning.Apply(restoration(t), ch, rules); inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), want) {
			t.Errorf("expected %q, got %v", want, err)
		}
	}
}

// A tree under a second opinion is not cut before it, without a reason; and a
// person may ask for one.
func TestOpinionFirst(t *testing.T) {
	dead := pruning.Specify(caseOf(tree(func(t *inventory.Tree) { t.Status = inventory.Dead })), rules)
	for _, ch := range []pruning.Change{
		{Work: inventory.Some(practice.Cleaning)},
		{Add: []pruning.AddedItem{{Visit: 1, Item: pruning.Item{Cut: inventory.CutRemoval, Place: pruning.WholeCrown, Text: "clean"}}}},
	} {
		if _, err := pruning.Apply(dead, ch, rules); err == nil || !strings.Contains(err.Error(), string(pruning.OpinionFirst)) {
			t.Errorf("%+v: %v, expected a second opinion first", ch, err)
		}
	}
	if _, err := pruning.Apply(dead, pruning.Change{Work: inventory.Some(practice.Cleaning), Visits: dose(1, 0.01).Visits, Reason: "wanted", By: "A. Warden"}, rules); err == nil || !strings.Contains(err.Error(), "dead tree has no live crown") {
		t.Errorf("a dose of a dead tree: %v", err)
	}
	looked := caseOf(tree(nil), topped(2015))
	looked.Visits = []inventory.Visit{{On: asOf.AddDate(0, -1, 0), Limb: inventory.Imminent}}
	asked := pruning.Specify(looked, rules)
	for _, ch := range []pruning.Change{dose(1, 0.01), {LateralShare: some(0.5)}} {
		ch.Reason, ch.By = "wanted", "A. Warden"
		if _, err := pruning.Apply(asked, ch, rules); inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), "nothing is cut before the look; change the work first") {
			t.Errorf("%+v before the look: %v", ch, err)
		}
	}
	if dead.DoseCap != 0 || asked.DoseCap != 0 {
		t.Errorf("dose caps of trees that are not cut: %v, %v", dead.DoseCap, asked.DoseCap)
	}
	changed, err := pruning.Apply(asked, pruning.Change{Work: inventory.Some(practice.Cleaning), Visits: dose(1, 0.05).Visits, Reason: "looked at by B. Oak", By: "A. Warden"}, rules)
	if err != nil || changed.DoseCap != 0.1 || changed.Visits[0].Dose != 0.05 {
		t.Errorf("work changed first: %v, %+v", err, changed)
	}
	out, err := pruning.Apply(restoration(t), pruning.Change{Work: inventory.Some(practice.SecondOpinion), By: "A. Warden", Reason: "conks at the base"}, rules)
	if err != nil || out.SecondOpinion != "conks at the base" || out.DoseTotal != 0 || out.DoseCap != 0 || strings.Contains(strings.Join(out.Not, " "), "of the live crown in one season") || len(out.Visits) != 1 || len(out.Overrides) != 0 {
		t.Errorf("a second opinion asked for: %v, %+v", err, out)
	}
}

// A larger lateral is said the same in the sentence, the figure and the list of
// what not to do.
func TestApplyLateralInWords(t *testing.T) {
	bare := inventory.Cut{ID: 4, Kind: inventory.CutLionTailing, Bearing: some(200), Reach: some(8.2)}
	s := pruning.Specify(caseOf(tree(nil), topped(2015), bare), rules)
	for _, c := range []struct {
		share float64
		words string
	}{{0.5, "a half"}, {0.6, "60 %"}, {1.0 / 3, "a third"}, {0.4, "40 %"}} {
		out, err := pruning.Apply(s, pruning.Change{LateralShare: some(c.share)}, rules)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, v := range out.Visits {
			for _, item := range v.Items {
				if item.Cut != inventory.CutReduction {
					continue
				}
				n++
				if item.LateralShare != c.share || !strings.Contains(item.Text, c.words+" or more") && !strings.Contains(item.Text, c.words+" to a half") {
					t.Errorf("%v: %v, %q", c.share, item.LateralShare, item.Text)
				}
			}
		}
		not := strings.Join(out.Not, " ")
		if n < 4 || !strings.Contains(not, "a lateral under "+c.words+" of what") || c.share >= 0.5 && strings.Contains(not, "is better") {
			t.Errorf("%v: %d reductions, %s", c.share, n, not)
		}
		if c.share != 1.0/3 {
			for _, v := range out.Visits {
				for _, item := range v.Items {
					if strings.Contains(item.Text, "a third or more") || strings.Contains(item.Text, "a third to a half") {
						t.Errorf("%v, and still %q", c.share, item.Text)
					}
				}
			}
		}
		s = out
	}
}

// An override goes with the breach that it was given for.
func TestOverrideGoes(t *testing.T) {
	ch := dose(2, 0.12)
	ch.Reason, ch.By = "storm damage", "A. Warden"
	out, err := pruning.Apply(restoration(t), ch, rules)
	if err != nil || len(out.Overrides) != 1 {
		t.Fatalf("%v, %v", err, out.Overrides)
	}
	back, err := pruning.Apply(out, dose(2, 0.1), rules)
	if err != nil || len(back.Overrides) != 0 {
		t.Errorf("mended: %v, overrides %v", err, back.Overrides)
	}
	if len(out.Overrides) != 1 {
		t.Error("the specification given lost its override")
	}
}
