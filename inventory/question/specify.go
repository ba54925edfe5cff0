package question

import (
	"context"
	"encoding/json"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/season"
)

// SpecificationStore keeps specifications.
type SpecificationStore interface {
	WorkStore
	SaveSpecification(ctx context.Context, site inventory.Site, k *inventory.KeptSpecification, p *practice.Practice) error
	SpecificationHistory(ctx context.Context, client inventory.ClientID, tree inventory.TreeID) ([]inventory.KeptSpecification, error)
}

// Specified is one tree's specification with all about it.
type Specified struct {
	WorkTree
	Explanation *Explanation
	Cost        programme.Cost // of a visit
	Openings    *season.Openings
	Progress    pruning.Progress
	History     []inventory.KeptSpecification // that people changed or programmes used, the latest first
}

// OpenDays says on which days of a year no window closes the work.
func (s *Specified) OpenDays() string { return season.Words(s.Openings) }

// OneWorkTree returns one tree with its specification.
func OneWorkTree(ctx context.Context, store WorkStore, b *Basis, tag string) (*WorkTree, error) {
	t, _, err := oneWorkTree(ctx, store, b, tag)
	return t, err
}

func oneWorkTree(ctx context.Context, store WorkStore, b *Basis, tag string) (*WorkTree, *Explanation, error) {
	e, err := Explain(ctx, store, b.Site, tag, b.Profile, b.AsOf)
	if err != nil {
		return nil, nil, err
	}
	if !e.Facts.Tree.Status.Standing() {
		return nil, nil, inventory.Errorf(inventory.NotFound, "tree %s is %s: nothing is specified for it", tag, e.Facts.Tree.Status)
	}
	measured := b.measure(e.Assessment, e.Meter, e.Sizer, &e.Facts)
	t := &measured
	t.Facts = e.Facts
	id := []int64{int64(t.Tree.ID)}
	streets, err := store.Streets(ctx, b.Site, id)
	if err != nil {
		return nil, nil, err
	}
	t.placeIn(streets)
	kept, err := store.FindSpecifications(ctx, b.Site, id)
	if err != nil {
		return nil, nil, err
	}
	var by inventory.KeptSpecification
	if len(kept) > 0 && kept[0].ByPerson {
		by = kept[0]
	}
	jobs, err := store.FindJobs(ctx, inventory.JobQuery{Client: b.Site.Client, Tree: t.Tree.ID, States: []inventory.JobState{inventory.Approved, inventory.InHand, inventory.Done, inventory.Checked}})
	if err != nil {
		return nil, nil, err
	}
	return t, e, b.specify(t, by, jobs)
}

// Specify works out what to cut on one tree, or reads what a person decided.
func Specify(ctx context.Context, store SpecificationStore, b *Basis, tag string) (*Specified, error) {
	t, e, err := oneWorkTree(ctx, store, b, tag)
	if err != nil {
		return nil, err
	}
	out := &Specified{WorkTree: *t, Explanation: e, Cost: b.CostOf(t)}
	o := season.Open(seasonCase(t, 1), windowsOf(t, 1, b.Practice), b.AsOf, b.AsOf.AddDate(1, 0, -1))
	out.Openings = &o
	out.Progress = t.Progress(b.AsOf)
	out.History, err = store.SpecificationHistory(ctx, b.Site.Client, t.Tree.ID)
	return out, err
}

// ChangeSpecification keeps a specification as a person wants it. What breaks a
// rule is refused, or kept with the reason.
func ChangeSpecification(ctx context.Context, store SpecificationStore, b *Basis, tag string, change pruning.Change) (*Specified, error) {
	if strings.TrimSpace(change.By) == "" {
		return nil, inventory.Errorf(inventory.Invalid, "by is empty: say who changes the specification")
	}
	t, _, err := oneWorkTree(ctx, store, b, tag)
	if err != nil {
		return nil, err
	}
	s, err := pruning.Apply(t.Spec, change, b.Practice)
	if err != nil {
		return nil, err
	}
	body, err := json.Marshal(&s)
	if err != nil {
		return nil, err
	}
	k := &inventory.KeptSpecification{Tree: t.Tree.ID, Body: body, ByPerson: true, MadeBy: change.By}
	if err := store.SaveSpecification(ctx, b.Site, k, b.Practice); err != nil {
		return nil, err
	}
	return Specify(ctx, store, b, tag)
}
