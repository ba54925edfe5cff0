package question

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/ranking"
)

// treesWith are trees of a street, the worst first, each with one visit of some work.
func treesWith(works ...practice.Work) []WorkTree {
	list := make([]WorkTree, len(works))
	for i, w := range works {
		t := &list[i]
		t.Tree = inventory.Tree{ID: inventory.TreeID(i + 1), Tag: string(rune('A' + i)), Species: "Tilia cordata", Status: inventory.Alive, DBH: inventory.Some(0.4)}
		t.Street = "Lime Street"
		t.Spec = pruning.Specification{Work: w, Maturity: pruning.Established, Visits: []pruning.Visit{{Dose: 0.1}}}
		t.Result.Harm = float64(len(works)-i) * 1e-3
	}
	return list
}

func planOf(t *testing.T, b *Basis, q programme.Question, trees []WorkTree) *Planned {
	t.Helper()
	from, share, err := checkQuestion(&q, b.AsOf)
	if err != nil {
		t.Fatal(err)
	}
	p, err := plan(context.Background(), b, q, from, trees, 0)
	if err != nil {
		t.Fatal(err)
	}
	p.Record.Result.FirstYearShare = share
	return p
}

func question(years int, budget ...float64) programme.Question {
	return programme.Question{From: "2028-01-01", Years: years, Measure: programme.Hours, Budget: budget}
}

// A practice whose windows close the whole year leaves nothing to plan, and says
// by which; one that closes 2029 by a drought moves what would have a visit in it.
func TestWindowsOfEveryYear(t *testing.T) {
	closed := *practice.Default()
	closed.Windows.List = []practice.Window{{Name: "never", From: "01-01", To: "12-31", Reason: "test"}}
	b := &Basis{Profile: profile.Default(), Practice: &closed, AsOf: today}
	p := planOf(t, b, question(3, 100), treesWith(practice.Cleaning, practice.SecondOpinion))
	for i := range p.Items {
		if p.Items[i].First != 0 || !strings.Contains(p.Items[i].Why, "no day of any year is open (never)") {
			t.Errorf("%s: year %d: %s", p.Items[i].Label, p.Items[i].First, p.Items[i].Why)
		}
	}
	dry := *practice.Default()
	dry.Windows.List = nil
	dry.Windows.Drought = []practice.Drought{{From: "2029-01-01", To: "2029-12-31"}}
	b = &Basis{Profile: profile.Default(), Practice: &dry, AsOf: today}
	trees := treesWith(practice.Restoration)
	trees[0].Spec.Visits = []pruning.Visit{{Dose: 0.05}, {AfterYears: 1, Dose: 0.1}}
	p = planOf(t, b, question(4, 100), trees)
	if c := p.Problem.Candidates[0]; c.Closed != 0b0011 || p.Items[0].First != 2030 || !strings.Contains(p.Items[0].Why, "(drought)") {
		t.Errorf("closed %b, begun in %d: %s", c.Closed, p.Items[0].First, p.Items[0].Why)
	}
}

// What has to be done goes before what takes more off, and is late where its year
// is full; second opinions have to be got by rule, their harm is undecided.
func TestMustsGoFirst(t *testing.T) {
	trees := treesWith(practice.Cleaning, practice.SecondOpinion, practice.SecondOpinion, practice.Cleaning)
	one := basis.CostOf(&trees[1]).Hours + basis.Practice.Rates.GroupHours.Value
	p := planOf(t, basis, question(3, one*1.01, one*1.01, 2*one), trees)
	first := map[string]int{}
	for _, i := range p.Items {
		first[i.Label] = i.First
		if i.Label == "C" && (!i.Late || !strings.Contains(i.Why, "second opinion, by rule")) {
			t.Errorf("%+v", i)
		}
	}
	if first["B"] != 2028 || first["C"] != 2029 || first["A"] != 2030 {
		t.Errorf("%v, expected the second opinions in the first years, the most harm first", first)
	}
	d := DocumentOf(&p.Record)
	if math.Abs(d.HarmUndecided-5) > 1e-9 || math.Abs(d.UndecidedShare-0.5) > 1e-9 || len(d.Late) != 1 {
		t.Errorf("undecided %v, share %v, late %v", d.HarmUndecided, d.UndecidedShare, d.Late)
	}
	if text := strings.Join(d.Notes, "\n"); !strings.Contains(text, "50 % of the whole, waits for a decision") || !strings.Contains(text, "1 trees that have to be done are done late") {
		t.Error(text)
	}
}

// A second opinion that may well be needed at once is due in the first year,
// whatever the question says; another by the year of the question; a person's pin
// goes before both.
func TestDueYears(t *testing.T) {
	trees := treesWith(practice.SecondOpinion, practice.SecondOpinion, practice.SecondOpinion)
	trees[0].Result.Likelihood, trees[0].Result.Over = inventory.Probable, []ranking.Under{{Kind: inventory.Parking}}
	q := question(4, 100)
	q.MustDue, q.Pins = 2, []programme.Pin{{Tag: "C", Year: 2031}}
	p := planOf(t, basis, q, trees)
	for i, want := range []int{0, 2, 2} {
		if c := p.Problem.Candidates[i]; !c.Must || c.DueBy != want {
			t.Errorf("%s: due by %d, expected %d", c.Label, c.DueBy, want)
		}
	}
	for _, i := range p.Items {
		if i.Label == "C" && (i.First != 2031 || i.Late || !strings.Contains(i.Why, "which goes before")) {
			t.Errorf("%+v", i)
		}
	}
}

// Rows add up: set-ups apart, what was committed before, and the harm of trees that
// are planned around stays in what is left.
func TestMoneyAddsUp(t *testing.T) {
	trees := treesWith(practice.Cleaning, practice.Cleaning, practice.Cleaning)
	trees[2].Street = "Elm Street"
	trees[0].Open = []inventory.Job{{Year: 2028, Hours: 3, Cost: 300}}
	p := planOf(t, basis, question(2, 10), trees)
	d := DocumentOf(&p.Record)
	y := &d.Years[0]
	hours := basis.CostOf(&trees[1]).Hours + basis.CostOf(&trees[2]).Hours
	set := basis.Practice.Rates.GroupHours.Value
	for what, v := range map[string][2]float64{
		"committed": {y.Committed, 3}, "hours of visits": {y.VisitHours, hours}, "of set-ups": {y.SetUpHours, 2 * set}, "cost of set-ups": {y.SetUpCost, 2 * set * basis.Practice.Rates.CrewHourCost.Value},
		"used": {y.Used, hours + 2*set}, "left": {y.Left, 10 - 3 - hours - 2*set}, "nothing done": {y.HarmIndexBefore, 6}, "in work": {d.HarmIndexInWork, 3},
	} {
		if math.Abs(v[0]-v[1]) > 1e-9 {
			t.Errorf("%s: %v, expected %v", what, v[0], v[1])
		}
	}
	if y.Trees != 2 || y.Visits != 2 || y.Groups != 2 {
		t.Errorf("%+v", y)
	}
}

// 2028 is a leap year: from 1 July 184 of its 366 days are left.
func TestFirstYearsBudget(t *testing.T) {
	q := question(2, 366)
	q.From = "2028-07-01"
	_, share, err := checkQuestion(&q, today)
	if err != nil || math.Abs(q.Budget[0]-184) > 1e-9 || q.Budget[1] != 366 || math.Abs(share-184.0/366) > 1e-12 {
		t.Errorf("%v, share %v (%v)", q.Budget, share, err)
	}
	q = question(2, 366, 366)
	q.From = "2028-07-01"
	if _, share, err := checkQuestion(&q, today); err != nil || q.Budget[0] != 366 || share != 1 {
		t.Errorf("given for each year: %v, share %v (%v)", q.Budget, share, err)
	}
}

func TestQuestionsThatCannotBe(t *testing.T) {
	for _, c := range []struct {
		spoil func(*programme.Question)
		want  string
	}{
		{func(q *programme.Question) { q.From = "2026-12-31" }, "from 2026-12-31: expected a day of the years 2027"},
		{func(q *programme.Question) { q.Budget = []float64{-5} }, "budget: -5, expected 0 or more"},
		{func(q *programme.Question) { q.Budget = []float64{1, math.NaN(), 1} }, "budget: NaN, expected 0 or more"},
		{func(q *programme.Question) { q.Least = math.NaN() }, "least_harm: NaN, expected 0 or more"},
		{func(q *programme.Question) { q.Least = -1 }, "least_harm: -1"},
		{func(q *programme.Question) { q.Cycle = -1 }, "cycle: -1 years"},
		{func(q *programme.Question) { q.Must = []string{" "} }, `must " "`},
		{func(q *programme.Question) { q.Must = []string{"a\x00b"} }, `must "a\x00b"`},
		{func(q *programme.Question) { q.Pins = []programme.Pin{{Tag: strings.Repeat("x", 3000), Year: 2028}} }, "expected 1 to 200 bytes"},
		{func(q *programme.Question) { q.Pins = []programme.Pin{{Tag: "A", Year: 2028}, {Tag: "A", Year: 2029}} }, "the years 2028 and 2029 are both given"},
		{func(q *programme.Question) { q.MustDue = 3 }, "must_due: 3"},
	} {
		q := question(3, 100)
		c.spoil(&q)
		if _, _, err := checkQuestion(&q, today); inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, expected %q", err, c.want)
		}
	}
	for _, name := range []string{"", "  ", "a\nb", "\xff", strings.Repeat("é", 101)} {
		if err := checkName("name", name); inventory.KindOf(err) != inventory.Invalid {
			t.Errorf("name %.20q: %v", name, err)
		}
	}
}

// Without a budget nothing is planned, which is no success.
func TestNoBudget(t *testing.T) {
	p := planOf(t, basis, question(2, 0), treesWith(practice.Cleaning))
	d := DocumentOf(&p.Record)
	if d.Planned != 0 || strings.Contains(d.Method, "optimum proven") || !strings.Contains(strings.Join(d.Notes, " "), "Nothing is planned") {
		t.Errorf("%s; %v", d.Method, d.Notes)
	}
}

// What a person specified after the last visit waits for no cycle, and what was
// done to its end by that specification does.
func TestASpecificationByAPersonComesNext(t *testing.T) {
	m := &maker{Basis: basis, q: programme.Question{Years: 5}, from: time.Date(2028, 1, 1, 0, 0, 0, 0, time.UTC)}
	tree := treesWith(practice.Reduction)[0]
	tree.Round = Round{Jobs: []inventory.Job{{Work: "cleaning", Visit: 1, SpecificationID: 7, Completion: &inventory.Completion{On: today}}}, Spec: pruning.Specification{Work: practice.Cleaning, Visits: []pruning.Visit{{}}}}
	tree.Kept = 9
	if year, _ := m.earliest(&tree); year != 0 {
		t.Errorf("year %d, expected the first: a growing season after 2027", year)
	}
	tree.Kept = 7
	if year, _ := m.earliest(&tree); year != 2027+naturalCycle(&tree.Spec, &basis.Practice.Cycle)-2028 {
		t.Errorf("year %d, expected the natural cycle", year)
	}
}

func TestCyclesSayWhatDiffers(t *testing.T) {
	p := planOf(t, basis, question(2, 100), treesWith(practice.Cleaning, practice.Reduction))
	d := DocumentOf(&p.Record)
	four, five, seven := d.Cycles[0], d.Cycles[1], d.Cycles[2]
	if math.Abs(four.HarmLeftShare-five.HarmLeftShare) > 1e-12 || !(seven.HarmLeftShare > five.HarmLeftShare) || !(*four.CostPerCent > *five.CostPerCent) {
		t.Errorf("%+v", d.Cycles)
	}
	if !strings.Contains(d.CyclesNote, "last 5 years") || !strings.Contains(d.CyclesNote, "appraise trees") {
		t.Error(d.CyclesNote)
	}
}
