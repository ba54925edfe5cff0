package postgres

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"sync"

	"golang.org/x/sync/singleflight"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/tiling"
)

// gatheredTrees keeps what most questions about the trees of a site ask of, for
// the latest states that were asked for: one look through all trees serves every
// tile of low levels, every sorted page and every count of that state, whatever
// the question. What an edit changes is read again by itself.
type gatheredTrees struct {
	mu     sync.Mutex
	latest []*gathered // the latest last
	moves  []treeMove
	keys   map[string]siteKeys // by state, those of the latest states
	states []string
	asking singleflight.Group
	read   int // how often all trees of a site were read
}

// gathered is all trees of a site in one state, in the order of their places.
// Nothing of it changes once it is made but what is remembered of its questions.
type gathered struct {
	key     gatheredKey
	trees   tiling.Gathered
	more    []treeMore
	tags    []byte // one after the other
	byID    idIndex
	matches matchCache
	orders  orderCache
}

// treeMore is what is asked of a tree beside what is summed up of it: with that
// ninety bytes a tree.
type treeMore struct {
	lon, lat       float64
	persons        float64 // under it in the mean, in the open and in vehicles
	tagAt, tagEnd  uint32  // in tags; the first is greater where there is none
	over, cutKinds uint32  // a bit each
	visited        int32   // the day of the last visit, in days from 2000; never for none
	topped         int16   // year, 0 for none
	status         uint8   // place in inventory.TreeStatuses
	nowhere        bool    // its geometry is empty or not a number
}

const never = -1 << 31

// gatheredKey says what was gathered. Two of one key are the same.
type gatheredKey struct {
	client  inventory.ClientID
	site    int64
	instant string // empty for now
	siteKey
}

// siteKey tells states of a site apart. While nothing is touched, all is as the
// run or the edit left it that made the revision.
type siteKey struct {
	generation, revision int64
	touched              string
}

type siteKeys map[int64]siteKey

// How much is kept: of one site two states, for those who still read the one
// before; and of all sites so many trees, but for the latest.
const (
	statesKept  = 2
	treesKept   = 4_000_000
	stateKeys   = 16
	movesKept   = 256
	mostToMend  = 20_000
	noTouchings = "0/"
)

// noteState remembers what a state of the inventory is at each site.
func (g *gatheredTrees) noteState(client inventory.ClientID, state string, keys siteKeys) {
	g.mu.Lock()
	defer g.mu.Unlock()
	name := stateName(client, state)
	if _, ok := g.keys[name]; ok {
		return
	}
	if g.keys == nil {
		g.keys = make(map[string]siteKeys)
	}
	g.keys[name] = keys
	if g.states = append(g.states, name); len(g.states) > stateKeys {
		delete(g.keys, g.states[0])
		g.states = slices.Clone(g.states[1:])
	}
}

func stateName(client inventory.ClientID, state string) string {
	return strconv.Itoa(int(client)) + "/" + state
}

// keyOf is what is gathered of a site in a state. A state that is not remembered
// stands for itself.
func (g *gatheredTrees) keyOf(ctx context.Context, client inventory.ClientID, site siteState, state string) gatheredKey {
	g.mu.Lock()
	defer g.mu.Unlock()
	key := gatheredKey{client: client, site: site.ID}
	if at := instantOf(ctx); at.OK {
		key.instant = at.V.String()
	}
	known, ok := g.keys[stateName(client, state)]
	if ok && key.instant == "" {
		key.siteKey = known[site.ID]
		return key
	}
	key.siteKey = siteKey{site.Generation, site.Revision, state}
	return key
}

func (g *gatheredTrees) get(key gatheredKey) *gathered {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, s := range g.latest {
		if s.key == key {
			return s
		}
	}
	return nil
}

func (g *gatheredTrees) keep(made *gathered) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.latest = append(g.latest, made)
	trees, states := 0, make(map[int64]int)
	kept := []*gathered{}
	for _, s := range slices.Backward(g.latest) {
		states[s.key.site]++
		trees += len(s.trees)
		if len(kept) == 0 || states[s.key.site] <= statesKept && trees <= treesKept {
			kept = append(kept, s)
		}
	}
	slices.Reverse(kept)
	g.latest = kept
}

// gatheredOf returns all trees of a site in a state.
func (db *DB) gatheredOf(ctx context.Context, client inventory.ClientID, site siteState, state string) (*gathered, error) {
	g := &db.gathered
	key := g.keyOf(ctx, client, site, state)
	if s := g.get(key); s != nil {
		return s, nil
	}
	return alone(ctx, &g.asking, fmt.Sprint(key), func(ctx context.Context) (*gathered, error) {
		if s := g.get(key); s != nil {
			return s, nil
		}
		made, err := db.mended(ctx, key, site)
		if made == nil && err == nil {
			made, err = db.gather(ctx, key, site)
			g.mu.Lock()
			g.read++
			g.mu.Unlock()
		}
		if err != nil {
			return nil, err
		}
		g.keep(made)
		return made, nil
	})
}

// GatherTrees reads the trees of all sites into memory ahead of those who ask of a
// state, and puts them in order of harm.
func (db *DB) GatherTrees(ctx context.Context, client inventory.ClientID, state string) error {
	return db.withSites(ctx, client, false, func(sites siteStates) error {
		for _, site := range sites {
			if site.Generation == 0 {
				continue // nothing of it is asked before its first run
			}
			g, err := db.gatheredOf(ctx, client, site, state)
			if err != nil {
				return err
			}
			g.sorted(treeOrders["harm_index"])
		}
		return nil
	})
}

// alone makes what several may ask for at a time. Who asks first may go, and the
// others still wait.
func alone[T any](ctx context.Context, g *singleflight.Group, key string, make func(context.Context) (T, error)) (made T, err error) {
	done := g.DoChan(key, func() (_ any, err error) {
		defer inventory.Recover(&err)
		return make(context.WithoutCancel(ctx))
	})
	select {
	case result := <-done:
		if result.Err != nil {
			return made, result.Err
		}
		return result.Val.(T), nil
	case <-ctx.Done():
		return made, ctx.Err()
	}
}

// inPlaces puts trees in the order of their places.
func inPlaces(key gatheredKey, trees tiling.Gathered, more []treeMore, tags []byte) *gathered {
	g := &gathered{key: key, tags: tags, trees: make(tiling.Gathered, len(trees)), more: make([]treeMore, len(trees))}
	for to, from := range trees.Order() {
		g.trees[to], g.more[to] = trees[from], more[from]
	}
	g.byID = newIDIndex(len(g.trees), func(i int) int64 { return g.trees[i].ID })
	return g
}

// tag is a tree's tag; nil for none.
func (g *gathered) tag(at int32) []byte {
	m := &g.more[at]
	if m.tagAt > m.tagEnd {
		return nil
	}
	return g.tags[m.tagAt:m.tagEnd:m.tagEnd]
}

// addTag puts a tag at the end of tags.
func (m *treeMore) addTag(tags, tag []byte) []byte {
	if tag == nil {
		m.tagAt, m.tagEnd = 1, 0
		return tags
	}
	m.tagAt, m.tagEnd = uint32(len(tags)), uint32(len(tags)+len(tag))
	return append(tags, tag...)
}

// idIndex finds the place of an id: by a table where the ids are close together,
// as those that a sequence gave are, else by a map.
type idIndex struct {
	first int64
	table []int32 // one more than the place
	far   map[int64]int32
}

func newIDIndex(n int, id func(int) int64) (x idIndex) {
	if n == 0 {
		return x
	}
	least, most := id(0), id(0)
	for i := range n {
		least, most = min(least, id(i)), max(most, id(i))
	}
	if width := uint64(most-least) + 1; width <= 4*uint64(n)+1024 {
		x.first, x.table = least, make([]int32, width)
		for i := range n {
			x.table[id(i)-least] = int32(i) + 1
		}
		return x
	}
	x.far = make(map[int64]int32, n)
	for i := range n {
		x.far[id(i)] = int32(i)
	}
	return x
}

func (x *idIndex) find(id int64) (at int32, ok bool) {
	if x.far != nil {
		at, ok = x.far[id]
		return at, ok
	}
	if off := id - x.first; off >= 0 && off < int64(len(x.table)) && x.table[off] > 0 {
		return x.table[off] - 1, true
	}
	return 0, false
}
