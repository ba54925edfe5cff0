package programme

import (
	"container/heap"
	"context"
	"math"
	"slices"
)

// node is a part of the search: what is still open, and the bound of that.
type node struct {
	view   *view
	price  []float64
	step   float64
	bound  float64
	cuts   []cut
	serial int
}

type nodes []*node

func (h nodes) Len() int { return len(h) }
func (h nodes) Less(i, j int) bool {
	if h[i].bound != h[j].bound {
		return h[i].bound > h[j].bound
	}
	return h[i].serial < h[j].serial
}
func (h nodes) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h *nodes) Push(x any)   { *h = append(*h, x.(*node)) }
func (h *nodes) Pop() any {
	last := (*h)[len(*h)-1]
	*h = (*h)[:len(*h)-1]
	return last
}

// decision splits a node in two: a group's year is worked in or not, or an option
// is chosen or not.
type decision struct {
	group, year int   // group is -1 for an option
	place       int   // of the option's candidate
	opt         int32 // option
}

// search is a branch and bound under way.
type search struct {
	m      *model
	best   *state
	open   nodes
	serial int
}

// search is branch and bound: each node is bounded by the relaxation at prices of
// its own, and split where the mix of choices that makes the bound is least
// decided. It goes down the better branch to its end and then on from the node
// with the highest bound. It returns the best programme, the bound on what no
// programme can exceed, and whether that is the same.
func (m *model) search(ctx context.Context, s *state, v *view, price []float64, bound float64, limit int) (*state, float64, bool, error) {
	root := &view{forced: slices.Clone(v.forced), off: make([]bool, len(m.opts)), open: make([]uint16, len(m.runs))}
	r := &search{m: m, best: s}
	// A node values a group anew, over all sets of years, about once an option.
	work := (len(m.opts) + 30*len(m.runs)) * (m.years + 5) << m.years
	most := min(limit, searchWork/work)
	next, err := r.bound(ctx, root, &node{price: price, bound: bound}, nil)
	for n := 0; err == nil; n++ {
		if next == nil || r.hopeless(next.bound) {
			if r.open.Len() == 0 || r.hopeless(r.open[0].bound) {
				return r.best, r.best.total(), true, nil
			}
			next = heap.Pop(&r.open).(*node)
		}
		if n >= most {
			highest := next.bound
			if r.open.Len() > 0 {
				highest = max(highest, r.open[0].bound)
			}
			return r.best, min(bound, highest), false, nil
		}
		next, err = r.branch(ctx, next)
	}
	return nil, 0, false, err
}

// hopeless reports whether a bound leaves nothing better to be found.
func (r *search) hopeless(bound float64) bool { return bound <= r.best.total()*(1+1e-12) }

// branch splits a node, keeps the worse half for later and returns the better; nil
// where neither is worth going on with.
func (r *search) branch(ctx context.Context, n *node) (*node, error) {
	d, decided := r.m.split(n)
	if decided {
		return nil, nil // its one programme is no better: else it were the best by now
	}
	var better *node
	for _, yes := range []bool{true, false} {
		v, cuts := r.m.child(n, d, yes)
		if v == nil {
			continue
		}
		half, err := r.bound(ctx, v, n, cuts)
		if err != nil {
			return nil, err
		}
		if half != nil && better != nil && half.bound > better.bound {
			half, better = better, half
		}
		if better == nil {
			better = half
		} else if half != nil {
			heap.Push(&r.open, half)
		}
	}
	return better, nil
}

// bound brings the bound of a part of a node down, makes programmes on the way,
// and returns it as a node, nil where it holds nothing better.
func (r *search) bound(ctx context.Context, v *view, from *node, cuts []cut) (*node, error) {
	m := r.m
	b := newBundle(m, v, from.price, nil)
	b.cuts = append(slices.Clone(cuts), b.cuts...)
	if from.step > 0 {
		b.step = from.step
	}
	if err := b.run(ctx, 15, 1e-7*math.Abs(b.best.value), r.best.total()); err != nil {
		return nil, err
	}
	if r.hopeless(b.best.value) {
		return nil, nil
	}
	for _, choice := range [][]int32{b.best.choice, b.mixed()} {
		t := m.repair(choice, b.centre, r.best)
		if r.serial < 20 || r.serial%10 == 0 || t.value > r.best.value {
			t.improve(b.centre)
		}
		if t.value > r.best.value*(1+1e-12) {
			r.best = t
		}
	}
	at := min(from.bound, b.best.value)
	if r.hopeless(at) {
		return nil, nil
	}
	m.narrow(v, b.centre, b.best.value, r.best.total())
	r.serial++
	return &node{v, b.centre, b.step, at, b.cuts, r.serial}, nil
}

// child narrows a node by a decision, and keeps the planes that still hold. It
// returns nil where nothing is left of it.
func (m *model) child(n *node, d decision, yes bool) (*view, []cut) {
	v := &view{forced: n.view.forced, off: slices.Clone(n.view.off), open: n.view.open}
	switch {
	case d.group < 0 && yes:
		v.forced = slices.Clone(v.forced)
		v.forced[d.place] = true
		for o := m.first[d.place]; o < m.first[d.place+1]; o++ {
			v.off[o] = v.off[o] || o != d.opt
		}
	case d.group < 0:
		v.off[d.opt] = true
	case yes:
		v.open = slices.Clone(v.open)
		v.open[d.group] |= 1 << d.year
	default:
		m.closeYear(v, d.group, d.year)
	}
	if v.forced[d.place] && d.group < 0 && !slices.Contains(v.off[m.first[d.place]:m.first[d.place+1]], false) {
		return nil, nil
	}
	return v, m.agreeing(n.cuts, v)
}

// works reports whether a choice works in a group in a year.
func (m *model) works(choice []int32, g, y int) bool {
	for k := m.runs[g][0]; k < m.runs[g][1]; k++ {
		if o := choice[k]; o != none && m.opts[o].mask>>y&1 == 1 {
			return true
		}
	}
	return false
}

// split finds what to decide next: the group's year, else the option, that is
// nearest to half and half in the mix of choices; else the first that is open.
// It reports true where all is decided.
func (m *model) split(n *node) (decision, bool) {
	found, nearest := decision{group: -1, opt: none}, 0.48
	if m.setUp > 0 {
		for g := range m.runs {
			for y := range m.years {
				share := 0.0
				for i := range n.cuts {
					if w := n.cuts[i].weight; w > 0 && m.works(n.cuts[i].choice, g, y) {
						share += w
					}
				}
				if off := math.Abs(share - 0.5); off < nearest && n.view.open[g]>>y&1 == 0 && m.mayWork(n.view, g, y) {
					nearest, found = off, decision{group: g, year: y}
				}
			}
		}
		if found.group >= 0 {
			return found, false
		}
	}
	first := found
	nearest = 0.5 - 1e-9
	share := make([]float64, len(m.opts))
	for i := range n.cuts {
		for _, o := range n.cuts[i].choice {
			if o != none {
				share[o] += n.cuts[i].weight
			}
		}
	}
	for k := range m.order {
		alive, only := m.alive(n.view, k)
		if alive == 0 || alive == 1 && n.view.forced[k] {
			continue
		}
		for o := m.first[k]; o < m.first[k+1]; o++ {
			if n.view.off[o] {
				continue
			}
			if off := math.Abs(share[o] - 0.5); off < nearest {
				nearest, found = off, decision{group: -1, place: k, opt: o}
			}
		}
		if first.opt == none {
			first = decision{group: -1, place: k, opt: only}
		}
	}
	if found.opt == none {
		found = first
	}
	return found, found.opt == none
}
