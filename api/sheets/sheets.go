// Package sheets gathers what is printed: it asks the questions and fills in the
// sheets and the report of package paper. The service and the commands call it.
package sheets

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/underbough/underbough/api/paper"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// Store is what sheets are gathered from.
type Store interface {
	question.ProgrammeStore
	question.RankStore
	// JobEvents returns the steps of jobs in their order.
	JobEvents(ctx context.Context, client inventory.ClientID, jobs []int64) ([]inventory.JobEvent, error)
	DueVisits(ctx context.Context, site inventory.Site, until time.Time) ([]inventory.DueVisit, error)
}

// Issue is who a sheet is made by, for whom and when.
type Issue struct {
	Client string
	By     string
	At     time.Time
}

func basisOf(b *question.Basis, i Issue) paper.Basis {
	return paper.Basis{
		Client: i.Client, Site: b.Site, AsOf: b.AsOf, IssuedAt: i.At, IssuedBy: i.By,
		ProfileName: b.Profile.Name, ProfileDigest: b.Profile.Digest, PracticeName: b.Practice.Name, PracticeDigest: b.Practice.Digest,
	}
}

// current are the states of jobs that still have to be done.
var current = []inventory.JobState{inventory.Proposed, inventory.Approved, inventory.InHand}

// mostOnSheet is how many jobs a crew sheet takes: more is no package.
const mostOnSheet = 400

// Crew gathers the sheet of a package of a year.
func Crew(ctx context.Context, store Store, b *question.Basis, year int, pack string, i Issue) (*paper.CrewSheet, error) {
	jobs, err := store.FindJobs(ctx, inventory.JobQuery{Client: b.Site.Client, Site: b.Site.ID, Year: year, Package: pack, States: current, Limit: mostOnSheet + 1})
	if err != nil {
		return nil, err
	}
	if len(jobs) == 0 {
		return nil, noJobs(ctx, store, b, year, pack)
	}
	if len(jobs) > mostOnSheet {
		return nil, inventory.Errorf(inventory.Invalid, "package %q of %d has more than %d jobs: split it into packages that a crew can do", pack, year, mostOnSheet)
	}
	out := &paper.CrewSheet{Basis: basisOf(b, i), Package: pack, Year: year}
	g := newGatherer(store, b)
	for _, j := range jobs {
		t, e, err := g.tree(ctx, j.Tree)
		if err != nil {
			return nil, fmt.Errorf("job %d: %w", j.ID, err)
		}
		c := paper.CrewJob{Job: j, Tree: *t}
		if err := json.Unmarshal(j.Specification, &c.Specification); err != nil {
			return nil, fmt.Errorf("specification of job %d: %w", j.ID, err)
		}
		var r ranking.Result
		r.Summarize(e.Assessment, &e.Facts)
		c.Over, c.LineInReach = slices.Clone(r.Over), r.Reaches(inventory.UtilityLine)
		c.Notes = balance(&e.Facts.Tree)
		out.Jobs = append(out.Jobs, c)
	}
	out.Targets = g.targets()
	return out, nil
}

// balance says how a crown hangs, where that was measured.
func balance(t *inventory.Tree) []string {
	a, ok := question.BalanceOf(t)
	if !ok {
		return nil
	}
	return []string{"Balance: " + a.String() + "."}
}

// noJobs says which packages there are.
func noJobs(ctx context.Context, store Store, b *question.Basis, year int, pack string) error {
	all, err := store.FindJobs(ctx, inventory.JobQuery{Client: b.Site.Client, Site: b.Site.ID, States: current})
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return inventory.Errorf(inventory.NotFound, "site %q has no jobs to do: make a programme and its jobs first", b.Site.Name)
	}
	var names []string
	for i := range all {
		if name := fmt.Sprintf("%q of %d", all[i].Package, all[i].Year); !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	if len(names) > 6 {
		names = append(names[:6], "…")
	}
	return inventory.Errorf(inventory.NotFound, "there is no package %q of %d with jobs to do: there is %s", pack, year, strings.Join(names, ", "))
}

// gatherer opens trees one by one and remembers the places beneath them.
type gatherer struct {
	store Store
	*question.Basis
	places map[inventory.TargetID]inventory.Target
}

func newGatherer(store Store, b *question.Basis) *gatherer {
	return &gatherer{store: store, Basis: b, places: make(map[inventory.TargetID]inventory.Target)}
}

func (g *gatherer) tree(ctx context.Context, id inventory.TreeID) (*paper.Tree, *question.Explanation, error) {
	e, err := question.Explain(ctx, g.store, g.Site, fmt.Sprintf("#%d", id), g.Profile, g.AsOf)
	if err != nil {
		return nil, nil, err
	}
	for id, t := range e.Targets {
		g.places[id] = t
	}
	t := treeOfExplained(e)
	return &t, e, nil
}

// targets are the places met, in the order of their numbers.
func (g *gatherer) targets() []inventory.Target {
	list := make([]inventory.Target, 0, len(g.places))
	for _, t := range g.places {
		list = append(list, t)
	}
	slices.SortFunc(list, func(a, b inventory.Target) int { return cmp.Compare(a.ID, b.ID) })
	return list
}

// Bid gathers the work that bidders price: of a year, or of all years where year
// is 0, and of one package where pack is given.
func Bid(ctx context.Context, store Store, b *question.Basis, year int, pack string, estimate bool, i Issue) (*paper.BidSheet, error) {
	jobs, err := store.FindJobs(ctx, inventory.JobQuery{Client: b.Site.Client, Site: b.Site.ID, Year: year, Package: pack, States: current})
	if err != nil {
		return nil, err
	}
	if len(jobs) == 0 {
		return nil, noJobs(ctx, store, b, year, pack)
	}
	trees, err := question.WorkTrees(ctx, store, b)
	if err != nil {
		return nil, err
	}
	at := make(map[inventory.TreeID]*question.WorkTree, len(trees))
	for k := range trees {
		at[trees[k].Tree.ID] = &trees[k]
	}
	out := &paper.BidSheet{Basis: basisOf(b, i), Title: title(b, year, pack), Estimate: estimate, Currency: b.Practice.Rates.Currency}
	rates := &b.Practice.Rates
	out.GroupHours, out.GroupCost = rates.GroupHours.Value, rates.GroupHours.Value*rates.CrewHourCost.Value
	for k := range jobs {
		j := &jobs[k]
		t := at[j.Tree]
		if t == nil {
			continue // it stands no longer
		}
		var s pruning.Specification
		if err := json.Unmarshal(j.Specification, &s); err != nil {
			return nil, fmt.Errorf("specification of job %d: %w", j.ID, err)
		}
		row := paper.BidRow{Tree: treeOf(t), Work: practice.Work(j.Work), Year: j.Year, Visit: j.Visit, Package: j.Package, Dose: j.Dose, LineInReach: t.LineInReach(), Hours: j.Hours, Cost: j.Cost}
		if j.Visit <= len(s.Visits) {
			items := s.Visits[j.Visit-1].Items
			texts := make([]string, len(items))
			for n := range items {
				texts[n] = items[n].Text
			}
			row.Text = strings.Join(texts, " ")
		}
		out.Rows = append(out.Rows, row)
	}
	return out, nil
}

func title(b *question.Basis, year int, pack string) string {
	text := b.Site.Name
	if pack != "" {
		text += ", " + pack
	}
	if year != 0 {
		text += fmt.Sprintf(", %d", year)
	}
	return text
}

// treeOf is a tree as it is shown in a list: without its zones.
func treeOf(t *question.WorkTree) paper.Tree {
	out := paper.Tree{Tree: t.Tree, Cuts: t.Cuts}
	out.Size.Height, out.Size.CrownRadius = t.Result.Height, t.Result.CrownRadius
	out.Size.HeightFrom, out.Size.CrownFrom = t.Result.HeightFrom, t.Result.CrownFrom
	return out
}
