package question

import (
	"context"
	"fmt"
	"strings"
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
	Note  string // what whoever reads the answer should know of its inputs; may be empty
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
	same := err == nil && run.RestsOn(p.Digest, asOf)
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
	answer := &Ranking{Site: site, Query: q, Draws: draws, Run: run}
	words, n, err := store.UnknownHours(ctx, site, p.WeekNames())
	if err != nil {
		return nil, err
	}
	if n > 0 {
		if len(words) > 5 {
			words = append(words[:5], "…")
		}
		answer.Note = fmt.Sprintf("%d targets name hours that the profile does not have (%s) and are given those of their kind: add the week to the profile, or mend the targets", n, strings.Join(words, ", "))
	}
	if draws.Number == 0 {
		answer.Rows, answer.Total, err = store.Rank(ctx, q)
		return answer, err
	}
	// Places and how sure they are come from one state of the inventory.
	err = store.OneSnapshot(ctx, func(ctx context.Context) error {
		if answer.Rows, answer.Total, err = store.Rank(ctx, q); err != nil {
			return err
		}
		doubts, err := Intervals(ctx, store, ranking.Sweep{Site: site, Profile: p, AsOf: asOf}, q.By, draws)
		for i := range answer.Rows {
			answer.Rows[i].Doubt = inventory.Some(doubts[answer.Rows[i].Tree])
		}
		return err
	})
	return answer, err
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
