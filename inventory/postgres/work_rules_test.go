package postgres_test

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/question"
)

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
