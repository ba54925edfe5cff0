package postgres

import (
	"context"
	"slices"

	"github.com/underbough/underbough/inventory/tiling"
)

// treeMove is the trees that an edit changed, by the revision that it led to.
type treeMove struct {
	generation, revision int64
	trees                []int64
}

// noteMove remembers which trees an edit changed.
func (g *gatheredTrees) noteMove(m treeMove) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.moves = append(g.moves, m); len(g.moves) > movesKept {
		g.moves = slices.Clone(g.moves[len(g.moves)-movesKept:])
	}
}

// before finds what is kept of a site from before some edits, and the trees that
// these changed; nil where an edit is not known, or too many trees are.
func (g *gatheredTrees) before(key gatheredKey) (old *gathered, changed []int64) {
	if key.touched != noTouchings || key.instant != "" {
		return nil, nil
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, s := range g.latest {
		k := s.key
		if k.client == key.client && k.site == key.site && k.instant == "" && k.touched == noTouchings && k.generation == key.generation && k.revision < key.revision &&
			(old == nil || old.key.revision < k.revision) {
			old = s
		}
	}
	if old == nil {
		return nil, nil
	}
	known := make(map[int64]bool)
	for _, m := range g.moves {
		if m.generation == key.generation && m.revision > old.key.revision && m.revision <= key.revision {
			known[m.revision] = true
			changed = append(changed, m.trees...)
		}
	}
	if int64(len(known)) != key.revision-old.key.revision || len(changed) > mostToMend {
		return nil, nil
	}
	slices.Sort(changed)
	return old, slices.Compact(changed)
}

// mended makes what is asked for of what is kept from before some edits: only the
// trees that these changed are read. It is nil where that cannot be.
func (db *DB) mended(ctx context.Context, key gatheredKey, site siteState) (*gathered, error) {
	old, changed := db.gathered.before(key)
	if old == nil {
		return nil, nil
	}
	r := &gatherer{db: db, key: key, site: site, source: source{client: key.client}, only: changed}
	if err := r.read(ctx); err != nil {
		return nil, err
	}
	return old.with(key, changed, inPlaces(key, r.trees, r.more, r.tags)), nil
}

// with returns trees of which some are as others have them, or gone. Who reads g
// is not disturbed.
func (g *gathered) with(key gatheredKey, changed []int64, now *gathered) *gathered {
	out := &gathered{key: key, trees: make(tiling.Gathered, 0, len(g.trees)+len(now.trees)), more: make([]treeMore, 0, len(g.trees)+len(now.trees))}
	out.tags = append(slices.Clone(g.tags), now.tags...)
	gone := make([]int32, 0, len(changed))
	for _, id := range changed {
		if at, ok := g.byID.find(id); ok {
			gone = append(gone, at)
		}
	}
	slices.Sort(gone)
	next := 0
	come := func(before *tiling.Placed) {
		for ; next < len(now.trees) && (before == nil || now.trees[next].Before(before)); next++ {
			m := now.more[next]
			if m.tagAt <= m.tagEnd {
				m.tagAt, m.tagEnd = m.tagAt+uint32(len(g.tags)), m.tagEnd+uint32(len(g.tags))
			}
			out.trees, out.more = append(out.trees, now.trees[next]), append(out.more, m)
		}
	}
	for i := range g.trees {
		if len(gone) > 0 && gone[0] == int32(i) {
			gone = gone[1:]
			continue
		}
		if next < len(now.trees) {
			come(&g.trees[i])
		}
		out.trees, out.more = append(out.trees, g.trees[i]), append(out.more, g.more[i])
	}
	come(nil)
	out.byID = newIDIndex(len(out.trees), func(i int) int64 { return out.trees[i].ID })
	return out
}
