package question

import (
	"context"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/doubt"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/ranking"
)

// Draws asks for rank intervals.
type Draws struct {
	Number int    // of draws; 0 asks for no intervals
	Seed   uint64 // the same seed gives the same intervals
	Top    int    // how many first places the share of draws is about
}

// SweepStore streams a whole site.
type SweepStore interface {
	// OneSnapshot runs fn with a context in which all that is asked is answered
	// from one state of the inventory.
	OneSnapshot(ctx context.Context, fn func(context.Context) error) error
	Sweep(ctx context.Context, s ranking.Sweep, work func(ranking.Lot) (any, error), take func(any) error) (trees, targets int64, err error)
	EachTarget(ctx context.Context, s ranking.Sweep, fn func(*inventory.Target) error) error
	TreeOrder(ctx context.Context, s ranking.Sweep) ([]ranking.TreeName, error)
}

// Intervals draws over what is uncertain and returns how sure each standing
// tree's place is, among all standing trees of the site. By rating, the rating
// stays as it was computed and harm is drawn within it; by exposure, likelihood
// plays no part.
func Intervals(ctx context.Context, store SweepStore, s ranking.Sweep, by ranking.By, d Draws) (map[inventory.TreeID]ranking.Doubt, error) {
	var in *doubt.Input
	err := store.OneSnapshot(ctx, func(ctx context.Context) (err error) {
		in, err = drawInput(ctx, store, s, by)
		return err
	})
	if err != nil {
		return nil, err
	}
	list, err := doubt.Ranks(in, doubt.Options{Draws: d.Number, Seed: d.Seed, Top: d.Top})
	if err != nil {
		return nil, err
	}
	out := make(map[inventory.TreeID]ranking.Doubt, len(list))
	for i, v := range list {
		out[inventory.TreeID(in.Trees[i].Key)] = ranking.Doubt{Low: int(v.Low), High: int(v.High), Top: float64(v.TopShare)}
	}
	return out, nil
}

// drawInput gathers what every tree's harm is made of.
func drawInput(ctx context.Context, store SweepStore, s ranking.Sweep, by ranking.By) (*doubt.Input, error) {
	in := &doubt.Input{Likelihoods: doubt.Likelihoods(s.Profile)}
	order, err := store.TreeOrder(ctx, s)
	if err != nil {
		return nil, err
	}
	place := make(map[inventory.TreeID]int32, len(order))
	for i, t := range order {
		place[t.Tree] = int32(i)
	}
	at := make(map[inventory.TargetID]int32)
	err = store.EachTarget(ctx, s, func(t *inventory.Target) error {
		at[t.ID] = int32(len(in.Targets))
		in.Targets = append(in.Targets, doubt.Target{Key: uint64(t.ID), Sigma: doubt.Sigma(t, s.Profile.Doubt)})
		return nil
	})
	if err != nil {
		return nil, err
	}
	_, _, err = store.Sweep(ctx, s, func(lot ranking.Lot) (any, error) {
		part := &doubt.Input{}
		var terms []ranking.Term
		for i := range lot.Trees {
			f := &lot.Trees[i]
			var a *ranking.Assessment
			terms, a = lot.Assessor.Terms(terms[:0], f)
			addTree(part, f, a, terms, at, place[f.Tree.ID], by)
		}
		return part, nil
	}, func(lot any) error {
		part := lot.(*doubt.Input)
		in.Trees = append(in.Trees, part.Trees...)
		in.Parts = append(in.Parts, part.Parts...)
		in.Terms = append(in.Terms, part.Terms...)
		return nil
	})
	return in, err
}

func addTree(in *doubt.Input, f *ranking.Facts, a *ranking.Assessment, terms []ranking.Term, at map[inventory.TargetID]int32, order int32, by ranking.By) {
	class := uint8(0)
	if by == ranking.ByRating {
		class = uint8(a.Score.Rating)
	}
	in.AddTree(uint64(f.Tree.ID), order, class)
	next := 0
	for i := range a.Parts {
		p := &a.Parts[i]
		draw := doubt.DrawOf(p.Judgement.Likelihood, sourceOf(p))
		if by == ranking.ByExposure {
			draw = doubt.NoDraw
		}
		in.AddPart(sizeOf(p), draw)
		for ; next < len(terms) && terms[next].Part == i; next++ {
			t := &terms[next]
			low, mid, high := t.Low.Harm, t.Mid.Harm, t.High.Harm
			if by == ranking.ByExposure {
				if i != a.Under {
					continue
				}
				low, mid, high = t.Low.Persons, t.Mid.Persons, t.High.Persons
			}
			in.AddTerm(at[t.Target], float32(low), float32(mid), float32(high))
		}
	}
}

func sourceOf(p *ranking.PartAssessment) doubt.Source {
	switch {
	case p.Judgement.Inferred:
		return doubt.Inferred
	case p.Judgement.Stale:
		return doubt.Stale
	}
	return doubt.Judged
}

func sizeOf(p *ranking.PartAssessment) doubt.Size {
	if p.Part == exposure.WholeTree {
		return doubt.ByHeight
	}
	return doubt.ByCrown
}
