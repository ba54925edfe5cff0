package question

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/clip"
	"github.com/paulmach/orb/planar"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/risk"
)

// outlineSegments draws a full circle well enough for a map: its corners lie
// on the circle, and between them it falls short by 0.12 % of the radius.
const outlineSegments = 64

// Zone identities keep their meaning when other cuts come and go: four to a
// number, the tree's for the first two and the cut's for the third.
const (
	idWholeTree = 0
	idCrown     = 1
	idLimb      = 2
	idsEach     = 4
)

// walk goes through standing trees batch by batch and works out their features.
type walk struct {
	*Features
	q     inventory.FeatureQuery
	fn    func(*inventory.Feature) error
	batch int // trees at a time, to begin with
	most  int // trees at all
	sent  int
	sites map[inventory.SiteID]string
	out   inventory.Feature
	held  []inventory.Feature // to be filtered together
	zone  []exposure.TreeZone
	sizer *ranking.Sizer
}

// maxBatch is the most trees looked at together.
const maxBatch = 2000

var errEnough = errors.New("enough")

func (w *walk) run(ctx context.Context, each func(context.Context, []ranking.Facts) error) (rest inventory.Opt[inventory.Cursor], err error) {
	sites, err := w.Store.FindSites(ctx, w.q.Client)
	if err != nil {
		return rest, err
	}
	w.sites = make(map[inventory.SiteID]string, len(sites))
	for _, s := range sites {
		w.sites[s.ID] = s.Name
	}
	ask := w.factsQuery()
	for looked := 0; ; {
		page, err := w.Store.FindFacts(ctx, ask)
		if err != nil {
			return rest, err
		}
		err = each(ctx, page)
		if err == nil {
			err = w.release(ctx)
		}
		if err != nil {
			if errors.Is(err, errEnough) {
				err = nil
			}
			return rest, err
		}
		if len(page) < ask.Limit {
			return rest, nil
		}
		last := page[len(page)-1].Tree.ID
		ask.From = last + 1
		// A box is searched anew for each batch: larger ones make it fewer.
		ask.Limit = min(2*ask.Limit, maxBatch)
		if looked += len(page); looked >= w.most {
			return inventory.Some(inventory.Cursor{IDs: [3]int64{int64(last), math.MaxInt64, math.MaxInt64}}), nil
		}
	}
}

// factsQuery hands down to the store what narrows the trees.
func (w *walk) factsQuery() ranking.FactsQuery {
	ask := ranking.FactsQuery{Client: w.q.Client, Limit: w.batch, From: inventory.TreeID(w.q.After.V.IDs[0]), Boxes: w.q.Boxes}
	if w.q.Collection.Base() == "zones" {
		ask.Boxes = ranking.Widened(w.q.Boxes, maxReachM)
	}
	ask.Sites, _ = filter.Texts(w.q.Filter, "site")
	ask.Tags, _ = filter.Texts(w.q.Filter, "tag")
	if trees, ok := filter.Numbers(w.q.Filter, "tree_id"); ok {
		ask.Trees = []int64{}
		for _, n := range trees {
			ask.Trees = append(ask.Trees, int64(n))
		}
	}
	if cuts, ok := filter.Numbers(w.q.Filter, "cut_id"); ok && len(cuts) == 1 {
		ask.Cut = int64(cuts[0])
	}
	if w.q.ID.OK {
		owner := w.q.ID.V / idsEach
		if w.q.ID.V%idsEach == idLimb {
			ask.Cut = owner
		} else {
			ask.Trees = []int64{owner}
		}
	}
	return ask
}

// identify returns a zone's identity and its place among those of its tree.
func identify(f *ranking.Facts, z exposure.TreeZone) (id, place int64) {
	tree := int64(f.Tree.ID)
	switch z.Part {
	case exposure.WholeTree:
		return tree*idsEach + idWholeTree, 0
	case exposure.Crown:
		return tree*idsEach + idCrown, 1
	}
	cut := int64(f.Cuts[z.Cut].ID)
	return cut*idsEach + idLimb, 2 + cut
}

// zonesOf returns a tree's zones in the order of their places; the cuts come
// in the order of their ids.
func (w *walk) zonesOf(f *ranking.Facts) (exposure.Dimensions, []exposure.TreeZone) {
	var d exposure.Dimensions
	d, w.zone = w.sizer.Zones(w.zone[:0], f)
	return d, w.zone
}

// send hands a feature on if it is asked for, or holds it until many can be
// filtered at once.
func (w *walk) send(f *inventory.Feature) error {
	if w.q.After.OK && slices.Compare(f.At.IDs[:], w.q.After.V.IDs[:]) <= 0 || w.q.ID.OK && w.q.ID.V != f.ID {
		return nil
	}
	if w.q.Filter != nil {
		held := *f
		held.Values = slices.Clone(f.Values)
		w.held = append(w.held, held)
		return nil
	}
	return w.pass(f)
}

// release hands on those that were held and that the filter holds for.
func (w *walk) release(ctx context.Context) error {
	if len(w.held) == 0 {
		return nil
	}
	wanted, err := w.Store.FilterFeatures(ctx, w.q.Collection, w.q.Filter, w.held)
	if err != nil {
		return err
	}
	for i := range w.held {
		if !wanted[i] {
			continue
		}
		if err := w.pass(&w.held[i]); err != nil {
			return err
		}
	}
	w.held = w.held[:0]
	return nil
}

func (w *walk) pass(f *inventory.Feature) error {
	if w.sent >= w.q.Limit {
		return errEnough
	}
	w.sent++
	return w.fn(f)
}

// zones hands on one feature a part.
func (w *walk) zones(page []ranking.Facts) error {
	screener := risk.NewScreener(w.Profile, w.AsOf)
	for i := range page {
		f := &page[i]
		d, zones := w.zonesOf(f)
		for _, z := range zones {
			outline := z.Zone.Polygon(f.Tree.Point, outlineSegments)
			if !meetsAny(outline, w.q.Boxes) {
				continue
			}
			id, place := identify(f, z)
			w.out = inventory.Feature{ID: id, Geometry: outline, At: inventory.Cursor{IDs: [3]int64{int64(f.Tree.ID), place}}, Values: w.out.Values[:0]}
			j, cut := judgeZone(screener, f, z)
			bearing := null
			if !z.Zone.IsDisc() && !z.Zone.IsOutline() {
				bearing = number(z.Zone.Bearing)
			}
			w.out.Values = append(w.out.Values,
				text(w.sites[f.Tree.Site]), whole(f.Tree.ID), text(f.Tree.Tag), text(z.Part.String()), cut,
				number(z.Zone.Radius), bearing, number(min(z.Zone.Width, 360)),
				flag(d.HeightEstimated()), flag(d.CrownRadiusEstimated()),
				text(j.Likelihood.String()), flag(j.Inferred), text(j.Rule.String()))
			if err := w.send(&w.out); err != nil {
				return err
			}
		}
	}
	return nil
}

func judgeZone(s *risk.Screener, f *ranking.Facts, z exposure.TreeZone) (risk.Judgement, inventory.Value) {
	switch z.Part {
	case exposure.WholeTree:
		return s.WholeTree(&f.Tree, f.Visits), null
	case exposure.Crown:
		return s.Crown(&f.Tree, f.Visits), null
	}
	cut := f.Cuts[z.Cut]
	return s.Limb(&f.Tree, &cut, f.Visits), whole(cut.ID)
}

// overlaps hands on one feature a part and target.
func (w *walk) overlaps(ctx context.Context, page []ranking.Facts) error {
	meters, err := w.meters(ctx, page)
	if err != nil {
		return err
	}
	for i := range page {
		f := &page[i]
		_, zones := w.zonesOf(f)
		meter := meters[f.Tree.Site]
		if meter == nil {
			continue
		}
		list := meter.Overlaps(f.Tree.Point, zones)
		slices.SortFunc(list, func(a, b exposure.Overlap) int {
			return cmp.Or(cmp.Compare(a.Zone, b.Zone), cmp.Compare(a.Target, b.Target))
		})
		for _, o := range list {
			z := zones[o.Zone]
			id, place := identify(f, z)
			cut := null
			if z.Cut >= 0 {
				cut = whole(f.Cuts[z.Cut].ID)
			}
			w.out = inventory.Feature{
				ID: id, TextID: fmt.Sprintf("%d-%d", id, o.Target), Geometry: f.Tree.Point,
				At: inventory.Cursor{IDs: [3]int64{int64(f.Tree.ID), place, int64(o.Target)}}, Values: w.out.Values[:0],
			}
			w.out.Values = append(w.out.Values,
				text(w.sites[f.Tree.Site]), whole(f.Tree.ID), text(f.Tree.Tag), whole(o.Target), text(string(o.Kind)), text(z.Part.String()), cut,
				number(o.LengthM), number(o.AreaM2), whole(o.Points), number(o.Count.Persons()), number(o.Count.Vehicles))
			if err := w.send(&w.out); err != nil {
				return err
			}
		}
	}
	return nil
}

// meters loads the targets under a page of trees, a meter for each site.
func (w *walk) meters(ctx context.Context, page []ranking.Facts) (map[inventory.SiteID]*exposure.Meter, error) {
	var boxes []ranking.SiteBox
	for i := range page {
		f := &page[i]
		_, zones := w.zonesOf(f)
		boxes = append(boxes, ranking.ZoneBoxes(f.Tree.Site, f.Tree.Point, zones)...)
	}
	targets, err := w.Store.FindTargetsIn(ctx, w.q.Client, boxes)
	if err != nil {
		return nil, err
	}
	fields := make(map[inventory.SiteID]*exposure.FieldBuilder)
	for _, t := range targets {
		if fields[t.Site] == nil {
			fields[t.Site] = exposure.NewFieldBuilder(w.Profile)
		}
		if err := fields[t.Site].Add(t); err != nil {
			return nil, err
		}
	}
	meters := make(map[inventory.SiteID]*exposure.Meter, len(fields))
	for site, b := range fields {
		meters[site] = exposure.NewMeter(b.Build())
	}
	return meters, nil
}

// ParseFeatureID reads an identity as a collection's features carry it. text
// is set where it is not a number; ok is false where it cannot be one.
func ParseFeatureID(c *inventory.Collection, s string) (id int64, text string, ok bool) {
	number := s
	if c.Base() == "overlaps" {
		zone, target, found := strings.Cut(s, "-")
		if n, err := strconv.ParseInt(target, 10, 64); !found || err != nil || n <= 0 || strconv.FormatInt(n, 10) != target {
			return 0, "", false
		}
		number, text = zone, s
	}
	id, err := strconv.ParseInt(number, 10, 64)
	return id, text, err == nil && id > 0 && strconv.FormatInt(id, 10) == number
}

// meetsAny reports whether an outline meets any of the boxes; no box asks for
// all.
func meetsAny(g orb.Geometry, boxes []orb.Bound) bool {
	if len(boxes) == 0 {
		return true
	}
	var parts orb.MultiPolygon
	switch g := g.(type) {
	case orb.Polygon:
		parts = orb.MultiPolygon{g}
	case orb.MultiPolygon:
		parts = g
	}
	for _, p := range parts {
		for _, b := range boxes {
			if planar.RingContains(p[0], b.Min) || len(clip.LineString(b, orb.LineString(p[0]))) > 0 {
				return true
			}
		}
	}
	return false
}

var null = inventory.Value{Null: true}

// text is null where it is empty, as a missing column is.
func text(s string) inventory.Value { return inventory.Value{Bytes: []byte(s), Null: s == ""} }

func whole[T ~int | ~int64](n T) inventory.Value { return inventory.Value{Int: int64(n)} }

func number(f float64) inventory.Value { return inventory.Value{Float: f} }

func flag(b bool) inventory.Value {
	if b {
		return inventory.Value{Int: 1}
	}
	return inventory.Value{}
}
