package postgres_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
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

// What breaks off leaves nothing behind.
func TestCompletionIsWholeOrNothing(t *testing.T) {
	w := proposed(t)
	ctx := t.Context()
	j := w.first(practice.Restoration)
	w.inHand(j.ID)
	cuts := len(rowsOf(t, w.db, `SELECT cut_id::text FROM cuts`))
	for _, c := range []struct {
		with func(*inventory.Completion)
		says string
	}{
		{func(c *inventory.Completion) { c.By = "" }, "by"},
		{func(c *inventory.Completion) { c.On = day.AddDate(0, 1, 0) }, "future"},
		{func(c *inventory.Completion) { c.Dose = inventory.Some(1.2) }, "dose"},
		{func(c *inventory.Completion) { c.Cuts[0].Kind = "chop" }, "cuts[0].kind"},
		{func(c *inventory.Completion) { c.Cuts[0].Diameter = inventory.Some(-1.0) }, "cuts[0].diameter_cm"},
		{func(c *inventory.Completion) { c.Cuts[0].Diameter = inventory.Some(math.NaN()) }, "cuts[0].diameter_cm"},
		{func(c *inventory.Completion) { c.Cuts[0].Bearing = inventory.Some(400.0) }, "cuts[0].bearing_deg"},
		{func(c *inventory.Completion) { c.Cuts[0].Gone = true }, "on_cut"},
		{func(c *inventory.Completion) { c.Cuts[0].OnCut, c.Cuts[0].Gone = 999999, true }, "carries no cut"},
		{func(c *inventory.Completion) { c.Deviations = []inventory.Deviation{{What: "wind"}} }, "deviations[0]"},
	} {
		done := inventory.Completion{On: day, By: "crew A", Cuts: []inventory.MadeCut{{Kind: inventory.CutRemoval, Diameter: inventory.Some(0.05)}}}
		c.with(&done)
		if _, err := question.Complete(ctx, w.db, w.basis, j.ID, done, inventory.Opt[int]{}); inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", c.says, err)
		}
	}
	if now := w.find(inventory.JobQuery{IDs: []int64{int64(j.ID)}})[0]; now.State != inventory.InHand || now.Completion != nil || len(rowsOf(t, w.db, `SELECT cut_id::text FROM cuts`)) != cuts {
		t.Errorf("something was half-written: %s, %+v", now.State, now.Completion)
	}
}

// A specification as a person wants it is kept, with the rule that it goes
// against and why, and its jobs are of it.
func TestSpecificationByAPerson(t *testing.T) {
	w := proposed(t)
	ctx := t.Context()
	j := w.first(practice.Restoration)
	tag := j.Tag
	change := pruning.Change{By: "arborist", At: day, Visits: []pruning.VisitChange{{Number: 1, Dose: inventory.Some(0.3)}}}
	if _, err := question.ChangeSpecification(ctx, w.db, w.basis, tag, change); inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), string(pruning.DoseCap)) {
		t.Errorf("a dose over the cap without a reason: %v", err)
	}
	change.Reason = "the limb is split"
	s, err := question.ChangeSpecification(ctx, w.db, w.basis, tag, change)
	if err != nil {
		t.Fatal(err)
	}
	if s.Kept == 0 || len(s.Spec.Overrides) == 0 || s.Spec.Overrides[0].Reason != "the limb is split" || s.Spec.Visits[0].Dose != 0.3 {
		t.Errorf("kept: %+v", s.Spec.Overrides)
	}
	if now := w.find(inventory.JobQuery{IDs: []int64{int64(j.ID)}})[0]; now.SpecificationID != s.Kept {
		t.Errorf("the job is of specification %d, expected %d", now.SpecificationID, s.Kept)
	}
	if len(s.History) < 2 || !s.History[0].ByPerson || s.History[0].MadeBy != "arborist" {
		t.Errorf("history: %+v", s.History)
	}
}

func TestPhotos(t *testing.T) {
	w := proposed(t)
	ctx := t.Context()
	p := inventory.Photo{Job: w.jobs[0].ID, Name: "before.png", MediaType: "image/png", Bytes: []byte("\x89PNG picture"), By: "crew A"}
	if err := w.db.AddPhoto(ctx, 1, &p); err != nil {
		t.Fatal(err)
	}
	again := p
	if err := w.db.AddPhoto(ctx, 1, &again); err != nil || again.ID != p.ID {
		t.Errorf("the same picture is kept as %d and %d (%v)", p.ID, again.ID, err)
	}
	list, err := w.db.FindPhotos(ctx, 1, []int64{int64(w.jobs[0].ID)})
	if err != nil || len(list) != 1 || list[0].SHA256 != p.SHA256 || list[0].Bytes != nil || list[0].Size != 12 {
		t.Errorf("photos: %+v (%v)", list, err)
	}
	got, err := w.db.GetPhoto(ctx, 1, w.jobs[0].ID, p.ID)
	if err != nil || string(got.Bytes) != "\x89PNG picture" {
		t.Errorf("photo: %+v (%v)", got, err)
	}
	if err := w.db.AddPhoto(ctx, 1, &inventory.Photo{Job: 999999, MediaType: "image/png", Bytes: []byte("x")}); inventory.KindOf(err) != inventory.NotFound {
		t.Errorf("of a job that is not there: %v", err)
	}
}

// Jobs are features like all else: what is served is what is kept, each property
// filters as it is served, and the past is read too.
func TestJobsAreFeatures(t *testing.T) {
	w := proposed(t)
	c := collection(t, "jobs")
	at := func(name string) int {
		for i := range c.Properties {
			if c.Properties[i].Name == name {
				return i
			}
		}
		t.Fatalf("jobs have no property %s", name)
		return 0
	}
	all := served(t, w.db, inventory.FeatureQuery{Collection: c})
	if len(all) != len(w.jobs) {
		t.Fatalf("%d features of %d jobs", len(all), len(w.jobs))
	}
	kept := make(map[int64]*inventory.Job)
	for i := range w.jobs {
		kept[int64(w.jobs[i].ID)] = &w.jobs[i]
	}
	for i := range all {
		f, j := &all[i], kept[all[i].ID]
		if string(f.Values[at("work")].Bytes) != j.Work || f.Values[at("year")].Int != int64(j.Year) || f.Values[at("gates_open")].Int != int64(j.OpenGates()) ||
			math.Abs(f.Values[at("harm_index_before")].Float-j.HarmBefore*1000) > 1e-6 || !f.Values[at("harm_index_after")].Null || string(f.Values[at("tag")].Bytes) != j.Tag {
			t.Errorf("job %d: %+v of %+v", f.ID, f.Values, j)
		}
	}
	first := kept[all[0].ID]
	for name, text := range map[string]string{
		"work": "work = '" + first.Work + "'", "year": fmt.Sprintf("year = %d", first.Year), "gates_open": fmt.Sprintf("gates_open = %d", first.OpenGates()),
		"harm_index_before": fmt.Sprintf("harm_index_before = %.6f", first.HarmBefore*1000), "package": "package = '" + first.Package + "'", "hours": fmt.Sprintf("hours = %.2f", first.Hours),
		"done_on": "done_on IS NULL", "state": "state = 'proposed'", "must": fmt.Sprintf("must = %v", first.Must),
	} {
		e, err := filter.ParseText(text)
		if err != nil {
			t.Fatal(err)
		}
		found := served(t, w.db, inventory.FeatureQuery{Collection: c, Filter: e})
		want := 0
		for i := range all {
			if reflect.DeepEqual(all[i].Values[at(name)], all[0].Values[at(name)]) {
				want++
			}
		}
		if len(found) != want {
			t.Errorf("%s: %d found, expected %d", text, len(found), want)
		}
	}
}

// What cannot be: work before the job, in a closed window without a reason, on a
// tree that is gone, or planned twice.
func TestWorkThatCannotBe(t *testing.T) {
	w := proposed(t)
	ctx := t.Context()
	j := w.first(practice.Restoration)
	if _, err := question.AddJob(ctx, w.db, w.basis, question.NewVisit{Tag: j.Tag, Visit: 1, Year: day.Year(), By: "owner"}); inventory.KindOf(err) != inventory.Conflict {
		t.Errorf("planned twice: %v", err)
	}
	none := inventory.Opt[int]{}
	for _, s := range []question.Settling{{Gate: "permit", Cleared: true, By: "office", On: day, Today: day}, {Gate: "permit", Cleared: true, By: "office", Reference: "P", On: day.AddDate(1, 0, 0), Today: day}} {
		if _, err := question.ClearGate(ctx, w.db, 1, j.ID, s, none); inventory.KindOf(err) != inventory.Invalid {
			t.Errorf("%+v: %v", s, err)
		}
	}
	w.inHand(j.ID)
	done := inventory.Completion{On: day.AddDate(-1, 0, 0), By: "crew A", Cuts: []inventory.MadeCut{{Kind: inventory.CutRemoval, Diameter: inventory.Some(0.05)}}, Dose: inventory.Some(0.01)}
	if _, err := question.Complete(ctx, w.db, w.basis, j.ID, done, none); inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), "before the job was made") {
		t.Errorf("done before it was made: %v", err)
	}
	// The 1st of June lies in the nesting window of the built-in practice.
	done.On = day
	got, err := question.Complete(ctx, w.db, w.basis, j.ID, done, none)
	if err != nil {
		t.Fatal(err)
	}
	closed := false
	for _, d := range got.Defects {
		closed = closed || d.Rule == "closed window" && strings.Contains(d.What, "nesting")
	}
	if !closed {
		t.Errorf("work in a closed window has the defects %+v", got.Defects)
	}
	// What else is planned on a tree that is taken down is withdrawn.
	var other *inventory.Job
	for i := range w.jobs {
		if o := &w.jobs[i]; o.Tree != j.Tree && o.Visit == 1 {
			other = o
			break
		}
	}
	w.inHand(other.ID)
	if _, err := question.Complete(ctx, w.db, w.basis, other.ID, inventory.Completion{On: day, By: "crew A", Removed: true, Deviations: []inventory.Deviation{{What: "felled, in a closed window", Reason: "it split"}}}, none); err != nil {
		t.Fatal(err)
	}
	for _, o := range w.find(inventory.JobQuery{Tree: other.Tree}) {
		if o.ID != other.ID && o.State != inventory.Withdrawn {
			t.Errorf("job %d of a tree that was taken down is %s", o.ID, o.State)
		}
	}
	if _, err := w.db.Pool().Exec(ctx, `DELETE FROM trees WHERE tree_id = $1`, w.jobs[len(w.jobs)-1].Tree); err != nil {
		t.Fatal(err)
	}
	last := w.jobs[len(w.jobs)-1]
	if _, err := question.Move(ctx, w.db, 1, last.ID, inventory.Approved, "owner", "", none); inventory.KindOf(err) != inventory.Conflict {
		t.Errorf("agreed to work on a tree that is gone: %v", err)
	}
}

// An urgent job is allowed in windows, under what they ask for.
func TestUrgentJob(t *testing.T) {
	w := proposed(t)
	ctx := t.Context()
	j := w.first(practice.Restoration)
	none := inventory.Opt[int]{}
	if _, err := question.MarkUrgent(ctx, w.db, w.basis, j.ID, "arborist", " ", none); inventory.KindOf(err) != inventory.Invalid {
		t.Errorf("urgent without a reason: %v", err)
	}
	now, err := question.MarkUrgent(ctx, w.db, w.basis, j.ID, "arborist", "split limb over the walk", none)
	if err != nil {
		t.Fatal(err)
	}
	survey := false
	for _, g := range now.Gates {
		survey = survey || g.Name == "nest survey"
	}
	if !now.Urgent || !survey || now.Open == j.Open {
		t.Errorf("urgent: %v, gates %+v, days %q", now.Urgent, now.Gates, now.Open)
	}
}
