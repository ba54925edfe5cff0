package programme

import (
	"container/heap"
	"context"
	"math"
	"slices"
)

// A second bound for small cases, where few visits fill a year and the bound by
// prices is far off: instead of the budgets, it is given up that a candidate has
// one start and that the visits of a start go together. Each year is then a
// knapsack with set-ups of its own, solved exactly (knapsack.go), and what binds
// the years is paid for: a charge for each candidate, and for starts with several
// visits how their worth is split among these. This relaxation is at least as near
// as the one by prices, for its parts have no easy fractional optimum (Fisher,
// Jaikumar and Van Wassenhove 1986). Charges are found by subgradient steps.

// How hard the second search tries.
const (
	yearlyMost  = 120  // candidates up to which it is tried
	yearlyWork  = 1e8  // entries of knapsacks that it may go through
	yearlyRoot  = 400  // steps at the beginning
	yearlySteps = 40   // steps in a node
	yearlyEnd   = 1e-9 // of the best: what is not worth looking for
)

// yearly is the second search under way.
type yearly struct {
	m     *model
	price []float64
	best  *state
	must  []bool
	sack  knapsack
	open  charges
	count int
}

// charged is a node: what is decided, and the charges that bound it.
type charged struct {
	fixed  []int32 // by place: an option, none, or undecided
	off    []bool  // by option
	charge []float64
	part   []float64 // by use: of the option's worth, the part of that visit
	bound  float64
	share  []float64 // by option: how far it is chosen at the charges
	serial int
}

// undecided is a place whose option is open.
const undecided = int32(-2)

type charges []*charged

func (h charges) Len() int { return len(h) }
func (h charges) Less(i, j int) bool {
	if h[i].bound != h[j].bound {
		return h[i].bound > h[j].bound
	}
	return h[i].serial < h[j].serial
}
func (h charges) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h *charges) Push(x any)   { *h = append(*h, x.(*charged)) }
func (h *charges) Pop() any {
	last := (*h)[len(*h)-1]
	*h = (*h)[:len(*h)-1]
	return last
}

// searchYearly is branch and bound by the second bound. It returns the best
// programme, the bound, and whether that is the same.
func (m *model) searchYearly(ctx context.Context, s *state, must []bool, price []float64, bound float64) (*state, float64, bool, error) {
	r := &yearly{m: m, price: price, best: s, must: must, sack: knapsack{setUp: m.setUp}}
	next := r.root()
	r.bound(next, yearlyRoot)
	next.bound = min(next.bound, bound)
	r.reduce(next)
	for {
		if err := ctx.Err(); err != nil {
			return nil, 0, false, err
		}
		if next == nil || r.hopeless(next.bound) {
			if len(r.open) == 0 || r.hopeless(r.open[0].bound) {
				return r.best, r.best.total(), true, nil
			}
			next = heap.Pop(&r.open).(*charged)
		}
		if r.sack.work > yearlyWork {
			highest := next.bound
			if len(r.open) > 0 {
				highest = max(highest, r.open[0].bound)
			}
			return r.best, min(bound, highest), false, nil
		}
		next = r.branch(next)
	}
}

func (r *yearly) hopeless(bound float64) bool { return bound <= r.best.value*(1+yearlyEnd) }

// root begins at what the prices of the budgets leave to each candidate.
func (r *yearly) root() *charged {
	m := r.m
	n := &charged{fixed: make([]int32, len(m.order)), off: make([]bool, len(m.opts)), charge: make([]float64, len(m.order)), part: make([]float64, len(m.uses)), bound: math.Inf(1)}
	for k := range m.order {
		n.fixed[k] = undecided
		if m.left[k] || m.first[k] == m.first[k+1] {
			n.fixed[k] = none
		}
		for o := m.first[k]; o < m.first[k+1]; o++ {
			worth := m.priced(&m.opts[o], r.price)
			n.charge[k] = max(n.charge[k], worth)
			uses := m.uses[m.opts[o].from:m.opts[o].to]
			for i, u := range uses {
				n.part[int(m.opts[o].from)+i] = r.price[u.year]*u.amount + worth/float64(len(uses))
			}
		}
	}
	return n
}

// reduce rules out, at the root, the options that would bring the bound to or below
// the best programme: each is tried as if it were chosen.
func (r *yearly) reduce(n *charged) {
	m := r.m
	share, chosen := make([]float64, len(m.opts)), make([]float64, len(m.uses))
	for k := range m.order {
		for o := m.first[k]; o < m.first[k+1] && n.fixed[k] == undecided; o++ {
			n.fixed[k] = o
			n.off[o] = n.off[o] || r.hopeless(r.value(n, share, chosen))
			n.fixed[k] = undecided
		}
		if n.fixed[k] == undecided && !r.must[k] {
			n.fixed[k] = none
			if !r.hopeless(r.value(n, share, chosen)) {
				n.fixed[k] = undecided
				continue
			}
			n.fixed[k] = undecided
			if left := r.alive(n, k); len(left) == 1 {
				n.fixed[k] = left[0]
			}
		}
	}
}

// alive lists the options that a node leaves to a candidate.
func (r *yearly) alive(n *charged, k int) (list []int32) {
	for o := r.m.first[k]; o < r.m.first[k+1]; o++ {
		if !n.off[o] {
			list = append(list, o)
		}
	}
	return list
}

// branch decides the candidate that the years agree on least: each of its options,
// or none. It keeps all but the best for later and returns that.
func (r *yearly) branch(n *charged) *charged {
	place, most := -1, -1.0
	for k, o := range n.fixed {
		if o != undecided {
			continue
		}
		sum, spread := 0.0, 0.0
		for o := r.m.first[k]; o < r.m.first[k+1]; o++ {
			sum += n.share[o]
			spread += min(n.share[o], max(0, 1-n.share[o]))
		}
		if off := (math.Abs(1-sum) + spread) * max(math.Abs(n.charge[k]), 1e-300); off > most {
			place, most = k, off
		}
	}
	if place < 0 {
		return nil // all is decided: it is the best by now, or no better
	}
	choices := r.alive(n, place)
	if !r.must[place] {
		choices = append(choices, none)
	}
	var better *charged
	for _, o := range choices {
		r.count++
		c := &charged{fixed: slices.Clone(n.fixed), off: n.off, charge: slices.Clone(n.charge), part: slices.Clone(n.part), bound: n.bound, serial: r.count}
		c.fixed[place] = o
		r.bound(c, yearlySteps)
		if r.hopeless(c.bound) {
			continue
		}
		if better != nil && c.bound > better.bound {
			c, better = better, c
		}
		if better == nil {
			better = c
		} else {
			heap.Push(&r.open, c)
		}
	}
	return better
}
