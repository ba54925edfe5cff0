package question

import (
	"context"
	"math"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/risk"
)

// Explanation is one tree's sum, opened: every part, every overlap.
type Explanation struct {
	Facts      ranking.Facts
	Assessment *ranking.Assessment
	// Overlaps lists each target under each part, in the order of the parts.
	Overlaps []exposure.Overlap
	Targets  map[inventory.TargetID]inventory.Target
	Profile  *profile.Profile
	Screener *risk.Screener
}

// Explain works out one tree from the inventory as it stands.
func Explain(ctx context.Context, store TreeStore, site inventory.Site, tag string, p *profile.Profile, asOf time.Time) (*Explanation, error) {
	found, err := store.FindTreeFacts(ctx, site, tag)
	if err != nil {
		return nil, err
	}
	switch {
	case len(found) == 0:
		return nil, inventory.Errorf(inventory.NotFound, "no tree of site %q has the tag or source id %q", site.Name, tag)
	case len(found) > 1:
		return nil, inventory.Errorf(inventory.Invalid, "%d trees of site %q carry the tag %q: name one by its source id (the first has %q)", len(found), site.Name, tag, found[0].Tree.SourceID)
	}
	return explain(ctx, store, site, found[0], p, asOf)
}

func explain(ctx context.Context, store TreeStore, site inventory.Site, f ranking.Facts, p *profile.Profile, asOf time.Time) (*Explanation, error) {
	zones := exposure.Zones(nil, f.Tree, f.Cuts, exposure.Size(f.Tree, p.Sizing), p.Sizing)
	targets, err := targetsUnder(ctx, store, site, f.Tree, zones)
	if err != nil {
		return nil, err
	}
	stripe := ranking.NewStripe(p, asOf)
	e := &Explanation{Facts: f, Targets: make(map[inventory.TargetID]inventory.Target, len(targets)), Profile: p}
	for _, t := range targets {
		if err := stripe.Add(t); err != nil {
			return nil, err
		}
		e.Targets[t.ID] = t
	}
	stripe.Build()
	assessor := stripe.NewAssessor()
	e.Overlaps = assessor.Meter().Overlaps(f.Tree.Point, zones)
	e.Assessment = assessor.Assess(&f)
	e.Screener = assessor.Screener()
	return e, nil
}

// targetsUnder loads the targets whose bounds meet any of the zones.
func targetsUnder(ctx context.Context, store TreeStore, site inventory.Site, t inventory.Tree, zones []exposure.TreeZone) ([]inventory.Target, error) {
	west, south, east, north := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, z := range zones {
		b := z.Zone.Bound(t.Point)
		west, south = min(west, b.Min[0]), min(south, b.Min[1])
		east, north = max(east, b.Max[0]), max(north, b.Max[1])
	}
	boxes := [][2]float64{{west, east}}
	// A zone across the antimeridian has targets on both sides of the map.
	if west < -180 {
		boxes = [][2]float64{{-180, east}, {west + 360, 180}}
	} else if east > 180 {
		boxes = [][2]float64{{west, 180}, {-180, east - 360}}
	}
	var out []inventory.Target
	seen := make(map[inventory.TargetID]bool)
	for _, b := range boxes {
		list, err := store.FindTargetsNear(ctx, site, b[0], max(south, -90), b[1], min(north, 90))
		if err != nil {
			return nil, err
		}
		for _, target := range list {
			if !seen[target.ID] {
				seen[target.ID] = true
				out = append(out, target)
			}
		}
	}
	return out, nil
}
