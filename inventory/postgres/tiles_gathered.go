package postgres

import (
	"context"
	"strconv"
	"sync"

	"golang.org/x/sync/singleflight"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/tiling"
)

// gatheredTrees keeps what the tiles of low levels are made from, for the latest
// states that were asked for: one look through all trees serves all of those
// tiles.
type gatheredTrees struct {
	mu     sync.Mutex
	latest []gatheredState // the latest last
	asking singleflight.Group
}

type gatheredState struct {
	key   string
	trees tiling.Gathered
}

// gatheredKept is how many states are kept, 40 bytes a tree each. A state is of
// one site or of all, as it stands or as it stood.
const gatheredKept = 2

func (g *gatheredTrees) get(key string) (tiling.Gathered, bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	for _, s := range g.latest {
		if s.key == key {
			return s.trees, true
		}
	}
	return nil, false
}

func (g *gatheredTrees) keep(key string, trees tiling.Gathered) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.latest = append(g.latest, gatheredState{key, trees})
	if len(g.latest) > gatheredKept {
		g.latest = append([]gatheredState(nil), g.latest[1:]...)
	}
}

// gathered returns all trees of the query's site or client, in order.
func (r *tileReader) gathered() (tiling.Gathered, error) {
	g := &r.db.gathered
	key := strconv.Itoa(int(r.query.Client)) + "/" + strconv.FormatInt(int64(r.query.Site.V), 10) + "/" + r.query.State
	if trees, ok := g.get(key); ok {
		return trees, nil
	}
	done := g.asking.DoChan(key, func() (_ any, err error) {
		defer inventory.Recover(&err)
		if trees, ok := g.get(key); ok {
			return trees, nil
		}
		all := *r // who asks first may go, and the others still wait
		all.ctx = context.WithoutCancel(r.ctx)
		var trees tiling.Gathered
		if err := all.placed(tileRows{anywhere: true}, func(p *tiling.Placed) { trees = append(trees, *p) }); err != nil {
			return nil, err
		}
		trees.Sort()
		g.keep(key, trees)
		return trees, nil
	})
	select {
	case result := <-done:
		if result.Err != nil {
			return nil, result.Err
		}
		return result.Val.(tiling.Gathered), nil
	case <-r.ctx.Done():
		return nil, r.ctx.Err()
	}
}
