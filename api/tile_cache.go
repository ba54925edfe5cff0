package api

import (
	"bytes"
	"container/list"
	"context"
	"sync"

	"github.com/klauspost/compress/gzip"
	"golang.org/x/sync/singleflight"

	"github.com/underbough/underbough/inventory"
)

// tileCache keeps tiles as they are sent, up to a number of bytes, and forgets
// what was asked for least lately. Its keys hold the state of the inventory: what
// is out of date is never found again. Those who ask for the same tile at a time
// wait for one to be made.
type tileCache struct {
	most   int
	making singleflight.Group

	mu     sync.Mutex
	bytes  int
	tiles  map[string]*list.Element // of *keptTile
	lately *list.List               // the latest first
}

// keptTile is a tile, and its gzipped form once that has been asked for.
type keptTile struct {
	key   string
	plain []byte

	zipping sync.Once
	zipped  []byte
}

// gzipped returns the gzipped form.
func (t *keptTile) gzipped() []byte {
	t.zipping.Do(func() { t.zipped = zip(t.plain) })
	return t.zipped
}

// tileOverhead is about what the keeping of a tile takes beside its bytes.
const tileOverhead = 400

// size counts the gzipped form as if it were there: it takes half at most.
func (t *keptTile) size() int { return len(t.plain)*3/2 + len(t.key) + tileOverhead }

func newTileCache(most int) *tileCache {
	return &tileCache{most: most, tiles: make(map[string]*list.Element), lately: list.New()}
}

// get returns a tile that is kept; nil for none.
func (c *tileCache) get(key string) *keptTile {
	c.mu.Lock()
	defer c.mu.Unlock()
	e, ok := c.tiles[key]
	if !ok {
		return nil
	}
	c.lately.MoveToFront(e)
	return e.Value.(*keptTile)
}

// find returns a tile, made where it is not kept. Making goes on when who asked
// is gone: others may wait for it.
func (c *tileCache) find(ctx context.Context, key string, make func(context.Context) ([]byte, error)) (*keptTile, error) {
	if t := c.get(key); t != nil {
		return t, nil
	}
	done := c.making.DoChan(key, func() (_ any, err error) {
		defer inventory.Recover(&err)
		// It may have been made between the look and the call.
		if t := c.get(key); t != nil {
			return t, nil
		}
		plain, err := make(context.WithoutCancel(ctx))
		if err != nil {
			return nil, err
		}
		t := &keptTile{key: key, plain: plain}
		c.keep(t)
		return t, nil
	})
	select {
	case result := <-done:
		if result.Err != nil {
			return nil, result.Err
		}
		return result.Val.(*keptTile), nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (c *tileCache) keep(t *keptTile) {
	size := t.size()
	c.mu.Lock()
	defer c.mu.Unlock()
	// One that would push out most of the others is not worth keeping.
	if size > c.most/4 || c.tiles[t.key] != nil {
		return
	}
	c.tiles[t.key] = c.lately.PushFront(t)
	c.bytes += size
	for c.bytes > c.most {
		last := c.lately.Back()
		old := c.lately.Remove(last).(*keptTile)
		delete(c.tiles, old.key)
		c.bytes -= old.size()
	}
}

var zippers = sync.Pool{New: func() any { w, _ := gzip.NewWriterLevel(nil, gzip.DefaultCompression); return w }}

// zip compresses; the same bytes come out the same.
func zip(b []byte) []byte {
	var out bytes.Buffer
	w := zippers.Get().(*gzip.Writer)
	w.Reset(&out)
	w.Write(b) // into memory: it does not fail
	w.Close()
	zippers.Put(w)
	return out.Bytes()
}

// stateGate reads the inventory's state for many at once. Whoever asks gets a
// reading that began after the asking: what changed before a request is seen by
// it.
type stateGate struct {
	mu   sync.Mutex
	next *stateReading // one that has not begun
	busy bool
}

type stateReading struct {
	done  chan struct{}
	state string
	err   error
}

// read returns the state that read finds.
func (g *stateGate) read(ctx context.Context, read func(context.Context) (string, error)) (string, error) {
	g.mu.Lock()
	mine := g.next
	if mine == nil {
		mine = &stateReading{done: make(chan struct{})}
		g.next = mine
		if !g.busy {
			g.busy = true
			go g.run(context.WithoutCancel(ctx), read)
		}
	}
	g.mu.Unlock()
	select {
	case <-mine.done:
		return mine.state, mine.err
	case <-ctx.Done():
		return "", ctx.Err()
	}
}

// run reads until nobody waits.
func (g *stateGate) run(ctx context.Context, read func(context.Context) (string, error)) {
	for {
		g.mu.Lock()
		now := g.next
		g.next = nil
		if now == nil {
			g.busy = false
			g.mu.Unlock()
			return
		}
		g.mu.Unlock()
		now.take(ctx, read)
	}
}

// take reads, and tells those who wait.
func (r *stateReading) take(ctx context.Context, read func(context.Context) (string, error)) {
	defer close(r.done)
	defer inventory.Recover(&r.err)
	r.state, r.err = read(ctx)
}
