package postgres

import (
	"context"
	"math/bits"
	"slices"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/singleflight"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/tiling"
)

// treeSet is some of the trees of a site, a bit each in the order of their places.
type treeSet struct {
	bits []uint64
	n    int
}

func (s *treeSet) has(at int32) bool { return s.bits[at>>6]&(1<<(at&63)) != 0 }

// matchCache keeps which trees filters hold for.
type matchCache struct {
	mu     sync.Mutex
	sets   map[string]*treeSet
	lately []string // the latest last
	asking singleflight.Group
}

// matchesKept is how many filters are remembered of a state, a bit for each tree.
const matchesKept = 40

func (c *matchCache) get(text string) *treeSet {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.sets[text]
}

func (c *matchCache) keep(text string, s *treeSet) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.sets == nil {
		c.sets = make(map[string]*treeSet)
	}
	c.sets[text] = s
	if c.lately = append(c.lately, text); len(c.lately) > matchesKept {
		delete(c.sets, c.lately[0])
		c.lately = slices.Clone(c.lately[1:])
	}
}

// matching returns the trees that a filter holds for.
func (db *DB) matching(ctx context.Context, g *gathered, site siteState, e filter.Expr) (*treeSet, error) {
	text := ""
	if e != nil {
		text = filter.Text(e)
	}
	if s := g.matches.get(text); s != nil {
		return s, nil
	}
	return alone(ctx, &g.matches.asking, text, func(ctx context.Context) (*treeSet, error) {
		if s := g.matches.get(text); s != nil {
			return s, nil
		}
		var tests []treeTest
		var rest []filter.Expr
		for _, part := range conjunction(e, nil) {
			if test := treeTestOf(part); test != nil {
				tests = append(tests, test)
			} else {
				rest = append(rest, part)
			}
		}
		s := &treeSet{bits: make([]uint64, (len(g.trees)+63)/64)}
		if len(rest) > 0 {
			if err := db.findMatching(ctx, g, site, filter.And(rest...), s); err != nil {
				return nil, err
			}
		} else {
			for i := range g.trees {
				s.bits[i>>6] |= 1 << (i & 63)
			}
		}
		for at, word := range s.bits {
			for left := word; left != 0; left &= left - 1 {
				i := at<<6 + bits.TrailingZeros64(left)
				for _, test := range tests {
					if !test(&g.trees[i], &g.more[i]) {
						word &^= 1 << (i & 63)
						break
					}
				}
			}
			s.bits[at] = word
			s.n += bits.OnesCount64(word)
		}
		g.matches.keep(text, s)
		return s, nil
	})
}

// findMatching lets the database say which trees the parts of a filter hold for
// that ask of what is not gathered.
func (db *DB) findMatching(ctx context.Context, g *gathered, site siteState, e filter.Expr, into *treeSet) error {
	c, err := inventory.GetCollection("trees")
	if err != nil {
		return err
	}
	q := inventory.FeatureQuery{Client: g.key.client, Collection: c, Filter: e, Pick: make([]bool, len(c.Properties))}
	f, err := newFeatureSQL(ctx, q, siteStates{site})
	if err != nil {
		return err
	}
	where, err := f.where()
	if err != nil {
		return err
	}
	where += " AND t.site_id = " + f.arg(site.ID)
	f.text.WriteString("SELECT t.tree_id" + f.from() + where)
	return db.ask(ctx, f.adHoc(), f.text.String(), f.args, func(rows pgx.Rows) error {
		for rows.Next() {
			if at, ok := g.byID.find(integer(rows.RawValues()[0])); ok {
				into.bits[at>>6] |= 1 << (at & 63)
			}
		}
		return rows.Err()
	})
}

// treeTest reports whether a condition is true of a tree; false where it is false
// or not known.
type treeTest func(p *tiling.Placed, m *treeMore) bool

// treeTestOf makes a test of a condition that asks of what is gathered, as
// compileFilter has it in SQL; nil where it asks of anything else.
func treeTestOf(e filter.Expr) treeTest {
	op, ok := e.(*filter.Op)
	if !ok || len(op.Args) == 0 {
		return nil
	}
	if op.Name == "or" || op.Name == "and" {
		return joinedTest(op)
	}
	p, ok := op.Args[0].(*filter.Property)
	if !ok {
		return nil
	}
	switch {
	case op.Name == "isNull":
		return nullTests[p.Name]
	case len(op.Args) != 2:
		return nil
	case op.Name == "=" || op.Name == "in":
		if test := wordTest(p.Name, op.Args[1]); test != nil {
			return test
		}
	case p.Name == "over" || p.Name == "cut_kinds":
		return setTest(op.Name, p.Name, op.Args[1])
	case op.Name == "s_intersects" && p.Name == inventory.GeometryProperty:
		return boxTest(op.Args[1])
	}
	return figureTest(op.Name, p.Name, op.Args[1])
}

// joinedTest is true of AND where all parts are true, of OR where one is: what is
// not known of the others does not matter to that.
func joinedTest(op *filter.Op) treeTest {
	tests := make([]treeTest, len(op.Args))
	for i, a := range op.Args {
		if tests[i] = treeTestOf(a); tests[i] == nil {
			return nil
		}
	}
	any := op.Name == "or"
	return func(p *tiling.Placed, m *treeMore) bool {
		for _, test := range tests {
			if test(p, m) == any {
				return any
			}
		}
		return !any
	}
}

var nullTests = map[string]treeTest{
	"last_visit":        func(_ *tiling.Placed, m *treeMore) bool { return m.visited == never },
	"last_topped":       func(_ *tiling.Placed, m *treeMore) bool { return m.topped == 0 },
	"rating":            func(p *tiling.Placed, _ *treeMore) bool { return !p.Rated || ratingWords[p.Rating] == "" },
	"harm_index":        func(p *tiling.Placed, _ *treeMore) bool { return !p.Rated },
	"person_hours_year": func(p *tiling.Placed, _ *treeMore) bool { return !p.Rated },
}

// wordTest is that a word is one of some.
func wordTest(property string, e filter.Expr) treeTest {
	words := []string{}
	switch e := e.(type) {
	case *filter.String:
		words = append(words, e.Value)
	case *filter.Array:
		var ok bool
		if words, ok = textsOf(e); !ok {
			return nil
		}
	default:
		return nil
	}
	all := texts(inventory.TreeStatuses)
	if property == "rating" {
		all = ratingWords
	} else if property != "status" {
		return nil
	}
	var wanted [256]bool
	for i, w := range all {
		wanted[i] = w != "" && slices.Contains(words, w)
	}
	if property == "rating" {
		return func(p *tiling.Placed, _ *treeMore) bool { return p.Rated && wanted[p.Rating] }
	}
	return func(_ *tiling.Placed, m *treeMore) bool { return wanted[m.status] }
}

// setTest compares a set of words with literal ones. What is over is not known of
// a tree that is not rated.
func setTest(op, property string, e filter.Expr) treeTest {
	list, ok := e.(*filter.Array)
	if !ok {
		return nil
	}
	words, ok := textsOf(list)
	if !ok {
		return nil
	}
	known := cutWords
	if property == "over" {
		known = targetWords
	}
	var set uint32
	strange := false
	for _, w := range words {
		if i := slices.Index(known, w); i >= 0 {
			set |= 1 << i
		} else {
			strange = true
		}
	}
	var test func(uint32) bool
	switch op {
	case "a_overlaps":
		test = func(has uint32) bool { return has&set != 0 }
	case "a_contains":
		test = func(has uint32) bool { return !strange && has&set == set }
	default:
		return nil
	}
	if property == "over" {
		return func(p *tiling.Placed, m *treeMore) bool { return p.Rated && test(m.over) }
	}
	return func(_ *tiling.Placed, m *treeMore) bool { return test(m.cutKinds) }
}

// boxTest is that a place is in a box of longitudes and latitudes, or on its side.
func boxTest(e filter.Expr) treeTest {
	b, ok := e.(*filter.BBox)
	if !ok || len(b.Numbers) != 4 || b.SRID != 0 && b.SRID != wgs84 {
		return nil
	}
	w, s, east, n := b.Numbers[0], b.Numbers[1], b.Numbers[2], b.Numbers[3]
	if w >= east || s >= n {
		return nil
	}
	return func(_ *tiling.Placed, m *treeMore) bool {
		return m.lon >= w && m.lon <= east && m.lat >= s && m.lat <= n
	}
}

// figureTest compares a year or a day with a literal one.
func figureTest(op, property string, e filter.Expr) treeTest {
	compare := map[string]func(a, b float64) bool{
		"=": func(a, b float64) bool { return a == b }, "<>": func(a, b float64) bool { return a != b },
		"<": func(a, b float64) bool { return a < b }, "<=": func(a, b float64) bool { return a <= b },
		">": func(a, b float64) bool { return a > b }, ">=": func(a, b float64) bool { return a >= b },
	}[op]
	if compare == nil {
		return nil
	}
	switch v := e.(type) {
	case *filter.Number:
		if property == "last_topped" {
			return func(_ *tiling.Placed, m *treeMore) bool { return m.topped != 0 && compare(float64(m.topped), v.Value) }
		}
	case *filter.Date:
		if property == "last_visit" {
			day := float64(v.Value.Sub(epoch2000) / (24 * time.Hour))
			return func(_ *tiling.Placed, m *treeMore) bool {
				return m.visited != never && compare(float64(m.visited), day)
			}
		}
	}
	return nil
}
