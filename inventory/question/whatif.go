package question

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// WhatIfStore is what a what-if needs.
type WhatIfStore interface {
	ExposureStore
	FactsStore
	TreeStore
	FindTargets(ctx context.Context, client inventory.ClientID, ids []int64) ([]inventory.Target, error)
	RankKeys(ctx context.Context, site inventory.Site, by ranking.By) ([]ranking.Key, error)
}

// Supposed is the order as it would be, for the trees that a change reaches.
type Supposed struct {
	Site    inventory.Site
	By      ranking.By
	Changes []ranking.Change
	Run     inventory.Run
	Trees   int // standing trees ranked today
	Moves   []SupposedMove
}

// SupposedMove is one tree that the changes reach. After is nil where the tree
// would be gone.
type SupposedMove struct {
	Tree                  inventory.Tree
	Before                ranking.Result
	After                 *ranking.Result
	RankBefore, RankAfter int // among all standing trees; 0 for none
	// Note says why a change that names the tree does not show; empty where it may.
	Note string
}

// WhatIf works out how trees would rank if things were otherwise. Nothing is
// stored.
func WhatIf(ctx context.Context, store WhatIfStore, site inventory.Site, changes []ranking.Change, by ranking.By, p *profile.Profile, asOf time.Time) (*Supposed, error) {
	run, err := UpToDate(ctx, store, site, p, asOf, false)
	if err != nil {
		return nil, err
	}
	w := &whatIf{store: store, site: site, changes: slices.Clone(changes), by: by, profile: p, asOf: asOf, reach: run.Reach}
	if err := w.findTrees(ctx); err != nil {
		return nil, err
	}
	if err := w.suppose(ctx); err != nil {
		return nil, err
	}
	keys, err := store.RankKeys(ctx, site, by)
	if err != nil {
		return nil, err
	}
	out := &Supposed{Site: site, By: by, Changes: changes, Run: run, Trees: len(keys), Moves: w.moves}
	out.place(keys, by)
	return out, nil
}

type whatIf struct {
	store   WhatIfStore
	site    inventory.Site
	changes []ranking.Change
	by      ranking.By
	profile *profile.Profile
	asOf    time.Time
	reach   float64

	facts []ranking.Facts // of every tree that a change may reach
	moves []SupposedMove
}

// findTrees finds the trees that a change names or that may reach a target it
// names, where it is now or where it would be.
func (w *whatIf) findTrees(ctx context.Context) error {
	seen := make(map[inventory.TreeID]bool)
	add := func(list []ranking.Facts) {
		for _, f := range list {
			if !seen[f.Tree.ID] && f.Tree.Status.Standing() {
				seen[f.Tree.ID] = true
				w.facts = append(w.facts, f)
			}
		}
	}
	for i := range w.changes {
		c := &w.changes[i]
		switch {
		case c.Tag != "":
			list, err := w.store.FindTreeFacts(ctx, w.site, c.Tag)
			if err != nil {
				return err
			}
			if len(list) != 1 {
				return inventory.Errorf(inventory.NotFound, "what-if %q: %d trees of site %q have the tag or source id %q, expected one", c.Text, len(list), w.site.Name, c.Tag)
			}
			c.Tree = list[0].Tree.ID
			add(list)
		case c.Cut != 0:
			list, err := w.store.FindFacts(ctx, ranking.FactsQuery{Client: w.site.Client, Sites: []string{w.site.Name}, Cut: int64(c.Cut), Limit: 1})
			if err != nil {
				return err
			}
			if len(list) == 0 {
				return inventory.Errorf(inventory.NotFound, "what-if %q: no standing tree of site %q carries the cut %d", c.Text, w.site.Name, c.Cut)
			}
			add(list)
		default:
			boxes, err := w.boxesOfTarget(ctx, c)
			if err != nil {
				return err
			}
			list, err := w.store.FindFacts(ctx, ranking.FactsQuery{Client: w.site.Client, Sites: []string{w.site.Name}, Boxes: boxes, Limit: maxTreesOfZones})
			if err != nil {
				return err
			}
			add(list)
		}
	}
	slices.SortFunc(w.facts, func(a, b ranking.Facts) int { return cmp.Compare(a.Tree.ID, b.Tree.ID) })
	return nil
}

func (w *whatIf) boxesOfTarget(ctx context.Context, c *ranking.Change) ([]orb.Bound, error) {
	list, err := w.store.FindTargets(ctx, w.site.Client, []int64{int64(c.Target)})
	if err != nil {
		return nil, err
	}
	if len(list) == 0 || list[0].Site != w.site.ID {
		return nil, inventory.Errorf(inventory.NotFound, "what-if %q: site %q has no target %d (explain lists their numbers)", c.Text, w.site.Name, c.Target)
	}
	t := list[0]
	boxes := []orb.Bound{t.Geometry.Bound()}
	if c.ApplyTarget(&t) {
		boxes = append(boxes, t.Geometry.Bound())
	}
	return ranking.Widened(boxes, w.reach), nil
}

// suppose assesses each tree as it is and as it would be, and keeps those that
// differ or are named.
func (w *whatIf) suppose(ctx context.Context) error {
	sizer := ranking.NewSizer(w.profile, w.asOf)
	then := make([]ranking.Facts, 0, len(w.facts))
	gone := make(map[inventory.TreeID]bool)
	var boxes []ranking.SiteBox
	for i := range w.facts {
		f := w.facts[i]
		_, zones := sizer.Zones(nil, &f)
		boxes = append(boxes, ranking.ZoneBoxes(w.site.ID, f.Tree.Point, zones)...)
		f.Cuts = slices.Clone(f.Cuts)
		for k := range w.changes {
			if !w.changes[k].ApplyTree(&f, sizer) {
				gone[f.Tree.ID] = true
			}
		}
		_, zones = sizer.Zones(nil, &f)
		boxes = append(boxes, ranking.ZoneBoxes(w.site.ID, f.Tree.Point, zones)...)
		then = append(then, f)
	}
	targets, err := w.store.FindTargetsIn(ctx, w.site.Client, boxes)
	if err != nil {
		return err
	}
	// A target that is moved may come from where no tree reaches it.
	var ids []int64
	for i := range w.changes {
		if w.changes[i].Target != 0 {
			ids = append(ids, int64(w.changes[i].Target))
		}
	}
	named, err := w.store.FindTargets(ctx, w.site.Client, ids)
	if err != nil {
		return err
	}
	for _, t := range named {
		if !slices.ContainsFunc(targets, func(o inventory.Target) bool { return o.ID == t.ID }) {
			targets = append(targets, t)
		}
	}
	slices.SortFunc(targets, func(a, b inventory.Target) int { return cmp.Compare(a.ID, b.ID) })
	now, err := w.assessor(targets, false)
	if err != nil {
		return err
	}
	supposed, err := w.assessor(targets, true)
	if err != nil {
		return err
	}
	for i := range w.facts {
		m := SupposedMove{Tree: w.facts[i].Tree}
		m.Before.Summarize(now.Assess(&w.facts[i]), &w.facts[i])
		if !gone[m.Tree.ID] {
			m.After = &ranking.Result{}
			m.After.Summarize(supposed.Assess(&then[i]), &then[i])
		}
		m.Note = w.note(&w.facts[i])
		if m.After == nil || !alike(&m.Before, m.After) || w.names(&w.facts[i]) {
			w.moves = append(w.moves, m)
		}
	}
	return nil
}

func (w *whatIf) assessor(targets []inventory.Target, changed bool) (*ranking.Assessor, error) {
	stripe := ranking.NewStripe(w.profile, w.asOf)
next:
	for _, t := range targets {
		for k := range w.changes {
			if changed && w.changes[k].Target == t.ID && !w.changes[k].ApplyTarget(&t) {
				continue next
			}
		}
		if err := stripe.Add(t); err != nil {
			return nil, err
		}
	}
	stripe.Build()
	return stripe.NewAssessor(), nil
}

// names reports whether a change is about the tree itself.
func (w *whatIf) names(f *ranking.Facts) bool {
	return slices.ContainsFunc(w.changes, func(c ranking.Change) bool {
		return c.Tree == f.Tree.ID ||
			c.Cut != 0 && slices.ContainsFunc(f.Cuts, func(k inventory.Cut) bool { return k.ID == c.Cut })
	})
}

// note says where shortening a limb cannot show, as nobody recorded where the
// limb is.
func (w *whatIf) note(f *ranking.Facts) string {
	for i := range f.Cuts {
		cut := &f.Cuts[i]
		named := slices.ContainsFunc(w.changes, func(c ranking.Change) bool { return c.Cut != 0 && c.Cut == cut.ID })
		if named && !(cut.Bearing.OK && cut.Reach.OK) {
			return fmt.Sprintf("cut %d: the limb's bearing or the cut's distance from the trunk is not recorded, so that a shorter limb does not show in what lies under it", cut.ID)
		}
	}
	return ""
}

func alike(a, b *ranking.Result) bool {
	near := func(x, y float64) bool { return math.Abs(x-y) <= 1e-9*math.Max(math.Abs(x), math.Abs(y)) }
	return near(a.Harm, b.Harm) && near(a.Count.Persons(), b.Count.Persons()) && near(a.Count.Vehicles, b.Count.Vehicles) && a.Score == b.Score
}

// place finds each tree's rank today and the one it would have.
func (s *Supposed) place(keys []ranking.Key, by ranking.By) {
	order := func(a, b ranking.Key) int { return a.Compare(&b) }
	slices.SortFunc(keys, order)
	moved := make(map[inventory.TreeID]int, len(s.Moves))
	for i := range s.Moves {
		moved[s.Moves[i].Tree.ID] = i
	}
	then := make([]ranking.Key, 0, len(keys))
	for i, k := range keys {
		at, ok := moved[k.Tree]
		if !ok {
			then = append(then, k)
			continue
		}
		m := &s.Moves[at]
		m.RankBefore = i + 1
		if m.After != nil {
			then = append(then, ranking.KeyOf(m.After, k.Tag, by))
		}
	}
	slices.SortFunc(then, order)
	for i, k := range then {
		if at, ok := moved[k.Tree]; ok {
			s.Moves[at].RankAfter = i + 1
		}
	}
	slices.SortStableFunc(s.Moves, func(a, b SupposedMove) int { return cmp.Compare(a.RankBefore, b.RankBefore) })
}
