package programme

import "slices"

// narrow decides in a view what the bound decides: what would bring it to or below
// what is known to be possible is ruled out (fixing by reduced costs). A decision
// changes one group only, so only that is valued anew.
func (m *model) narrow(v *view, price []float64, bound, known float64) {
	v.forced, v.off, v.open = slices.Clone(v.forced), slices.Clone(v.off), slices.Clone(v.open)
	e := &evaluator{m: m, price: price, view: v, choice: make([]int32, len(m.order))}
	for g, run := range m.runs {
		value := e.group(g).value
		hopeless := func() bool { return bound-value+e.group(g).value <= known*(1+1e-12)-1e-12*bound }
		for k := run[0]; k < run[1]; k++ {
			if !m.left[k] {
				m.narrowCandidate(v, k, hopeless)
			}
		}
		if m.setUp > 0 {
			m.narrowYears(v, g, hopeless)
		}
	}
}

// narrowCandidate tries each option of a candidate, and none.
func (m *model) narrowCandidate(v *view, k int, hopeless func() bool) {
	off := v.off[m.first[k]:m.first[k+1]]
	was, forced := slices.Clone(off), v.forced[k]
	for o := range off {
		if was[o] {
			continue
		}
		v.forced[k] = true
		for other := range off {
			off[other] = other != o
		}
		bad := hopeless()
		v.forced[k] = forced
		copy(off, was)
		if bad {
			off[o], was[o] = true, true
		}
	}
	if forced || !slices.Contains(off, false) {
		return
	}
	for o := range off {
		off[o] = true
	}
	v.forced[k] = hopeless()
	copy(off, was)
}

// narrowYears tries each year of a group with and without work.
func (m *model) narrowYears(v *view, g int, hopeless func() bool) {
	from, to := m.first[m.runs[g][0]], m.first[m.runs[g][1]]
	for y := range m.years {
		bit := uint16(1) << y
		if v.open[g]&bit != 0 {
			continue
		}
		v.open[g] |= bit
		closed := hopeless()
		v.open[g] &^= bit
		was := slices.Clone(v.off[from:to])
		m.closeYear(v, g, y)
		if closed {
			continue
		}
		opened := hopeless()
		copy(v.off[from:to], was)
		if opened {
			v.open[g] |= bit
		}
	}
}

// closeYear rules out every option with a visit in a group's year.
func (m *model) closeYear(v *view, g, y int) {
	for o := m.first[m.runs[g][0]]; o < m.first[m.runs[g][1]]; o++ {
		v.off[o] = v.off[o] || m.opts[o].mask>>y&1 == 1
	}
}

// agreeing returns the planes whose choice a view still allows.
func (m *model) agreeing(cuts []cut, v *view) []cut {
	var kept []cut
	for _, c := range cuts {
		if m.allows(v, c.choice) {
			kept = append(kept, c)
		}
	}
	return kept
}

func (m *model) allows(v *view, choice []int32) bool {
	for k, o := range choice {
		if o == none && v.forced[k] || o != none && v.off[o] {
			return false
		}
	}
	for g, open := range v.open {
		for y := range m.years {
			if open>>y&1 == 1 && !m.works(choice, g, y) {
				return false
			}
		}
	}
	return true
}

// mayWork reports whether a view leaves any option with a visit in a group's year.
func (m *model) mayWork(v *view, g, y int) bool {
	for o := m.first[m.runs[g][0]]; o < m.first[m.runs[g][1]]; o++ {
		if !v.off[o] && m.opts[o].mask>>y&1 == 1 {
			return true
		}
	}
	return false
}

// alive counts the options of a candidate that a view leaves, and names the last.
func (m *model) alive(v *view, k int) (n int, last int32) {
	last = none
	for o := m.first[k]; o < m.first[k+1] && !m.left[k]; o++ {
		if !v.off[o] {
			n, last = n+1, o
		}
	}
	return n, last
}
