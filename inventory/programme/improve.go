package programme

// smallCase is the number of candidates up to which all pairs are tried.
const smallCase = 400

// improve moves to better programmes until none is near: candidates to a better
// year, one in for one out, and groups out of years in which little is done.
func (s *state) improve(price []float64) {
	for range 20 {
		before := s.value
		s.shiftYears()
		if len(s.choice) <= smallCase {
			s.swap(price)
			s.closeGroups(price)
		}
		s.fill(price)
		if s.value <= before*(1+1e-12) {
			return
		}
	}
}

// shiftYears moves each candidate to the year with room in which it takes off
// most.
func (s *state) shiftYears() {
	m := s.m
	for k, at := range s.choice {
		if at == none {
			continue
		}
		best := at
		s.remove(k)
		for o := m.first[k]; o < m.first[k+1]; o++ {
			if m.opts[o].value > m.opts[best].value {
				if fits, _ := s.room(k, o); fits {
					best = o
				}
			}
		}
		s.place(k, best)
	}
}

// swap puts a candidate in where one or two that take off less go out or to
// another year.
func (s *state) swap(price []float64) {
	m := s.m
	for _, k := range s.waiting(price) {
		for o := m.first[k]; o < m.first[k+1] && s.choice[k] == none; o++ {
			for j, at := range s.choice {
				if at == none || m.opts[at].mask&m.opts[o].mask == 0 {
					continue
				}
				if s.exchange(k, o, j, price) {
					break
				}
			}
		}
	}
}

// exchange places k instead of j if that takes off more; j may go elsewhere.
func (s *state) exchange(k int, o int32, j int, price []float64) bool {
	before := s.value
	had := s.remove(j)
	if fits, _ := s.room(k, o); fits {
		s.place(k, o)
		if other := s.best(j, price, MaxYears); other != none {
			s.place(j, other)
		}
		if s.value > before*(1+1e-12) && (!s.m.forced[j] || s.choice[j] != none) {
			return true
		}
		if s.choice[j] != none {
			s.remove(j)
		}
		s.remove(k)
	}
	s.place(j, had)
	return false
}

// closeGroups tries each group and year without work there.
func (s *state) closeGroups(price []float64) {
	m := s.m
	for g, run := range m.runs {
		for y := range m.years {
			if s.worked[g*m.years+y] == 0 {
				continue
			}
			t := s.clone()
			kept := true
			for k := run[0]; k < run[1]; k++ {
				if o := t.choice[k]; o != none && m.opts[o].mask>>y&1 == 1 {
					t.remove(k)
				}
			}
			for k := run[0]; k < run[1]; k++ {
				if s.choice[k] == none || t.choice[k] != none {
					continue
				}
				if o := t.best(k, price, 0); o != none {
					t.place(k, o)
				} else if m.forced[k] {
					kept = false
				}
			}
			if !kept {
				continue
			}
			t.fill(price)
			if t.value > s.value*(1+1e-12) {
				*s = *t
			}
		}
	}
}
