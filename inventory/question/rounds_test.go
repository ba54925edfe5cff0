package question

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/pruning"
)

var (
	today  = time.Date(2027, 6, 1, 0, 0, 0, 0, time.UTC)
	basis  = &Basis{Profile: profile.Default(), Practice: practice.Default(), AsOf: today}
	topped = []inventory.Cut{{ID: 1, Kind: inventory.CutTopping, Year: inventory.Some(2012), Diameter: inventory.Some(0.1), RegrowthLength: inventory.Some(2.0)}}
)

// restoring is a topped tree some of whose visits were made, each in its year.
func restoring(t *testing.T, finished bool, years ...int) *WorkTree {
	t.Helper()
	tree := &WorkTree{Regrowth: []float64{2}}
	tree.Tree = inventory.Tree{ID: 1, Tag: "A", Species: "Tilia cordata", Status: inventory.Alive, DBH: inventory.Some(0.4)}
	tree.Cuts = topped
	body, err := json.Marshal(pruning.Specify(basis.caseOf(tree), basis.Practice))
	if err != nil {
		t.Fatal(err)
	}
	var jobs []inventory.Job
	for i, year := range years {
		c := &inventory.Completion{On: time.Date(year, 2, 1, 0, 0, 0, 0, time.UTC), Finished: finished && i == len(years)-1}
		jobs = append(jobs, inventory.Job{Work: string(practice.Restoration), Visit: i + 1, State: inventory.Checked, Completion: c, Specification: body})
	}
	if err := basis.specify(tree, inventory.KeptSpecification{}, jobs); err != nil {
		t.Fatal(err)
	}
	return tree
}

// What comes next on a tree that was worked on: METHOD 1.4, a restoration of
// several visits (UF/IFAS; the years are common practice, no source), and from its
// end on the natural cycle.
func TestWhatComesNext(t *testing.T) {
	m := &maker{Basis: basis, q: programme.Question{Years: 5}, from: today}
	first := restoring(t, false)
	after := func(k int) int { return first.Spec.Visits[k].AfterYears - first.Spec.Visits[k-1].AfterYears }
	cycle := int(basis.Practice.Cycle.Established.Value)
	for _, c := range []struct {
		name           string
		tree           *WorkTree
		work           practice.Work
		earliest, done int
		ended          bool
	}{
		{"never worked on", first, practice.Restoration, 0, 0, false},
		{"first visit made this year", restoring(t, false, 2027), practice.Restoration, after(1), 1, false},
		{"first visit made long ago", restoring(t, false, 2015), practice.Restoration, 0, 1, false},
		{"two visits made", restoring(t, false, 2024, 2026), practice.Restoration, 2026 + after(2) - 2027, 2, false},
		{"all visits made", restoring(t, false, 2018, 2021, 2023, 2026), practice.Restoration, 2026 + cycle - 2027, 0, true},
		{"all visits made, a cycle ago", restoring(t, false, 2010, 2013, 2015, 2018), practice.Restoration, 0, 0, false},
		{"found restored", restoring(t, true, 2021, 2024, 2026), practice.Cleaning, 2026 + cycle - 2027, 0, false},
	} {
		earliest, done := m.earliest(c.tree)
		p := c.tree.Progress(today)
		if c.tree.Spec.Work != c.work || earliest != c.earliest || done != c.done || p.Ended != c.ended {
			t.Errorf("%s: %s from year %d with %d visits done (%s), expected %s, %d, %d, ended %v", c.name, c.tree.Spec.Work, earliest, done, p.Words, c.work, c.earliest, c.done, c.ended)
		}
	}
}

// A look that kept the tree is followed by work, once it was checked.
func TestAfterASecondOpinion(t *testing.T) {
	tree := restoring(t, false)
	tree.Visits = []inventory.Visit{{On: today.AddDate(-1, 0, 0), WholeTree: inventory.Imminent}}
	if err := basis.specify(tree, inventory.KeptSpecification{}, nil); err != nil {
		t.Fatal(err)
	}
	if tree.Spec.Work != practice.SecondOpinion {
		t.Fatalf("%s, expected a second opinion: %+v", tree.Spec.Work, tree.Spec.Rules)
	}
	body, err := json.Marshal(tree.Spec)
	if err != nil {
		t.Fatal(err)
	}
	for state, want := range map[inventory.JobState]practice.Work{inventory.Done: practice.SecondOpinion, inventory.Checked: practice.Restoration} {
		again := &WorkTree{Facts: tree.Facts, Regrowth: tree.Regrowth}
		job := inventory.Job{Work: string(practice.SecondOpinion), Visit: 1, State: state, Completion: &inventory.Completion{On: today.AddDate(0, -1, 0)}, Specification: body}
		if err := basis.specify(again, inventory.KeptSpecification{}, []inventory.Job{job}); err != nil {
			t.Fatal(err)
		}
		if again.Spec.Work != want {
			t.Errorf("after a second opinion that is %s: %s, expected %s", state, again.Spec.Work, want)
		}
	}
}

func TestRoundOf(t *testing.T) {
	job := func(work practice.Work, visit, year int) inventory.Job {
		return inventory.Job{Work: string(work), Visit: visit, State: inventory.Done, Completion: &inventory.Completion{On: time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)}, Specification: []byte(`{}`)}
	}
	r, err := roundOf([]inventory.Job{
		job(practice.Restoration, 2, 2020), job(practice.Restoration, 1, 2010), job(practice.Cleaning, 1, 2012), job(practice.Restoration, 1, 2018),
		{Work: "restoration", Visit: 3, State: inventory.InHand, Specification: []byte(`{}`)},
	})
	if err != nil || len(r.Jobs) != 2 || r.Jobs[0].Visit != 1 || r.Last().Year() != 2020 {
		t.Errorf("round: %+v (%v)", r.Jobs, err)
	}
	if r, err := roundOf(nil); err != nil || len(r.Jobs) != 0 || r.Underway() {
		t.Errorf("no jobs: %+v (%v)", r, err)
	}
}
