package question

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/season"
)

// NewVisit is a job to be made by hand: a visit of the tree's specification in a
// year.
type NewVisit struct {
	Tag         string
	Visit, Year int
	Urgent      bool // a hazard that cannot wait for windows
	By          string
}

// AddJob makes one job by hand. A visit that is planned already, or done, is made
// no second time.
func AddJob(ctx context.Context, store JobStore, b *Basis, v NewVisit) (*inventory.NewJob, error) {
	tag, visit, year := v.Tag, v.Visit, v.Year
	t, err := OneWorkTree(ctx, store, b, tag)
	if err != nil {
		return nil, err
	}
	if visit < 1 || visit > len(t.Spec.Visits) {
		return nil, inventory.Errorf(inventory.Invalid, "visit %d: the specification of tree %s has %d", visit, tag, len(t.Spec.Visits))
	}
	if year < b.AsOf.Year() || year > b.AsOf.Year()+20 {
		return nil, inventory.Errorf(inventory.Invalid, "year %d: expected %d to %d", year, b.AsOf.Year(), b.AsOf.Year()+20)
	}
	if err := planned(ctx, store, b, t, visit); err != nil {
		return nil, err
	}
	m := &jobMaker{Basis: b, from: b.AsOf, calendars: make(map[int]*season.Calendar), urgent: v.Urgent}
	j := m.job(t, visit, year)
	cost := b.CostOf(t)
	j.Hours, j.Cost, j.HarmBefore = cost.Hours, cost.Cost, t.Result.Harm
	j.HarmPredicted = t.Result.Harm * (1 - b.Practice.Effect.TakesOff[t.Spec.Work].Value)
	if t.Kept != 0 {
		j.SpecificationID = t.Kept
	} else if j.Body, err = json.Marshal(&t.Spec); err != nil {
		return nil, err
	}
	return &j, store.AddJob(ctx, b.Site, &j, b.Practice, v.By)
}

// planned reports a visit that a job is there for.
func planned(ctx context.Context, store JobStore, b *Basis, t *WorkTree, visit int) error {
	list, err := store.FindJobs(ctx, inventory.JobQuery{Client: b.Site.Client, Tree: t.Tree.ID, States: []inventory.JobState{inventory.Proposed, inventory.Approved, inventory.InHand}})
	if err != nil {
		return err
	}
	for i := range list {
		if list[i].Visit == visit && list[i].Work == string(t.Spec.Work) {
			return inventory.Errorf(inventory.Conflict, "tree %s: job %d is there for visit %d, %s", t.Label(), list[i].ID, visit, list[i].State)
		}
	}
	if t.Round.Underway() && visit <= t.Round.Next() {
		return inventory.Errorf(inventory.Conflict, "tree %s: visit %d is done; visit %d comes next", t.Label(), visit, t.Round.Next()+1)
	}
	return nil
}

// Move takes a job to another state that needs no more than who and why: see
// Complete and Check for the others.
func Move(ctx context.Context, store JobStore, client inventory.ClientID, id inventory.JobID, to inventory.JobState, by, reason string, version inventory.Opt[int]) (*inventory.Job, error) {
	if to == inventory.Done || to == inventory.Checked {
		return nil, inventory.Errorf(inventory.Invalid, "job %d: %s is recorded with what was cut, or seen", id, to)
	}
	return store.ChangeJob(ctx, client, id, by, version, func(j *inventory.Job) (*inventory.JobChange, error) {
		if err := j.Step(to, by, reason); err != nil {
			return nil, err
		}
		return &inventory.JobChange{Reason: reason}, nil
	})
}

// MarkUrgent says that a job is about a hazard that cannot wait, and why: windows
// then allow it under their conditions, and what those ask for becomes a gate.
func MarkUrgent(ctx context.Context, store JobStore, b *Basis, id inventory.JobID, by, reason string, version inventory.Opt[int]) (*inventory.Job, error) {
	if strings.TrimSpace(by) == "" || strings.TrimSpace(reason) == "" {
		return nil, inventory.Errorf(inventory.Invalid, "job %d: by and reason must be given: say who finds that it cannot wait, and why", id)
	}
	list, err := store.FindJobs(ctx, inventory.JobQuery{Client: b.Site.Client, IDs: []int64{int64(id)}})
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, inventory.Errorf(inventory.NotFound, "there is no job %d", id)
	}
	t, err := OneWorkTree(ctx, store, b, fmt.Sprintf("#%d", list[0].Tree))
	if err != nil {
		return nil, err
	}
	m := &jobMaker{Basis: b, from: b.AsOf, calendars: make(map[int]*season.Calendar), urgent: true}
	return store.ChangeJob(ctx, b.Site.Client, id, by, version, func(j *inventory.Job) (*inventory.JobChange, error) {
		if j.State != inventory.Proposed && j.State != inventory.Approved {
			return nil, inventory.Errorf(inventory.Conflict, "job %d is %s: only work that is not begun is made urgent", id, j.State)
		}
		now := m.job(t, min(j.Visit, len(t.Spec.Visits)), j.Year)
		j.Urgent, j.Open = true, now.Open
		for _, g := range now.Gates {
			if !slices.ContainsFunc(j.Gates, func(o inventory.Gate) bool { return o.Name == g.Name }) {
				j.Gates = append(j.Gates, g)
			}
		}
		return &inventory.JobChange{Reason: "urgent: " + reason}, nil
	})
}

// Settling is how a gate was settled, or that it is open again.
type Settling struct {
	Gate          string
	Cleared       bool
	By, Reference string
	On, Today     time.Time
}

// ClearGate settles one gate of a job, or opens it again. What proves it, such as
// the permit's number or that none is needed, must be said.
func ClearGate(ctx context.Context, store JobStore, client inventory.ClientID, id inventory.JobID, w Settling, version inventory.Opt[int]) (*inventory.Job, error) {
	name, cleared, by, reference, on := w.Gate, w.Cleared, w.By, w.Reference, w.On
	if strings.TrimSpace(by) == "" {
		return nil, inventory.Errorf(inventory.Invalid, "job %d: by is empty: say who settled %s", id, name)
	}
	if cleared && on.After(w.Today.AddDate(0, 0, 1)) {
		return nil, inventory.Errorf(inventory.Invalid, "job %d: on: %s is in the future: a gate is settled once it is", id, on.Format(time.DateOnly))
	}
	return store.ChangeJob(ctx, client, id, by, version, func(j *inventory.Job) (*inventory.JobChange, error) {
		at := slices.IndexFunc(j.Gates, func(g inventory.Gate) bool { return strings.EqualFold(g.Name, name) })
		if at < 0 {
			names := make([]string, len(j.Gates))
			for i, g := range j.Gates {
				names[i] = g.Name
			}
			return nil, inventory.Errorf(inventory.NotFound, "job %d has no gate %q: expected one of %s", id, name, strings.Join(names, ", "))
		}
		if j.State != inventory.Proposed && j.State != inventory.Approved {
			return nil, inventory.Errorf(inventory.Conflict, "job %d is %s: its gates were settled before", id, j.State)
		}
		if cleared && strings.TrimSpace(reference) == "" {
			return nil, inventory.Errorf(inventory.Invalid, "job %d: reference is empty: give the number that settles %s, or say in words why none is needed", id, name)
		}
		g := &j.Gates[at]
		g.Cleared, g.By, g.On, g.Reference = cleared, "", inventory.Opt[time.Time]{}, ""
		what := g.Name + " open again"
		if cleared {
			g.By, g.On, g.Reference = by, inventory.Some(on), reference
			what = strings.TrimSpace(g.Name + " cleared " + reference)
		}
		return &inventory.JobChange{Reason: what}, nil
	})
}
