package question

import (
	"context"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// Ranking is an ordered answer with what it rests on.
type Ranking struct {
	Site  inventory.Site
	Query ranking.Query
	Draws Draws
	Run   inventory.Run
	Rows  []ranking.Row
	Total int // trees that the question holds for, beyond the limit too
}

// UpToDate makes sure that the exposures in force are those of the site as it
// stands, under this profile and as of this day; it computes anew what edits
// touched, or everything where that is not enough or again is set.
func UpToDate(ctx context.Context, store ExposureStore, site inventory.Site, p *profile.Profile, asOf time.Time, again bool) (inventory.Run, error) {
	run, fresh, err := store.GetRun(ctx, site)
	if err != nil && inventory.KindOf(err) != inventory.NotFound {
		return run, err
	}
	same := err == nil && run.ProfileDigest == p.Digest && run.AsOf.Format(time.DateOnly) == asOf.Format(time.DateOnly)
	if same && !again {
		if fresh {
			return run, nil
		}
		if run, done, err := store.CatchUp(ctx, site, p, asOf); err != nil || done {
			return run, err
		}
	}
	return store.Recompute(ctx, site, p, asOf)
}

// Rank brings the exposures up to date and puts the trees in order; with draws it
// says how sure each place is, among all standing trees of the site.
func Rank(ctx context.Context, store RankStore, site inventory.Site, q ranking.Query, draws Draws, p *profile.Profile, asOf time.Time) (*Ranking, error) {
	run, err := UpToDate(ctx, store, site, p, asOf, false)
	if err != nil {
		return nil, err
	}
	q.Client, q.Site = site.Client, site.ID
	rows, total, err := store.Rank(ctx, q)
	if err != nil {
		return nil, err
	}
	if draws.Number > 0 {
		doubts, err := Intervals(ctx, store, ranking.Sweep{Site: site, Profile: p, AsOf: asOf}, q.By, draws)
		if err != nil {
			return nil, err
		}
		for i := range rows {
			rows[i].Doubt = inventory.Some(doubts[rows[i].Tree])
		}
	}
	return &Ranking{Site: site, Query: q, Draws: draws, Run: run, Rows: rows, Total: total}, nil
}

// ParseKinds reads kinds of target.
func ParseKinds(words []string) ([]inventory.TargetKind, error) {
	return parse(words, inventory.TargetKinds, "kind of target")
}

// ParseCuts reads kinds of cut.
func ParseCuts(words []string) ([]inventory.CutKind, error) {
	return parse(words, inventory.CutKinds, "kind of cut")
}

func parse[T ~string](words []string, known []T, what string) ([]T, error) {
	var out []T
next:
	for _, w := range words {
		for _, k := range known {
			if string(k) == w {
				out = append(out, k)
				continue next
			}
		}
		return nil, inventory.Errorf(inventory.Invalid, "there is no %s %q: expected some of %v", what, w, known)
	}
	return out, nil
}
