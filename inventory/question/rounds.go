package question

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
)

// Round is the work on a tree that was done last: the visits of one
// specification, from its first on.
type Round struct {
	Jobs     []inventory.Job // done or checked, in the order of their days
	Spec     pruning.Specification
	Finished bool // somebody found the work at its end
}

// Last is when its latest visit was made.
func (r *Round) Last() time.Time { return r.Jobs[len(r.Jobs)-1].Completion.On }

// Underway reports whether visits are still to come.
func (r *Round) Underway() bool {
	return len(r.Jobs) > 0 && !r.Finished && r.Jobs[len(r.Jobs)-1].Visit < len(r.Spec.Visits)
}

// Next is the place of the visit to come among those of the specification.
func (r *Round) Next() int { return r.Jobs[len(r.Jobs)-1].Visit }

// roundOf picks the round that a tree's jobs end with. It has no jobs where none
// is done.
func roundOf(jobs []inventory.Job) (r Round, err error) {
	done := slices.DeleteFunc(slices.Clone(jobs), func(j inventory.Job) bool {
		return j.Completion == nil || j.State != inventory.Done && j.State != inventory.Checked
	})
	if len(done) == 0 {
		return r, nil
	}
	slices.SortStableFunc(done, func(a, b inventory.Job) int {
		if c := a.Completion.On.Compare(b.Completion.On); c != 0 {
			return c
		}
		return a.Visit - b.Visit
	})
	last := &done[len(done)-1]
	for i := len(done) - 1; i >= 0; i-- {
		if done[i].Work != last.Work || len(r.Jobs) > 0 && done[i].Visit >= r.Jobs[0].Visit {
			break
		}
		r.Jobs = slices.Insert(r.Jobs, 0, done[i])
		r.Finished = r.Finished || done[i].Completion.Finished
	}
	if err := json.Unmarshal(last.Specification, &r.Spec); err != nil {
		return r, fmt.Errorf("specification %d: %w", last.SpecificationID, err)
	}
	return r, nil
}

// visits are what was done, for the progress of the specification.
func (r *Round) visits() []pruning.Done {
	out := make([]pruning.Done, len(r.Jobs))
	for i := range r.Jobs {
		j := &r.Jobs[i]
		out[i] = pruning.Done{On: j.Completion.On, Dose: j.Completion.TotalDose(), Visit: j.Visit, Finished: j.Completion.Finished}
	}
	return out
}

// naturalCycle is how many years lie between visits to a tree that needs no more
// than its cycle.
func naturalCycle(s *pruning.Specification, c *practice.Cycle) int {
	switch {
	case s.Stressed:
		return int(c.Stressed.Value)
	case s.Maturity == pruning.Young:
		return int(c.Young.Value)
	case s.Maturity == pruning.Mature:
		return int(c.Mature.Value)
	}
	return int(c.Established.Value)
}

// specifyAfter is the specification of a tree that was worked on, and reports whether it is the
// round's own. One under way
// goes on as it was begun: the rules would see a tree half restored and begin
// anew. One whose visits are all made holds until its natural cycle is over. A
// tree that was found restored is cleaned from then on: cuts from before carry no
// work any more. After a second opinion that kept it, a tree is worked on.
func (b *Basis) specifyAfter(t *WorkTree, r *Round) (s pruning.Specification, goesOn bool) {
	c := b.caseOf(t)
	last := &r.Jobs[len(r.Jobs)-1]
	switch {
	case last.Work == string(practice.SecondOpinion):
		if last.State == inventory.Checked {
			return pruning.SpecifyKept(c, b.Practice), false
		}
		return r.Spec, true
	case r.Underway():
		return pruning.After(r.Spec, r.visits(), b.Practice), true
	case r.Finished:
		c.Cuts, c.Regrowth = nil, nil
		for i := range t.Cuts {
			if on := t.Cuts[i].On; on.OK && on.V.After(r.Last()) {
				c.Cuts, c.Regrowth = append(c.Cuts, t.Cuts[i]), append(c.Regrowth, t.Regrowth[i])
			}
		}
	case b.AsOf.Before(r.Last().AddDate(naturalCycle(&r.Spec, &b.Practice.Cycle), 0, 0)):
		return r.Spec, true
	}
	return pruning.Specify(c, b.Practice), false
}
