package programme

import (
	"cmp"
	"slices"
)

// state is a programme in the making: within the budget whenever only what has
// room is placed.
type state struct {
	m      *model
	choice []int32   // option by place, or none
	used   []float64 // by year, set-ups included
	worked []int32   // visits by group and year
	value  float64   // harm taken off
}

func (m *model) newState() *state {
	s := &state{m: m, choice: make([]int32, len(m.order)), used: make([]float64, m.years), worked: make([]int32, len(m.runs)*m.years)}
	for k := range s.choice {
		s.choice[k] = none
	}
	return s
}

func (s *state) clone() *state {
	c := *s
	c.choice, c.used, c.worked = slices.Clone(s.choice), slices.Clone(s.used), slices.Clone(s.worked)
	return &c
}

// total adds up the value anew in the order of places, free of what placing and
// taking out have left by rounding.
func (s *state) total() float64 {
	v := 0.0
	for _, o := range s.choice {
		if o != none {
			v += s.m.opts[o].value
		}
	}
	return v
}

func (s *state) place(k int, o int32) {
	m, g := s.m, int(s.m.group[k])*s.m.years
	s.choice[k] = o
	s.value += m.opts[o].value
	for _, u := range m.uses[m.opts[o].from:m.opts[o].to] {
		s.used[u.year] += u.amount
		if s.worked[g+int(u.year)]++; s.worked[g+int(u.year)] == 1 {
			s.used[u.year] += m.setUp
		}
	}
}

// remove takes a candidate out and returns the option that it had.
func (s *state) remove(k int) int32 {
	m, g, o := s.m, int(s.m.group[k])*s.m.years, s.choice[k]
	s.choice[k] = none
	s.value -= m.opts[o].value
	for _, u := range m.uses[m.opts[o].from:m.opts[o].to] {
		s.used[u.year] -= u.amount
		if s.worked[g+int(u.year)]--; s.worked[g+int(u.year)] == 0 {
			s.used[u.year] -= m.setUp
		}
	}
	return o
}

// room reports whether an option of a candidate that is not placed has room, and
// how many set-ups it would add.
func (s *state) room(k int, o int32) (fits bool, setUps int) {
	m, g := s.m, int(s.m.group[k])*s.m.years
	for _, u := range m.uses[m.opts[o].from:m.opts[o].to] {
		extra := u.amount
		if s.worked[g+int(u.year)] == 0 {
			extra += m.setUp
			setUps++
		}
		if !within(s.used[u.year]+extra, m.budget[u.year]) {
			return false, setUps
		}
	}
	return true, setUps
}

// over reports whether a year's budget is overdrawn.
func (s *state) over(y int) bool { return !within(s.used[y], s.m.budget[y]) }

// best returns the option with room that is worth most at the prices, set-ups
// included, or none. setUps limits how many it may add.
func (s *state) best(k int, price []float64, setUps int) int32 {
	m, found, top := s.m, none, 0.0
	for o := m.first[k]; o < m.first[k+1]; o++ {
		fits, n := s.room(k, o)
		if !fits || n > setUps {
			continue
		}
		worth := m.priced(&m.opts[o], price)
		if n > 0 {
			g := int(m.group[k]) * m.years
			for _, u := range m.uses[m.opts[o].from:m.opts[o].to] {
				if s.worked[g+int(u.year)] == 0 {
					worth -= price[u.year] * m.setUp
				}
			}
		}
		if found == none || worth > top {
			found, top = o, worth
		}
	}
	return found
}

// fill places what is not planned while there is room, most harm for the money
// first: at first only where the group is worked in anyway.
func (s *state) fill(price []float64) {
	for _, setUps := range []int{0, MaxYears} {
		for _, k := range s.waiting(price) {
			if o := s.best(k, price, setUps); o != none && s.m.opts[o].value > 0 {
				s.place(k, o)
			}
		}
	}
}

// waiting lists the candidates that are not planned by their worth for what they
// use, at the prices, best first.
func (s *state) waiting(price []float64) []int {
	m := s.m
	var list []int
	ratio := make([]float64, len(m.order))
	for k, o := range s.choice {
		if o != none || m.left[k] || m.first[k] == m.first[k+1] {
			continue
		}
		for o := m.first[k]; o < m.first[k+1]; o++ {
			value := m.opts[o].value
			ratio[k] = max(ratio[k], value/(value-m.priced(&m.opts[o], price)+1e-12*value+1e-300))
		}
		list = append(list, k)
	}
	slices.SortFunc(list, func(a, b int) int { return cmp.Or(cmp.Compare(ratio[b], ratio[a]), cmp.Compare(a, b)) })
	return list
}

// repair makes a programme of what the relaxation chose: what is least worth its
// use of an overdrawn year moves to another year or goes. Where what must be done
// overdraws a year by itself it begins at base instead, in which all of that has
// its place.
func (m *model) repair(choice []int32, price []float64, base *state) *state {
	s := m.newState()
	for k, o := range choice {
		if o != none && !m.left[k] {
			s.place(k, o)
		}
	}
	for y := range m.years {
		for _, movable := range []bool{false, true} {
			if s.over(y) {
				s.clear(y, price, movable)
			}
		}
	}
	for y := range m.years {
		if s.over(y) {
			s = base.clone()
			break
		}
	}
	s.fill(price)
	return s
}

// clear takes visits out of an overdrawn year until it is no longer; of the
// candidates that must be done, or of the others.
func (s *state) clear(y int, price []float64, forced bool) {
	m := s.m
	type entry struct {
		k     int
		ratio float64
	}
	var list []entry
	for k, o := range s.choice {
		if o == none || m.opts[o].mask>>y&1 == 0 || m.forced[k] != forced {
			continue
		}
		for _, u := range m.uses[m.opts[o].from:m.opts[o].to] {
			if int(u.year) == y && u.amount > 0 {
				list = append(list, entry{k, m.priced(&m.opts[o], price) / u.amount})
			}
		}
	}
	slices.SortStableFunc(list, func(a, b entry) int { return cmp.Compare(a.ratio, b.ratio) })
	for _, e := range list {
		if !s.over(y) {
			return
		}
		had := s.remove(e.k)
		if o := s.best(e.k, price, 0); o != none && (forced || m.priced(&m.opts[o], price) > 0) {
			s.place(e.k, o)
		} else if forced {
			if o := s.best(e.k, price, MaxYears); o != none {
				s.place(e.k, o)
			} else {
				s.place(e.k, had)
			}
		}
	}
}
