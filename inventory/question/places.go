package question

import (
	"cmp"
	"context"
	"slices"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/ranking"
)

// Place is one target seen from below: what is on it, and which trees could
// harm it.
type Place struct {
	Target inventory.Target // without its geometry
	At     orb.Point        // a point of it, to find it by
	Whole  exposure.Whole   // on all of it
	// How many trees have it under the crown or a limb, and in how many trees'
	// reach it lies.
	UnderTrees, WithinTrees int
	Harm                    float64 // of all trees, as ranked
	Trees                   []TreeShare
}

// TreeShare is one tree's part in the harm at a place.
type TreeShare struct {
	Tree inventory.TreeID
	Harm float64
	ranking.TreeName
}

// sharesKept is how many trees a place lists.
const sharesKept = 5

// Covered reports whether any tree of the inventory reaches the place.
func (p *Place) Covered() bool { return p.WithinTrees > 0 }

// Places looks at a site from its targets' side: every target with what is on
// it and which trees could harm it, the most harm first; of equals the busier
// first, then by id.
func Places(ctx context.Context, store SweepStore, s ranking.Sweep) (list []Place, err error) {
	err = store.OneSnapshot(ctx, func(ctx context.Context) error {
		list, err = places(ctx, store, s)
		return err
	})
	return list, err
}

func places(ctx context.Context, store SweepStore, s ranking.Sweep) ([]Place, error) {
	places, at, err := wholePlaces(ctx, store, s)
	if err != nil {
		return nil, err
	}
	names, err := store.TreeOrder(ctx, s)
	if err != nil {
		return nil, err
	}
	_, _, err = store.Sweep(ctx, s, func(lot ranking.Lot) (any, error) {
		var all []share
		var terms []ranking.Term
		for i := range lot.Trees {
			terms, _ = lot.Assessor.TermsAsSized(terms[:0], &lot.Trees[i])
			all = append(all, sharesOf(lot.Trees[i].Tree.ID, terms)...)
		}
		return all, nil
	}, func(lot any) error {
		for _, v := range lot.([]share) {
			places[at[v.target]].add(v)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	name := make(map[inventory.TreeID]ranking.TreeName, len(names))
	for _, n := range names {
		name[n.Tree] = n
	}
	for i := range places {
		for k := range places[i].Trees {
			places[i].Trees[k].TreeName = name[places[i].Trees[k].Tree]
		}
	}
	slices.SortFunc(places, func(a, b Place) int {
		return cmp.Or(cmp.Compare(b.Harm, a.Harm), cmp.Compare(b.Whole.Count.Persons(), a.Whole.Count.Persons()),
			cmp.Compare(b.Whole.Vehicles, a.Whole.Vehicles), cmp.Compare(a.Target.ID, b.Target.ID))
	})
	return places, nil
}

// wholePlaces lists the targets of a site and where each is in the list.
func wholePlaces(ctx context.Context, store SweepStore, s ranking.Sweep) ([]Place, map[inventory.TargetID]int, error) {
	builder := exposure.NewFieldBuilder(s.Profile)
	var places []Place
	at := make(map[inventory.TargetID]int)
	err := store.EachTarget(ctx, s, func(t *inventory.Target) error {
		whole, err := builder.Whole(t)
		if err != nil {
			return err
		}
		p := Place{Target: *t, Whole: whole}
		if t.Geometry != nil {
			p.At = t.Geometry.Bound().Center()
		}
		p.Target.Geometry, p.Target.PeopleCounted, p.Target.VehiclesCounted = nil, nil, nil
		at[t.ID] = len(places)
		places = append(places, p)
		return nil
	})
	return places, at, err
}

// share is one tree over one target.
type share struct {
	target inventory.TargetID
	tree   inventory.TreeID
	harm   float64
	under  bool // a crown or a limb, not just the whole tree
}

// sharesOf adds up a tree's terms by target.
func sharesOf(tree inventory.TreeID, terms []ranking.Term) []share {
	var out []share
next:
	for _, t := range terms {
		for i := range out {
			if out[i].target == t.Target {
				out[i].harm += t.Mid.Harm
				out[i].under = out[i].under || t.Part > 0
				continue next
			}
		}
		out = append(out, share{target: t.Target, tree: tree, harm: t.Mid.Harm, under: t.Part > 0})
	}
	return out
}

// add adds a tree's share and keeps the largest.
func (p *Place) add(v share) {
	p.Harm += v.harm
	p.WithinTrees++
	if v.under {
		p.UnderTrees++
	}
	at, _ := slices.BinarySearchFunc(p.Trees, v, func(t TreeShare, v share) int {
		return cmp.Or(cmp.Compare(v.harm, t.Harm), cmp.Compare(t.Tree, v.tree))
	})
	if at == sharesKept {
		return
	}
	if len(p.Trees) == sharesKept {
		p.Trees = p.Trees[:sharesKept-1]
	}
	p.Trees = slices.Insert(p.Trees, at, TreeShare{Tree: v.tree, Harm: v.harm})
}
