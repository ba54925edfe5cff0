package question

import (
	"context"
	"fmt"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/risk"
)

// Explanation is one tree's sum, opened: every part, every overlap.
type Explanation struct {
	Facts      ranking.Facts
	Assessment *ranking.Assessment
	// Overlaps lists each target under each part, in the order of the parts.
	Overlaps []exposure.Overlap
	Targets  map[inventory.TargetID]inventory.Target
	Profile  *profile.Profile
	Screener *risk.Screener
	Meter    *exposure.Meter
	// Points opens the rating of each part, where the profile rates by points.
	Points []risk.PointRatings
	Sizer  *ranking.Sizer
	// Work lists the jobs on the tree that were done, with the harm before, as
	// predicted and as computed again.
	Work []inventory.Job
}

// Paragraph says in plain words why the tree stands where it does.
func (e *Explanation) Paragraph() string {
	return ranking.Paragraph(&ranking.Case{Facts: &e.Facts, Assessment: e.Assessment, Screener: e.Screener, Sizer: e.Sizer, Meter: e.Meter, Overlaps: e.Overlaps, Targets: e.Targets})
}

// Explain works out one tree from the inventory as it stands.
func Explain(ctx context.Context, store TreeStore, site inventory.Site, tag string, p *profile.Profile, asOf time.Time) (*Explanation, error) {
	found, err := store.FindTreeFacts(ctx, site, tag)
	if err != nil {
		return nil, err
	}
	switch {
	case len(found) == 0:
		return nil, inventory.Errorf(inventory.NotFound, "no tree of site %q has the tag or source id %q", site.Name, tag)
	case len(found) > 1:
		return nil, inventory.Errorf(inventory.Invalid, "%d trees of site %q carry the tag %q: name one by its source id or its number, such as #%d or #%d", len(found), site.Name, tag, found[0].Tree.ID, found[1].Tree.ID)
	}
	return explain(ctx, store, site, found[0], p, asOf)
}

func explain(ctx context.Context, store TreeStore, site inventory.Site, f ranking.Facts, p *profile.Profile, asOf time.Time) (*Explanation, error) {
	sizer := ranking.NewSizer(p, asOf)
	_, zones := sizer.Zones(nil, &f)
	targets, err := store.FindTargetsIn(ctx, site.Client, ranking.ZoneBoxes(site.ID, f.Tree.Point, zones))
	if err != nil {
		return nil, err
	}
	stripe := ranking.NewStripe(p, asOf)
	e := &Explanation{Facts: f, Targets: make(map[inventory.TargetID]inventory.Target, len(targets)), Profile: p, Sizer: sizer}
	for _, t := range targets {
		if err := stripe.Add(t); err != nil {
			return nil, err
		}
		e.Targets[t.ID] = t
	}
	stripe.Build()
	assessor := stripe.NewAssessor()
	e.Overlaps = assessor.Meter().Overlaps(f.Tree.Point, zones)
	e.Assessment = assessor.Assess(&f)
	e.Screener, e.Meter = assessor.Screener(), assessor.Meter()
	e.Work, err = store.FindJobs(ctx, inventory.JobQuery{Client: site.Client, Tree: f.Tree.ID, States: workDone})
	if err != nil {
		return nil, err
	}
	for i := range e.Assessment.Parts {
		if p.Rating.Method == profile.Points {
			e.Points = append(e.Points, assessor.Points(&e.Assessment.Parts[i], &e.Facts))
		}
	}
	return e, nil
}

// workDone are the states of a job whose work was done.
var workDone = []inventory.JobState{inventory.Done, inventory.Checked}

// WorkOn returns the latest work done on each of some trees.
func WorkOn(ctx context.Context, store WorkDoneStore, client inventory.ClientID, trees []int64) (map[inventory.TreeID]inventory.Job, error) {
	list, err := store.FindJobs(ctx, inventory.JobQuery{Client: client, Trees: trees, States: workDone})
	if err != nil {
		return nil, err
	}
	out := make(map[inventory.TreeID]inventory.Job)
	for _, j := range list {
		if last, ok := out[j.Tree]; j.Completion != nil && (!ok || !j.Completion.On.Before(last.Completion.On)) {
			out[j.Tree] = j
		}
	}
	return out, nil
}

// WorkText says what a job's work took off its tree's harm.
func WorkText(j *inventory.Job) string {
	text := fmt.Sprintf("%s of %s (job %d, %s): harm index %s before, %s predicted", j.Work, j.Completion.On.Format(time.DateOnly), j.ID, j.State, ranking.Figure(j.HarmBefore*1000), ranking.Figure(j.HarmPredicted*1000))
	if j.HarmAfter.OK {
		text += fmt.Sprintf(", %s computed after it", ranking.Figure(j.HarmAfter.V*1000))
	}
	return text
}
