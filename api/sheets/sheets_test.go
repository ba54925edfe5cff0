package sheets

import (
	"context"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/underbough/underbough/api/paper"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/question"
)

// jobStore holds jobs and their steps, and nothing else.
type jobStore struct {
	Store
	jobs   []inventory.Job
	events []inventory.JobEvent
}

func (s *jobStore) FindJobs(_ context.Context, q inventory.JobQuery) ([]inventory.Job, error) {
	if len(q.States) > 0 {
		return nil, fmt.Errorf("jobs of all states are asked for, not of %v", q.States)
	}
	return s.jobs, nil
}

func (s *jobStore) JobEvents(_ context.Context, _ inventory.ClientID, ids []int64) ([]inventory.JobEvent, error) {
	if len(ids) != len(s.jobs) {
		return nil, fmt.Errorf("steps of %d jobs", len(ids))
	}
	return s.events, nil
}

// Each step back, each round with defects, each tree taken down and each rule that
// was decided against is there once, with who and when.
func TestDecisionsAreGathered(t *testing.T) {
	on := func(day int) time.Time { return time.Date(2027, 2, day, 0, 0, 0, 0, time.UTC) }
	override := pruning.Override{Rule: "dose", Breach: "0.12 over 0.10", Reason: "storm", By: "B. Owner", At: on(1)}
	spec, err := json.Marshal(pruning.Specification{Overrides: []pruning.Override{override}})
	if err != nil {
		t.Fatal(err)
	}
	store := &jobStore{
		jobs: []inventory.Job{
			{ID: 1, Tree: 1, Tag: "T-1", Work: "reduction", Year: 2027, Package: "Elm Street", State: inventory.Withdrawn, Specification: spec},
			{ID: 2, Tree: 2, Tag: "T-2", Work: "cleaning", Year: 2027, State: inventory.Done, Completion: &inventory.Completion{On: on(9), By: "F. Crew", Removed: true, Note: "hollow",
				Earlier: []inventory.Completion{{On: on(5), By: "E. Crew", Defects: []inventory.Defect{{What: "stub of 12 cm"}, {What: "heading cut"}}}}}},
			{ID: 3, Tree: 3, Tag: "T-3", State: inventory.Checked, Completion: &inventory.Completion{On: on(9), By: "F. Crew"}},
		},
		events: []inventory.JobEvent{
			{Job: 1, At: on(1), By: "planner", To: inventory.Proposed},
			{Job: 1, At: on(2), By: "D. Owner", From: inventory.Proposed, To: inventory.Withdrawn, Reason: "no money before July"},
			{Job: 2, At: on(5), By: "E. Crew", From: inventory.InHand, To: inventory.Done},
			{Job: 2, At: on(6), By: "C. Checker", From: inventory.Done, To: inventory.InHand, Reason: "stub left"},
			{Job: 2, At: on(9), By: "F. Crew", From: inventory.InHand, To: inventory.Done},
		},
	}
	tree := question.WorkTree{}
	tree.Tree = inventory.Tree{ID: 1, Tag: "T-1", Species: "Tilia cordata"}
	tree.Spec.Overrides = []pruning.Override{override}
	d, err := decisions(t.Context(), store, []question.WorkTree{tree}, &question.Basis{})
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		got  []paper.Decision
		want string
	}{
		"put off":   {d.PutOff, "T-1 Tilia cordata|reduction 2027 Elm Street|D. Owner 2|no money before July|;"},
		"sent back": {d.SentBack, "T-2 |cleaning 2027 |C. Checker 6|stub left|from done to in hand;"},
		"defects":   {d.Defects, "T-2 |cleaning 2027 |E. Crew 5||round 1 of 2: stub of 12 cm; heading cut;"},
		"felled":    {d.Felled, "T-2 |cleaning 2027 |F. Crew 9|hollow|taken down;"},
	} {
		text := ""
		for _, x := range c.got {
			text += fmt.Sprintf("%s %s|%s %d %s|%s %d|%s|%s;", x.Tag, x.Species, x.Work, x.Year, x.Package, x.By, x.On.Day(), x.Reason, x.What)
		}
		if text != c.want {
			t.Errorf("%s: %s", name, text)
		}
	}
	if len(d.Against) != 1 || d.Against[0].Tag != "T-1" || d.Against[0].By != "B. Owner" {
		t.Errorf("rules decided against: %+v", d.Against)
	}
}

// Dated looks come first as they are due; what was never seen follows by harm.
func TestNeverSeenByHarm(t *testing.T) {
	ranked := make([]paper.ReportTree, 3)
	for i, id := range []inventory.TreeID{30, 10, 20} {
		ranked[i].ID = id
	}
	due := []inventory.DueVisit{{Tree: 10, Never: true}, {Tree: 5}, {Tree: 20, Never: true}, {Tree: 4}, {Tree: 30, Never: true}}
	var got []inventory.TreeID
	for _, d := range byHarm(due, ranked) {
		got = append(got, d.Tree)
	}
	if fmt.Sprint(got) != "[5 4 30 10 20]" {
		t.Errorf("the order is %v", got)
	}
}
