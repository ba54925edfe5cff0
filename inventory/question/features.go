package question

import (
	"context"
	"math"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/crs"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// FactsStore finds trees and what is about them, many at a time.
type FactsStore interface {
	FindSites(ctx context.Context, client inventory.ClientID) ([]inventory.Site, error)
	FindFacts(ctx context.Context, q ranking.FactsQuery) ([]ranking.Facts, error)
	// FindTargetsIn returns each target of whose site a box meets its bounds,
	// once.
	FindTargetsIn(ctx context.Context, client inventory.ClientID, boxes []ranking.SiteBox) ([]inventory.Target, error)
}

// FeatureStore reads the collections and what the computed ones are made from.
type FeatureStore interface {
	inventory.FeatureStore
	inventory.ReferenceStore
	FactsStore
}

// Features asks for features of any collection, stored or computed.
type Features struct {
	Store   FeatureStore
	Profile *profile.Profile
	AsOf    time.Time
}

// A computed page looks at no more trees than this, so that a rare filter ends
// in a short page with a place to go on from rather than in a long wait.
const (
	maxTreesOfZones    = 20_000
	maxTreesOfOverlaps = 5_000
)

// Find hands features on in the collection's order, up to q.Limit. Where it
// stops early for having looked at enough, rest is the place to go on from.
func (s *Features) Find(ctx context.Context, q inventory.FeatureQuery, fn func(*inventory.Feature) error) (rest inventory.Opt[inventory.Cursor], err error) {
	if q.Collection.Computed && q.SRID != 0 && q.SRID != crs.WGS84 {
		return s.findProjected(ctx, q, fn)
	}
	switch q.Collection.Base() {
	case "zones":
		w := &walk{Features: s, q: q, fn: fn, sizer: ranking.NewSizer(s.Profile, s.AsOf), batch: 250, most: maxTreesOfZones}
		return w.run(ctx, func(_ context.Context, page []ranking.Facts) error { return w.zones(page) })
	case "overlaps":
		w := &walk{Features: s, q: q, fn: fn, sizer: ranking.NewSizer(s.Profile, s.AsOf), batch: 100, most: maxTreesOfOverlaps}
		return w.run(ctx, w.overlaps)
	}
	return rest, s.Store.FindFeatures(ctx, q, fn)
}

// Count counts what a query holds for, up to a limit; false where there is more,
// or where it is not known without working it all out. Without a limit, 0, all is
// worked out.
func (s *Features) Count(ctx context.Context, q inventory.FeatureQuery, limit int) (n int, ok bool, err error) {
	if !q.Collection.Computed {
		if n, ok, err = s.Store.CountGathered(ctx, q); ok || err != nil {
			return n, ok, err
		}
		n, err = s.Store.CountFeatures(ctx, q, limit)
		return n, err == nil && (limit == 0 || n <= limit), err
	}
	if limit > 0 {
		return 0, false, nil
	}
	for q.Limit = math.MaxInt; ; {
		rest, err := s.Find(ctx, q, func(*inventory.Feature) error { n++; return nil })
		if err != nil || !rest.OK {
			return n, err == nil, err
		}
		q.After = rest
	}
}

// Extent returns a box about all features of a collection; false where there
// are none.
func (s *Features) Extent(ctx context.Context, client inventory.ClientID, c *inventory.Collection) (orb.Bound, bool, error) {
	of := c
	if c.Computed {
		var err error
		if of, err = inventory.GetCollection("trees"); err != nil {
			return orb.Bound{}, false, err
		}
	}
	b, ok, err := s.Store.FeatureExtent(ctx, client, of)
	if ok && c.Base() == "zones" {
		b = ranking.Widen(b, maxReachM)
	}
	return b, ok, err
}

// maxReachM is farther than any zone reaches, metres; stripes of a run rest on
// it too.
const maxReachM = 250
