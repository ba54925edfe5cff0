package question

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/risk"
)

// PlaceOpened is one place with its week and all trees that reach it.
type PlaceOpened struct {
	Place // whose list of trees is Reaching's beginning
	Hours exposure.Hours
	// Reaching are all trees that could harm it, the most harm first.
	Reaching []TreeOver
}

// TreeOver is one tree over a place, or in whose reach it lies.
type TreeOver struct {
	Tree inventory.Tree
	Harm float64 // here, as ranked
	Over bool    // with the crown or a limb
	// Parts are those that reach the place, the whole tree first.
	Parts []PartOver
}

// PartOver is what of a place one part of a tree reaches.
type PartOver struct {
	Part      exposure.Part
	Cut       inventory.CutID // that a limb carries; 0 for the others
	Judgement risk.Judgement
	geo.Measure
	Count exposure.Count // there, in the mean
	Harm  float64
}

// PlaceStore reads a place and the trees about it.
type PlaceStore interface {
	FindFacts(ctx context.Context, q ranking.FactsQuery) ([]ranking.Facts, error)
	FindTargets(ctx context.Context, client inventory.ClientID, ids []int64) ([]inventory.Target, error)
	GetSiteByID(ctx context.Context, client inventory.ClientID, id inventory.SiteID) (inventory.Site, error)
}

// mostAbout is how many standing trees about one place are looked at: a street
// network in one piece has a town's trees about it.
const mostAbout = 300_000

// FindPlace returns a place and its site.
func FindPlace(ctx context.Context, store PlaceStore, client inventory.ClientID, id inventory.TargetID) (t inventory.Target, site inventory.Site, err error) {
	list, err := store.FindTargets(ctx, client, []int64{int64(id)})
	if err == nil && len(list) == 0 {
		err = inventory.Errorf(inventory.NotFound, "there is no place %d", id)
	}
	if err != nil {
		return t, site, err
	}
	site, err = store.GetSiteByID(ctx, client, list[0].Site)
	return list[0], site, err
}

// OpenPlace opens a place. reach is the farthest that any tree of its site
// reaches, metres. The place alone is measured: what a tree could do at it does
// not hang on what else the tree is over.
func OpenPlace(ctx context.Context, store PlaceStore, site inventory.Site, t inventory.Target, reach float64, p *profile.Profile, asOf time.Time) (*PlaceOpened, error) {
	out := &PlaceOpened{Place: Place{Target: t}}
	var err error
	if out.Whole, out.Hours, _, err = exposure.NewFieldBuilder(p).WholeWeek(&t); err != nil {
		return nil, err
	}
	if t.Geometry == nil {
		return out, nil
	}
	out.At = t.Geometry.Bound().Center()
	stripe := ranking.NewStripe(p, asOf)
	if err := stripe.Add(t); err != nil {
		return nil, err
	}
	stripe.Build()
	assessor := stripe.NewAssessor()
	ask := ranking.FactsQuery{Client: site.Client, Sites: []string{site.Name}, Boxes: ranking.Widened(boxesAlong(t.Geometry), reach), Limit: maxBatch}
	for looked := 0; ; {
		page, err := store.FindFacts(ctx, ask)
		if err != nil {
			return nil, err
		}
		for i := range page {
			out.look(assessor, &page[i])
		}
		if len(page) < ask.Limit {
			break
		}
		if looked += len(page); looked >= mostAbout {
			return nil, inventory.Errorf(inventory.Invalid, "place %d has more than %d trees about it: divide it into parts that can be looked at", t.ID, mostAbout)
		}
		ask.From = page[len(page)-1].Tree.ID + 1
	}
	slices.SortFunc(out.Reaching, func(a, b TreeOver) int {
		return cmp.Or(cmp.Compare(b.Harm, a.Harm), cmp.Compare(a.Tree.ID, b.Tree.ID))
	})
	return out, nil
}

// look takes in a tree, if it reaches the place.
func (o *PlaceOpened) look(assessor *ranking.Assessor, f *ranking.Facts) {
	terms, a := assessor.TermsAsSized(nil, f)
	if len(terms) == 0 {
		return
	}
	harm := make([]float64, len(a.Parts))
	t := TreeOver{Tree: f.Tree}
	for _, term := range terms {
		harm[term.Part] += term.Mid.Harm
		t.Harm += term.Mid.Harm
		t.Over = t.Over || a.Parts[term.Part].Part != exposure.WholeTree
	}
	zones := make([]exposure.TreeZone, len(a.Parts))
	for i := range a.Parts {
		zones[i] = a.Parts[i].TreeZone
	}
	for _, v := range assessor.Meter().Overlaps(f.Tree.Point, zones) {
		part := PartOver{Part: zones[v.Zone].Part, Judgement: a.Parts[v.Zone].Judgement, Measure: v.Measure, Count: v.Count, Harm: harm[v.Zone]}
		if cut := zones[v.Zone].Cut; cut >= 0 {
			part.Cut = f.Cuts[cut].ID
		}
		t.Parts = append(t.Parts, part)
	}
	o.Harm += t.Harm
	o.WithinTrees++
	if t.Over {
		o.UnderTrees++
	}
	o.Reaching = append(o.Reaching, t)
}

// piece is how many corners of a line are looked for in one box: a street that
// runs across a town has few trees about it, and its box has all.
const piece = 16

// boxesAlong returns boxes that hold a geometry together.
func boxesAlong(g orb.Geometry) (boxes []orb.Bound) {
	switch g := g.(type) {
	case orb.LineString:
		for from := 0; from == 0 || from < len(g)-1; from += piece - 1 {
			boxes = append(boxes, g[from:min(from+piece, len(g))].Bound())
		}
	case orb.MultiLineString:
		for _, part := range g {
			boxes = append(boxes, boxesAlong(part)...)
		}
	case orb.MultiPolygon:
		for _, part := range g {
			boxes = append(boxes, part.Bound())
		}
	case orb.MultiPoint:
		for _, part := range g {
			boxes = append(boxes, part.Bound())
		}
	case orb.Collection:
		for _, part := range g {
			boxes = append(boxes, boxesAlong(part)...)
		}
	default:
		return []orb.Bound{g.Bound()}
	}
	// Many boxes make a long question: one for all asks no less.
	if len(boxes) > mostBoxes {
		return []orb.Bound{g.Bound()}
	}
	return boxes
}

// mostBoxes is how many boxes are asked for at once (no source).
const mostBoxes = 200
