package sheets

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"github.com/underbough/underbough/api/paper"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/appraisal"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// ReportQuery asks for a report.
type ReportQuery struct {
	Top       int                   // trees told of one by one; 0 for paper.DefaultTop
	Programme inventory.ProgrammeID // 0 for the latest of the site
	Notes     []string
}

// Report gathers the report on a site, all of it from one state of the inventory.
func Report(ctx context.Context, store Store, b *question.Basis, q ReportQuery, i Issue) (*paper.SiteReport, error) {
	if _, err := question.UpToDate(ctx, store, b.Site, b.Profile, b.AsOf, false); err != nil {
		return nil, err
	}
	var out *paper.SiteReport
	err := store.OneSnapshot(ctx, func(ctx context.Context) (err error) {
		out, err = report(ctx, store, b, q, i)
		return err
	})
	return out, err
}

func report(ctx context.Context, store Store, b *question.Basis, q ReportQuery, i Issue) (*paper.SiteReport, error) {
	out := &paper.SiteReport{Basis: basisOf(b, i), Top: q.Top, Effect: b.Practice.Effect, Notes: q.Notes}
	trees, err := question.WorkTrees(ctx, store, b)
	if err != nil {
		return nil, err
	}
	at := make(map[inventory.TreeID]*question.WorkTree, len(trees))
	for k := range trees {
		at[trees[k].Tree.ID] = &trees[k]
	}
	rows, _, err := store.Rank(ctx, ranking.Query{Client: b.Site.Client, Site: b.Site.ID, By: ranking.ByHarm})
	if err != nil {
		return nil, err
	}
	err = store.EachTarget(ctx, ranking.Sweep{Site: b.Site, Profile: b.Profile, AsOf: b.AsOf}, func(t *inventory.Target) error {
		out.Targets = append(out.Targets, *t)
		return nil
	})
	if err != nil {
		return nil, err
	}
	top := q.Top
	if top == 0 {
		top = paper.DefaultTop
	}
	g := newGatherer(store, b)
	for k := range rows {
		t := at[rows[k].Tree]
		if t == nil {
			continue
		}
		one := paper.ReportTree{Tree: treeOf(t), Row: rows[k], Undecided: t.Spec.SecondOpinion != ""}
		one.Hours, one.Cost = allVisits(t, b)
		if len(out.Trees) < top {
			opened, e, err := g.tree(ctx, rows[k].Tree)
			if err != nil {
				return nil, err
			}
			one.Notes = balance(&e.Facts.Tree)
			one.Tree, one.Paragraph, one.Specification, one.Quietest = *opened, e.Paragraph(), &t.Spec, t.Quiet
		}
		out.Trees = append(out.Trees, one)
	}
	if out.Programme, err = programmeOf(ctx, store, b, q.Programme); err != nil {
		return nil, err
	}
	restorations(out, trees, b)
	if out.Decisions, err = decisions(ctx, store, trees, b); err != nil {
		return nil, err
	}
	if err := inspections(ctx, store, out, b); err != nil {
		return nil, err
	}
	out.Value, err = valueOf(ctx, store, trees, b)
	return out, err
}

// allVisits are the hours and the cost of all visits of a tree's specification.
func allVisits(t *question.WorkTree, b *question.Basis) (hours, cost float64) {
	c := b.CostOf(t)
	n := float64(len(t.Spec.Visits))
	return c.Hours * n, c.Cost * n
}

func programmeOf(ctx context.Context, store Store, b *question.Basis, id inventory.ProgrammeID) (*paper.SiteProgramme, error) {
	if id == 0 {
		list, err := store.FindProgrammes(ctx, b.Site.Client, b.Site.ID)
		if err != nil || len(list) == 0 {
			return nil, err
		}
		id = list[0].ID
		// One whose jobs were made is what is being done.
		if k := slices.IndexFunc(list, func(r programme.Record) bool { return r.ProposedAt.OK }); k >= 0 {
			id = list[k].ID
		}
	}
	record, items, err := store.GetProgramme(ctx, b.Site.Client, id)
	if err != nil {
		return nil, err
	}
	if record.Site.ID != b.Site.ID {
		return nil, inventory.Errorf(inventory.NotFound, "programme %d is of site %q, not of %q", id, record.Site.Name, b.Site.Name)
	}
	return &paper.SiteProgramme{Record: record, Items: items}, nil
}

// restorations lists the trees whose restoration has begun.
func restorations(out *paper.SiteReport, trees []question.WorkTree, b *question.Basis) {
	for k := range trees {
		t := &trees[k]
		p, visits, ok := t.Restoration(b.AsOf)
		if !ok {
			continue
		}
		out.Restorations = append(out.Restorations, paper.RestorationProgress{
			Tag: t.Label(), Species: t.Tree.Species, Done: len(p.Done), Visits: visits, DoseSoFar: p.Dose, Next: p.Due, Note: p.Words,
		})
	}
}

// aheadYears is how far ahead inspections are listed.
const aheadYears = 1

func inspections(ctx context.Context, store Store, out *paper.SiteReport, b *question.Basis) error {
	due, err := store.DueVisits(ctx, b.Site, b.AsOf.AddDate(aheadYears, 0, 0))
	for _, d := range byHarm(due, out.Trees) {
		if d.Never {
			out.Inspections = append(out.Inspections, paper.Inspection{Tag: d.Label, Species: d.Species, Never: true})
			continue
		}
		out.Inspections = append(out.Inspections, paper.Inspection{
			Tag: d.Label, Species: d.Species, Due: d.NextOn, Overdue: d.NextOn.Before(b.AsOf), Why: "asked for at the visit of " + d.LastOn.Format("2 January 2006"),
		})
	}
	return err
}

// byHarm puts the trees that were never looked at in the order of their harm,
// after those that are due on a day.
func byHarm(due []inventory.DueVisit, ranked []paper.ReportTree) []inventory.DueVisit {
	place := make(map[inventory.TreeID]int, len(ranked))
	for i := range ranked {
		place[ranked[i].ID] = i + 1
	}
	due = slices.Clone(due)
	slices.SortStableFunc(due, func(a, b inventory.DueVisit) int {
		if !a.Never || !b.Never {
			return cmp.Compare(never(a), never(b))
		}
		return cmp.Compare(place[a.Tree], place[b.Tree])
	})
	return due
}

func never(d inventory.DueVisit) int {
	if d.Never {
		return 1
	}
	return 0
}

// valueOf sums up what people appraised, and the shade that the crowns give.
func valueOf(ctx context.Context, store Store, trees []question.WorkTree, b *question.Basis) (*paper.Value, error) {
	list, err := store.FindAppraisals(ctx, b.Site)
	if err != nil {
		return nil, err
	}
	v := &paper.Value{Currency: b.Practice.Rates.Currency, Trees: len(list)}
	by := make(map[string]bool)
	for k := range list {
		v.Appraised += list[k].Value
		by[list[k].MadeBy] = true
	}
	names := make([]string, 0, len(by))
	for name := range by {
		names = append(names, name)
	}
	slices.Sort(names)
	if len(names) > 0 {
		v.Method = fmt.Sprintf("the trunk formula technique with ratings by %s", orMany(names))
	}
	var shade appraisal.Shade
	for k := range trees {
		shade.Add(trees[k].Shade)
	}
	v.ShadeParking, v.ShadeParkingLength, v.ShadeWalks, v.ShadeWalksLength = shade.Parking, shade.ParkingAt, shade.Walks, shade.WalksAt
	return v, nil
}

func orMany(names []string) string {
	if len(names) > 3 {
		return fmt.Sprintf("%s and %d others", names[0], len(names)-1)
	}
	text := names[0]
	for _, n := range names[1:] {
		text += ", " + n
	}
	return text
}
