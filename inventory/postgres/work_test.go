package postgres_test

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// working is a town with a programme whose jobs are proposed.
type working struct {
	t      *testing.T
	db     *postgres.DB
	basis  *question.Basis
	record programme.Record
	jobs   []inventory.Job
}

func (w *working) find(q inventory.JobQuery) []inventory.Job {
	w.t.Helper()
	q.Client = 1
	list, err := w.db.FindJobs(w.t.Context(), q)
	if err != nil {
		w.t.Fatal(err)
	}
	return list
}

// first is the first job of a kind of work.
func (w *working) first(work practice.Work) *inventory.Job {
	w.t.Helper()
	for i := range w.jobs {
		if w.jobs[i].Work == string(work) && w.jobs[i].Visit == 1 {
			return &w.jobs[i]
		}
	}
	w.t.Fatalf("none of %d jobs is %s", len(w.jobs), work)
	return nil
}

// inHand takes a job as far as the crew.
func (w *working) inHand(id inventory.JobID) {
	w.t.Helper()
	ctx := w.t.Context()
	if _, err := question.Move(ctx, w.db, 1, id, inventory.Approved, "owner", "", inventory.Opt[int]{}); err != nil {
		w.t.Fatal(err)
	}
	j := w.find(inventory.JobQuery{IDs: []int64{int64(id)}})[0]
	for _, g := range j.Gates {
		if _, err := question.ClearGate(ctx, w.db, 1, id, question.Settling{Gate: g.Name, Cleared: true, By: "office", Reference: "P-1", On: day, Today: day}, inventory.Opt[int]{}); err != nil {
			w.t.Fatal(err)
		}
	}
	if _, err := question.Move(ctx, w.db, 1, id, inventory.InHand, "crew A", "", inventory.Opt[int]{}); err != nil {
		w.t.Fatal(err)
	}
}

func proposed(t *testing.T) *working {
	t.Helper()
	ctx, db := t.Context(), open(t)
	site := town(t, db, 120)
	w := &working{t: t, db: db, basis: &question.Basis{Site: site, Profile: profile.Default(), Practice: practice.Default(), AsOf: day}}
	made, err := question.MakeProgramme(ctx, db, w.basis, "plan", "planner", programme.Question{From: day.AddDate(0, 0, 1).Format(time.DateOnly), Years: 4, Measure: programme.Hours, Budget: []float64{60}})
	if err != nil {
		t.Fatal(err)
	}
	w.record = made.Record
	p, err := question.Propose(ctx, db, w.basis, made.Record.ID, "planner")
	if err != nil {
		t.Fatal(err)
	}
	w.jobs = w.find(inventory.JobQuery{Programme: made.Record.ID})
	if p.Jobs == 0 || len(w.jobs) != p.Jobs {
		t.Fatalf("%d jobs proposed, %d found", p.Jobs, len(w.jobs))
	}
	return w
}

// What is kept of a programme is what was worked out, and its jobs are its visits.
func TestProgrammeAndItsJobs(t *testing.T) {
	w := proposed(t)
	ctx := t.Context()
	record, items, err := w.db.GetProgramme(ctx, 1, w.record.ID)
	if err != nil {
		t.Fatal(err)
	}
	if !record.ProposedAt.OK || record.MadeBy != "planner" || record.Result.Gap < 0 || record.Result.Bound < record.Result.TakenOff-1e-9 || len(record.Result.Years) != 4 {
		t.Errorf("kept: %+v", record)
	}
	visits, planned := 0, 0
	for _, item := range items {
		if item.First == 0 {
			continue
		}
		planned++
		for _, v := range item.Visits {
			if v.Year < record.Result.FirstYear+4 {
				visits++
			}
		}
	}
	if visits != len(w.jobs) || planned != record.Result.Planned {
		t.Errorf("%d visits of %d items in the programme's years, %d jobs, %d planned", visits, planned, len(w.jobs), record.Result.Planned)
	}
	hours := make(map[int]float64)
	for i := range w.jobs {
		j := &w.jobs[i]
		hours[j.Year] += j.Hours
		var s pruning.Specification
		if err := json.Unmarshal(j.Specification, &s); err != nil || s.Tree != j.Tree || string(s.Work) != j.Work || len(s.Visits) < j.Visit {
			t.Errorf("job %d: specification of tree %d, %s (%v)", j.ID, s.Tree, s.Work, err)
		}
		if j.State != inventory.Proposed || len(j.Gates) == 0 && j.Work != string(practice.SecondOpinion) || j.HarmPredicted > j.HarmBefore {
			t.Errorf("job %d: %s, %d gates, harm %v to %v", j.ID, j.State, len(j.Gates), j.HarmBefore, j.HarmPredicted)
		}
	}
	for i, y := range record.Result.Years {
		if y.Used > 60+1e-9 || hours[record.Result.FirstYear+i] > y.Hours+1e-9 {
			t.Errorf("year %d: %.2f hours of jobs, %.2f planned, %.2f used of 60", i, hours[record.Result.FirstYear+i], y.Hours, y.Used)
		}
	}
	// Its jobs are made once, and give way to those of the next one.
	if _, err := question.Propose(ctx, w.db, w.basis, w.record.ID, "planner"); inventory.KindOf(err) != inventory.Conflict {
		t.Errorf("proposed twice: %v", err)
	}
	if _, err := question.Move(ctx, w.db, 1, w.jobs[0].ID, inventory.Approved, "owner", "", inventory.Opt[int]{}); err != nil {
		t.Fatal(err)
	}
	again, err := question.MakeProgramme(ctx, w.db, w.basis, "again", "planner", record.Question)
	if err != nil {
		t.Fatal(err)
	}
	if again.Record.Result.InWork != 1 {
		t.Errorf("%d trees in work are planned around, expected 1", again.Record.Result.InWork)
	}
	p, err := question.Propose(ctx, w.db, w.basis, again.Record.ID, "planner")
	if err != nil {
		t.Fatal(err)
	}
	if p.Withdrawn != len(w.jobs)-1 {
		t.Errorf("%d jobs withdrawn, expected %d", p.Withdrawn, len(w.jobs)-1)
	}
	for _, j := range w.find(inventory.JobQuery{Programme: again.Record.ID}) {
		if j.Tree == w.jobs[0].Tree {
			t.Errorf("tree %d has a job approved and gets job %d besides", j.Tree, j.ID)
		}
	}
}

// A job goes through its states; what was cut changes the tree, its likelihood,
// its next visit and its harm, and all of it is in the history.
func TestWorkChangesTheTree(t *testing.T) {
	w := proposed(t)
	ctx := t.Context()
	j := w.first(practice.Restoration)
	facts, err := w.db.FindFacts(ctx, ranking.FactsQuery{Client: 1, Trees: []int64{int64(j.Tree)}, Limit: 1})
	if err != nil {
		t.Fatal(err)
	}
	if len(facts[0].Cuts) == 0 {
		t.Fatal("a tree to be restored carries no cut")
	}
	old := facts[0].Cuts[0]
	before := harmOf(t, w, j.Tree)

	state := func() string {
		s, err := w.db.FeatureState(ctx, 1)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	first := state()
	if _, err := question.Move(ctx, w.db, 1, j.ID, inventory.InHand, "crew A", "", inventory.Opt[int]{}); inventory.KindOf(err) != inventory.Conflict {
		t.Errorf("taken in hand though only proposed: %v", err)
	}
	w.inHand(j.ID)
	if state() == first {
		t.Error("a job changed, and the state of what is served did not")
	}
	if _, err := question.Move(ctx, w.db, 1, j.ID, inventory.Approved, "owner", "rain", inventory.Some(1)); !errors.Is(err, inventory.ErrChanged) {
		t.Errorf("changed from a version that is no longer: %v", err)
	}
	window := []inventory.Deviation{{What: "in a closed window", Reason: "storm"}}
	done := inventory.Completion{On: day, By: "crew A", Dose: inventory.Some(0.03), Deviations: window, Cuts: []inventory.MadeCut{
		{Kind: inventory.CutRemoval, Diameter: inventory.Some(0.05), OnCut: old.ID, Gone: true},
		{Kind: inventory.CutReduction, Diameter: inventory.Some(0.06), LateralDiameter: inventory.Some(0.015)}, // METHOD TV-CUT: 15 on 60 is a heading cut
		{Kind: inventory.CutRemoval, Diameter: inventory.Some(0.04), StubLength: inventory.Some(0.2)},
	}}
	got, err := question.Complete(ctx, w.db, w.basis, j.ID, done, inventory.Opt[int]{})
	if err != nil {
		t.Fatal(err)
	}
	if got.Job.State != inventory.Done || len(got.Defects) != 2 {
		t.Fatalf("%s with defects %+v", got.Job.State, got.Defects)
	}
	kinds := rowsOf(t, w.db, `SELECT kind || coalesce(' given ' || given_kind, '') FROM cuts WHERE job_id IS NOT NULL ORDER BY cut_id`)
	if strings.Join(kinds, ",") != "removal,heading given reduction,stub given removal" {
		t.Errorf("cuts recorded: %v", kinds)
	}
	// Closing it needs somebody else, and a reason for the defects.
	closing := question.Checking{By: "crew A", On: day, Accept: true}
	if _, err := question.Check(ctx, w.db, w.basis, j.ID, closing, inventory.Opt[int]{}); inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), "2 defects") {
		t.Errorf("closed with defects and no reason: %v", err)
	}
	closing.Reason = "seen"
	if _, err := question.Check(ctx, w.db, w.basis, j.ID, closing, inventory.Opt[int]{}); inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), "somebody else") {
		t.Errorf("checked by who did it: %v", err)
	}
	if _, err := question.Check(ctx, w.db, w.basis, j.ID, question.Checking{By: "inspector", On: day, Reason: "a stub was left"}, inventory.Opt[int]{}); err != nil {
		t.Fatal(err)
	}
	// What was cut stays cut. Done again the job adds to it; a stub that came off is
	// mended, and the heading cut stands.
	stub := got.Job.Completion.Cuts[2].Recorded
	again := inventory.Completion{On: day, By: "crew A", Dose: inventory.Some(0.01), Cuts: []inventory.MadeCut{{Kind: inventory.CutRemoval, Diameter: inventory.Some(0.04), OnCut: stub, Gone: true}}, Deviations: window}
	if got, err = question.Complete(ctx, w.db, w.basis, j.ID, again, inventory.Opt[int]{}); err != nil || len(got.Defects) != 0 {
		t.Fatalf("defects %+v (%v)", got.Defects, err)
	}
	c := got.Job.Completion
	if standing := c.Standing(); len(c.Earlier) != 1 || len(standing) != 1 || standing[0].Cut != 1 || math.Abs(c.TotalDose().V-0.04) > 1e-12 {
		t.Errorf("standing: %+v, dose %v, %d earlier rounds", standing, c.TotalDose(), len(c.Earlier))
	}
	if _, err := question.Check(ctx, w.db, w.basis, j.ID, question.Checking{By: "inspector", On: day, Accept: true}, inventory.Opt[int]{}); inventory.KindOf(err) != inventory.Invalid {
		t.Errorf("closed over a defect of an earlier round: %v", err)
	}
	closed, err := question.Check(ctx, w.db, w.basis, j.ID, question.Checking{By: "inspector", On: day, Accept: true, Reason: "watched", Limb: inventory.Improbable, Crown: inventory.Improbable}, inventory.Opt[int]{})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(rowsOf(t, w.db, `SELECT cut_id::text FROM cuts WHERE job_id IS NOT NULL`)); n != 4 {
		t.Errorf("%d cuts recorded of the job, expected 4", n)
	}
	if gone := rowsOf(t, w.db, `SELECT gone_on::text FROM cuts WHERE gone_job_id IS NOT NULL`); len(gone) != 2 || gone[0] != day.Format(time.DateOnly) {
		t.Errorf("the old cut's end and the stub's: %v", gone)
	}
	after := harmOf(t, w, j.Tree)
	if !closed.HarmAfter.OK || math.Abs(closed.HarmAfter.V-after) > 1e-12 || after == before {
		t.Errorf("harm %v before, %v after, kept %v", before, after, closed.HarmAfter)
	}
	// The next visit follows from the specification, and is among those due.
	var s pruning.Specification
	if err := json.Unmarshal(closed.Specification, &s); err != nil {
		t.Fatal(err)
	}
	due, err := w.db.DueVisits(ctx, w.basis.Site, day.AddDate(20, 0, 0))
	if err != nil {
		t.Fatal(err)
	}
	found := false
	for _, d := range due {
		if d.Tree == j.Tree {
			found = !d.Never
			if want := day.AddDate(s.Visits[1].AfterYears, 0, 0); !d.NextOn.Equal(want) {
				t.Errorf("next visit on %s, expected %s", d.NextOn.Format(time.DateOnly), want.Format(time.DateOnly))
			}
		}
	}
	if !found {
		t.Error("the tree is not among those due")
	}
	events, err := w.db.JobEvents(ctx, 1, []int64{int64(j.ID)})
	if err != nil {
		t.Fatal(err)
	}
	var steps []string
	for _, e := range events {
		if e.From != e.To {
			steps = append(steps, string(e.To)+" by "+e.By)
		}
	}
	if got := strings.Join(steps, "; "); got != "proposed by planner; approved by owner; in hand by crew A; done by crew A; in hand by inspector; done by crew A; checked by inspector" {
		t.Errorf("steps: %s", got)
	}
	// As of before the work everything is as it was.
	past := w.db.AsOf(ctx, events[0].At)
	if was, err := w.db.FindJobs(past, inventory.JobQuery{Client: 1, IDs: []int64{int64(j.ID)}}); err != nil || len(was) != 1 || was[0].State != inventory.Proposed {
		t.Errorf("as of before: %+v (%v)", was, err)
	}
	if facts, err := w.db.FindFacts(past, ranking.FactsQuery{Client: 1, Trees: []int64{int64(j.Tree)}, Limit: 1}); err != nil || len(facts) != 1 || facts[0].Cuts[0].ID != old.ID {
		t.Errorf("as of before, the cuts are %+v (%v)", facts, err)
	}
	if was, err := w.db.DueVisits(past, w.basis.Site, day.AddDate(20, 0, 0)); err != nil || slices.ContainsFunc(was, func(d inventory.DueVisit) bool { return d.Tree == j.Tree && !d.Never && d.NextOn.After(day) }) {
		t.Errorf("as of before, the tree is due as the work asked for (%v)", err)
	}
	// Marks and what is gathered in their place say the same.
	at, err := w.db.Instant(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if now, err := w.db.DueVisits(w.db.AsOf(ctx, at), w.basis.Site, day.AddDate(20, 0, 0)); err != nil || !reflect.DeepEqual(now, due) {
		t.Errorf("due as of now: %d trees, by the marks %d (%v)", len(now), len(due), err)
	}
	// The restoration goes on where it was left: its first visit is not planned again.
	next, err := question.Plan(ctx, w.db, w.basis, w.record.Question)
	if err != nil {
		t.Fatal(err)
	}
	for _, item := range next.Items {
		if item.Tree == j.Tree && item.Visits[0].Number != 2 {
			t.Errorf("planned again from visit %d", item.Visits[0].Number)
		}
		if item.Tree == j.Tree && item.First != 0 && item.First < day.Year()+s.Visits[1].AfterYears {
			t.Errorf("the second visit is planned in %d, the first was made in %d and %d years lie between", item.First, day.Year(), s.Visits[1].AfterYears)
		}
	}
}

func harmOf(t *testing.T, w *working, tree inventory.TreeID) float64 {
	t.Helper()
	if _, err := question.UpToDate(context.Background(), w.db, w.basis.Site, w.basis.Profile, day, false); err != nil {
		t.Fatal(err)
	}
	rows, _, err := w.db.Rank(t.Context(), ranking.Query{Client: 1, Site: w.basis.Site.ID, By: ranking.ByHarm})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows {
		if r.Tree == tree {
			return r.Harm
		}
	}
	t.Fatalf("tree %d is not ranked", tree)
	return 0
}
