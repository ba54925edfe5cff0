package programme

import (
	"math"
	"slices"
)

// value is the bound at a node's charges. It notes in share how far each option is
// chosen, and in part how far each of its visits is.
func (r *yearly) value(n *charged, share, chosen []float64) float64 {
	m := r.m
	clear(share)
	clear(chosen)
	total := 0.0
	var paid [MaxYears][]bool
	var used [MaxYears]float64
	for y := range m.years {
		paid[y] = make([]bool, len(m.runs))
	}
	for k, o := range n.fixed {
		switch {
		case o == undecided:
			total += n.charge[k]
		case o != none:
			total += m.opts[o].value
			share[o] = 1
			for _, u := range m.uses[m.opts[o].from:m.opts[o].to] {
				used[u.year] += u.amount
				if g := m.group[k]; !paid[u.year][g] {
					paid[u.year][g] = true
					used[u.year] += m.setUp
				}
			}
		}
	}
	for y := range m.years {
		if !within(used[y], m.budget[y]) {
			return math.Inf(-1)
		}
		s := &r.sack
		s.room, s.items = max(0, m.budget[y]+1e-9*(1+m.budget[y])-used[y]), s.items[:0]
		for k, o := range n.fixed {
			if o != undecided {
				continue
			}
			for o := m.first[k]; o < m.first[k+1]; o++ {
				if n.off[o] || m.opts[o].mask>>y&1 == 0 {
					continue
				}
				visits := float64(m.opts[o].to - m.opts[o].from)
				for i := m.opts[o].from; i < m.opts[o].to; i++ {
					if worth := n.part[i] - n.charge[k]/visits; int(m.uses[i].year) == y && worth > 0 && m.uses[i].amount <= s.room {
						s.items = append(s.items, item{m.group[k], int32(k), i, m.uses[i].amount, worth})
					}
				}
			}
		}
		worth, list := s.solve(func(g int32) bool { return paid[y][g] })
		total += worth
		for _, i := range list {
			chosen[i] = 1
		}
	}
	for k, o := range n.fixed {
		if o != undecided {
			continue
		}
		for o := m.first[k]; o < m.first[k+1]; o++ {
			for i := m.opts[o].from; i < m.opts[o].to; i++ {
				share[o] += chosen[i] / float64(m.opts[o].to-m.opts[o].from)
			}
		}
	}
	return total
}

// bound brings the bound of a node down by so many steps (Polyak's step to the best
// programme so far), and makes programmes of what the years choose.
func (r *yearly) bound(n *charged, steps int) {
	m := r.m
	share, chosen := make([]float64, len(m.opts)), make([]float64, len(m.uses))
	at := &charged{fixed: n.fixed, off: n.off, charge: slices.Clone(n.charge), part: slices.Clone(n.part)}
	low, pace, idle := math.Inf(1), 1.0, 0
	n.share = make([]float64, len(m.opts))
	turn, bend := make([]float64, len(m.order)), make([]float64, len(m.uses))
	for step := range steps {
		value := r.value(at, share, chosen)
		if value < low {
			if value < low-1e-4*math.Abs(low) {
				idle = 0
			}
			low = value
			copy(n.charge, at.charge)
			copy(n.part, at.part)
			copy(n.share, share)
		}
		if low = min(low, value); r.hopeless(low) {
			break
		}
		if idle++; idle > 8 {
			pace, idle = pace/2, 0
			copy(at.charge, n.charge)
			copy(at.part, n.part)
		}
		if step%20 == 5 {
			r.round(share)
		}
		if square := r.slopes(at, share, chosen, turn, bend); square > 0 {
			length := pace * max(value-r.best.value, 1e-9*value) / square
			for k := range turn {
				at.charge[k] -= length * turn[k]
				if at.charge[k] < 0 && !r.must[k] {
					at.charge[k] = 0
				}
			}
			for i := range bend {
				at.part[i] -= length * bend[i]
			}
		} else {
			break
		}
	}
	n.bound = min(n.bound, low)
	r.round(n.share)
}

// slopes are those of the bound in the charges and parts; it returns the square of
// their length.
func (r *yearly) slopes(n *charged, share, chosen, turn, bend []float64) float64 {
	m, square := r.m, 0.0
	clear(turn)
	clear(bend)
	for k, o := range n.fixed {
		if o != undecided {
			continue
		}
		turn[k] = 1
		for o := m.first[k]; o < m.first[k+1]; o++ {
			turn[k] -= share[o]
			if m.opts[o].to-m.opts[o].from > 1 {
				for i := m.opts[o].from; i < m.opts[o].to; i++ {
					bend[i] = chosen[i] - share[o]
					square += bend[i] * bend[i]
				}
			}
		}
		if turn[k] > 0 && n.charge[k] <= 0 && !r.must[k] {
			turn[k] = 0
		}
		square += turn[k] * turn[k]
	}
	return square
}

// round makes a programme of the options that are chosen most.
func (r *yearly) round(share []float64) {
	m := r.m
	choice := make([]int32, len(m.order))
	for k := range choice {
		choice[k] = none
		top := 0.0
		for o := m.first[k]; o < m.first[k+1] && !m.left[k]; o++ {
			if share[o] > top {
				top, choice[k] = share[o], o
			}
		}
		if r.must[k] && choice[k] == none {
			choice[k] = r.best.choice[k]
		}
	}
	t := m.repair(choice, r.price, r.best)
	t.shiftYears()
	t.fill(r.price)
	if t.value > r.best.value*(1+1e-12) {
		t.improve(r.price)
		r.best = t
	}
}
