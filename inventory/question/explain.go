package question

import (
	"context"
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
	var boxes []ranking.SiteBox
	for _, z := range zones {
		for _, b := range boxesOf(z.Zone, t.Point) {
			boxes = append(boxes, ranking.SiteBox{Site: site.ID, Bound: b})
		}
	}
	return store.FindTargetsIn(ctx, site.Client, boxes)
}
