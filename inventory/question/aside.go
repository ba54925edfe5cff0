package question

import (
	"context"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// AsideStore ranks without touching what is in force.
type AsideStore interface {
	SweepStore
	RankAt(ctx context.Context, s ranking.Sweep, q ranking.Query) ([]ranking.Row, inventory.Run, error)
}

// NotCounted is the total of a ranking whose trees beyond the limit were not
// counted.
const NotCounted = -1

// RankAside ranks a site under a profile that is not the one in force, such as
// that of one season, and leaves what is in force as it is. It is a full run.
func RankAside(ctx context.Context, store AsideStore, site inventory.Site, q ranking.Query, draws Draws, p *profile.Profile, asOf time.Time) (*Ranking, error) {
	q.Client, q.Site = site.Client, site.ID
	s := ranking.Sweep{Site: site, Profile: p, AsOf: asOf}
	rows, run, err := store.RankAt(ctx, s, q)
	if err != nil {
		return nil, err
	}
	if draws.Number > 0 {
		doubts, err := Intervals(ctx, store, s, q.By, draws)
		if err != nil {
			return nil, err
		}
		for i := range rows {
			rows[i].Doubt = inventory.Some(doubts[rows[i].Tree])
		}
	}
	total := NotCounted
	if q.Limit == 0 || len(rows) < q.Limit {
		total = len(rows)
	}
	return &Ranking{Site: site, Query: q, Draws: draws, Run: run, Rows: rows, Total: total}, nil
}
