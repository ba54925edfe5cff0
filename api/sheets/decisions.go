package sheets

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/underbough/underbough/api/paper"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/question"
)

// decisions gathers what was decided about the work of a site and what was not
// done, from the steps of its jobs, their completions, and the specifications that
// people changed.
func decisions(ctx context.Context, store Store, trees []question.WorkTree, b *question.Basis) (*paper.Decisions, error) {
	jobs, err := store.FindJobs(ctx, inventory.JobQuery{Client: b.Site.Client, Site: b.Site.ID})
	if err != nil {
		return nil, err
	}
	out, species := &paper.Decisions{}, make(map[inventory.TreeID]string, len(trees))
	at, ids := make(map[inventory.JobID]*inventory.Job, len(jobs)), make([]int64, len(jobs))
	for i := range trees {
		species[trees[i].Tree.ID] = trees[i].Tree.Species
	}
	for i := range jobs {
		at[jobs[i].ID], ids[i] = &jobs[i], int64(jobs[i].ID)
	}
	events, err := store.JobEvents(ctx, b.Site.Client, ids)
	if err != nil {
		return nil, err
	}
	of := func(j *inventory.Job) paper.Decision {
		return paper.Decision{Tag: j.Tag, Species: species[j.Tree], Package: j.Package, Work: j.Work, Year: j.Year}
	}
	for _, e := range events {
		j := at[e.Job]
		if j == nil || e.From == "" {
			continue
		}
		d := of(j)
		d.By, d.On, d.Reason = e.By, e.At, e.Reason
		switch from, to := slices.Index(inventory.JobStates, e.From), slices.Index(inventory.JobStates, e.To); {
		case e.To == inventory.Withdrawn && e.From != inventory.Withdrawn:
			out.PutOff = append(out.PutOff, d)
		case to < from:
			d.What = fmt.Sprintf("from %s to %s", e.From, e.To)
			out.SentBack = append(out.SentBack, d)
		}
	}
	for i := range jobs {
		completions(out, of(&jobs[i]), jobs[i].Completion)
	}
	out.Against, err = against(trees, jobs, species)
	return out, err
}

// completions adds what was wrong with the rounds of a job that is done, and that
// its tree was taken down.
func completions(out *paper.Decisions, d paper.Decision, c *inventory.Completion) {
	if c == nil {
		return
	}
	rounds := c.Rounds()
	for n, r := range rounds {
		d.By, d.On, d.Reason, d.What = r.By, r.On, "", ""
		for _, f := range r.Defects {
			if d.What != "" {
				d.What += "; "
			}
			d.What += f.What
		}
		if len(r.Defects) > 0 {
			if len(rounds) > 1 {
				d.What = fmt.Sprintf("round %d of %d: %s", n+1, len(rounds), d.What)
			}
			out.Defects = append(out.Defects, d)
		}
		if r.Removed {
			d.What, d.Reason = "taken down", r.Note
			out.Felled = append(out.Felled, d)
		}
	}
}

// against lists the rules that people decided against: in what is asked for now,
// and in what jobs were made of. One decision stands once.
func against(trees []question.WorkTree, jobs []inventory.Job, species map[inventory.TreeID]string) (list []paper.Against, err error) {
	type key struct {
		tree inventory.TreeID
		o    pruning.Override
	}
	seen := map[key]bool{}
	add := func(tree inventory.TreeID, tag string, overrides []pruning.Override) {
		for _, o := range overrides {
			k := key{tree, o}
			k.o.At = o.At.UTC().Round(0)
			if !seen[k] {
				seen[k] = true
				list = append(list, paper.Against{Tag: tag, Species: species[tree], Override: o})
			}
		}
	}
	for i := range trees {
		add(trees[i].Tree.ID, trees[i].Label(), trees[i].Spec.Overrides)
	}
	for i := range jobs {
		var s struct {
			Overrides []pruning.Override `json:"overrides"`
		}
		if len(jobs[i].Specification) == 0 {
			continue
		}
		if err := json.Unmarshal(jobs[i].Specification, &s); err != nil {
			return nil, fmt.Errorf("specification of job %d: %w", jobs[i].ID, err)
		}
		add(jobs[i].Tree, jobs[i].Tag, s.Overrides)
	}
	return list, nil
}
