package api

import (
	"context"
	"net/http"
	"net/url"
	"sync"
)

// counts remembers how many features questions hold for, as long as nothing
// changes.
type counts struct {
	sync.Mutex
	state string
	known map[string]count
}

type count struct {
	n     int
	known bool
}

// maxCounts is how many are remembered of one state.
const maxCounts = 1000

// find returns a count that is remembered, or makes it.
func (c *counts) find(state, question string, count func() (int, bool, error)) (n int, known bool, err error) {
	c.Lock()
	kept, ok := c.known[question]
	ok = ok && c.state == state
	c.Unlock()
	if ok {
		return kept.n, kept.known, nil
	}
	if n, known, err = count(); err != nil {
		return 0, false, err
	}
	c.keep(state, question, n, known)
	return n, known, nil
}

func (c *counts) keep(state, question string, n int, known bool) {
	c.Lock()
	defer c.Unlock()
	if c.state != state || len(c.known) >= maxCounts {
		c.state, c.known = state, make(map[string]count)
	}
	c.known[question] = count{n, known}
}

// selection is what decides which features a request selects, whatever it wants
// of them.
func selection(r *http.Request) string {
	q := r.URL.Query()
	for _, name := range []string{"limit", "cursor", "f", "crs", "sortby", "properties"} {
		q.Del(name)
	}
	return (&url.URL{Path: r.URL.Path, RawQuery: q.Encode()}).String()
}

// matched counts the features that the whole query holds for, on its first
// page only: a walk through the pages need not count them each time.
func (s *Server) matched(ctx context.Context, p *page) (n int, known bool, err error) {
	switch {
	case p.query.After.OK:
		return 0, false, nil
	case !p.hits && !p.rest.OK:
		return p.returned, true, nil
	}
	// All of a collection is counted quickly, and asked for by every client that
	// opens it; some show nothing of one that does not say how much it holds.
	q, limit := &p.query, countLimit
	if p.hits || !q.Collection.Computed && q.Filter == nil && len(q.Boxes) == 0 && !q.During.OK {
		limit = 0
	}
	return s.counts.find(p.state+s.pastInstant(ctx), p.selection, func() (int, bool, error) {
		return s.features(ctx).Count(ctx, p.query, limit)
	})
}
