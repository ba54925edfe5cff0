package question

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
)

// Checking is what somebody who looked at the work says.
type Checking struct {
	By     string
	On     time.Time
	Accept bool   // false sends the job back to the crew
	Reason string // needed where it is sent back, or accepted with defects
	// What was judged, where anything was; Unjudged leaves it as it is.
	WholeTree, Crown, Limb inventory.Likelihood
	Condition              string
	Finished               bool // the work is at its end: of a restoration, the tree was found restored
}

// Check closes a job that was done, or sends it back.
func Check(ctx context.Context, store JobStore, b *Basis, id inventory.JobID, k Checking, version inventory.Opt[int]) (*inventory.Job, error) {
	j, err := store.ChangeJob(ctx, b.Site.Client, id, k.By, version, func(j *inventory.Job) (*inventory.JobChange, error) {
		to := inventory.Checked
		if !k.Accept {
			to = inventory.InHand
		}
		if k.Accept && j.State == inventory.Done && len(j.Completion.Standing()) > 0 && strings.TrimSpace(k.Reason) == "" {
			return nil, inventory.Errorf(inventory.Invalid, "job %d has %d defects that no later round mended: send it back, or give the reason why it is accepted with them", id, len(j.Completion.Standing()))
		}
		if j.State != inventory.Done {
			return nil, inventory.Errorf(inventory.Conflict, "job %d is %s: what is checked is work that is done", id, j.State)
		}
		if err := j.Step(to, k.By, k.Reason); err != nil {
			return nil, err
		}
		change := &inventory.JobChange{Reason: k.Reason}
		if k.Accept {
			j.Completion.Finished = j.Completion.Finished || k.Finished
			on := k.On
			if on.Before(j.Completion.On) {
				return nil, inventory.Errorf(inventory.Invalid, "job %d: on: %s is before the work was done, %s", id, on.Format(time.DateOnly), j.Completion.On.Format(time.DateOnly))
			}
			var s pruning.Specification
			if err := json.Unmarshal(j.Specification, &s); err != nil {
				return nil, fmt.Errorf("specification of job %d: %w", id, err)
			}
			change.Visit = &inventory.Visit{On: on, By: k.By, Condition: k.Condition, WholeTree: k.WholeTree, Crown: k.Crown, Limb: k.Limb, Note: fmt.Sprintf("check of job %d", j.ID)}
			if !j.Completion.Removed {
				change.Visit.NextOn = inventory.Some(nextVisit(j.Completion.On, j.Visit, &s, b.Practice))
				if change.Visit.NextOn.V.Before(on) {
					change.Visit.NextOn = inventory.Some(on)
				}
			}
		}
		return change, nil
	})
	if err != nil || !k.Accept {
		return j, err
	}
	return j, assessAgain(ctx, store, b, j, k.By)
}

// assessAgain keeps what is computed of a job's tree after its work. The harm of
// a tree that is gone is none.
func assessAgain(ctx context.Context, store JobStore, b *Basis, j *inventory.Job, by string) error {
	site, err := store.GetSiteByID(ctx, b.Site.Client, j.Site)
	if err != nil {
		return err
	}
	if _, err := UpToDate(ctx, store, site, b.Profile, b.AsOf, false); err != nil {
		return err
	}
	harm := 0.0
	if !j.Completion.Removed {
		e, err := Explain(ctx, store, site, fmt.Sprintf("#%d", j.Tree), b.Profile, b.AsOf)
		if err != nil {
			return err
		}
		harm = e.Assessment.Harm
	}
	j.HarmAfter = inventory.Some(harm)
	return store.SetHarmAfter(ctx, b.Site.Client, by, map[inventory.JobID]float64{j.ID: harm})
}

// Effect is what work took off, as predicted by the client's assumption and as
// computed again afterwards.
type Effect struct {
	Jobs                     int
	Before, Predicted, After float64 // expected harm in a year, of jobs with all three
}

// EffectOf sums up jobs that are done or checked.
func EffectOf(jobs []inventory.Job) (e Effect) {
	for i := range jobs {
		j := &jobs[i]
		if (j.State != inventory.Done && j.State != inventory.Checked) || !j.HarmAfter.OK || math.IsNaN(j.HarmAfter.V) {
			continue
		}
		e.Jobs++
		e.Before += j.HarmBefore
		e.Predicted += j.HarmPredicted
		e.After += j.HarmAfter.V
	}
	return e
}

// EffectDocument is an effect for programs.
type EffectDocument struct {
	Jobs               int     `json:"jobs"`
	HarmIndexBefore    float64 `json:"harm_index_before"`
	HarmIndexPredicted float64 `json:"harm_index_predicted"`
	HarmIndexAfter     float64 `json:"harm_index_after"`
	Assumption         string  `json:"assumption"`
	Cautions           string  `json:"cautions"`
}

// Document is the effect for programs.
func (e Effect) Document() *EffectDocument {
	return &EffectDocument{e.Jobs, e.Before * 1000, e.Predicted * 1000, e.After * 1000, EffectAssumption, Cautions}
}
