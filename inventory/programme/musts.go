package programme

import (
	"cmp"
	"slices"
)

// mostMoves are tried to make room for what must be done.
const mostMoves = 200000

// placeMusts gives what must be done its place before anything else: what can go
// in the fewest years first, then what takes most, each in the year that it takes
// the least share of (first fit, with moves of earlier ones where nothing fits).
// What then has no room is marked as left; whether some other placing would hold
// one more is a packing problem, which only the search of small cases settles.
func (m *model) placeMusts() *state {
	s := m.newState()
	var list []int
	size := make([]float64, len(m.order))
	for k, must := range m.forced {
		if !must {
			continue
		}
		list = append(list, k)
		for o := m.first[k]; o < m.first[k+1]; o++ {
			size[k] = max(size[k], s.share(k, o))
		}
	}
	slices.SortStableFunc(list, func(a, b int) int {
		return cmp.Or(cmp.Compare(m.first[a+1]-m.first[a], m.first[b+1]-m.first[b]), cmp.Compare(size[b], size[a]))
	})
	moves := mostMoves
	for i, k := range list {
		if o := s.smallest(k); o != none {
			s.place(k, o)
		} else if !s.makeRoom(k, list[:i], &moves) {
			m.left[k] = true
		}
	}
	return s
}

// share is the share of its years' budgets that an option would take, set-ups
// included.
func (s *state) share(k int, o int32) float64 {
	m, share := s.m, 0.0
	for _, u := range m.uses[m.opts[o].from:m.opts[o].to] {
		extra := u.amount
		if s.worked[int(m.group[k])*m.years+int(u.year)] == 0 {
			extra += m.setUp
		}
		share += extra / (m.budget[u.year] + 1e-300)
	}
	return share
}

// smallest returns the option with room that takes the least share, or none; of
// equals the one that takes off most.
func (s *state) smallest(k int) int32 {
	m, found, least := s.m, none, 0.0
	for o := m.first[k]; o < m.first[k+1]; o++ {
		if fits, _ := s.room(k, o); !fits {
			continue
		}
		share := s.share(k, o)
		if found == none || share < least || share == least && m.opts[o].value > m.opts[found].value {
			found, least = o, share
		}
	}
	return found
}

// makeRoom places k by moving one of those before it to another of its years.
func (s *state) makeRoom(k int, before []int, moves *int) bool {
	m := s.m
	for _, j := range before {
		if s.choice[j] == none || m.first[j+1]-m.first[j] < 2 {
			continue
		}
		if *moves--; *moves < 0 {
			return false
		}
		had := s.remove(j)
		for o := m.first[k]; o < m.first[k+1]; o++ {
			if fits, _ := s.room(k, o); !fits {
				continue
			}
			s.place(k, o)
			if other := s.smallest(j); other != none {
				s.place(j, other)
				return true
			}
			s.remove(k)
		}
		s.place(j, had)
	}
	return false
}
