package programme

import (
	"cmp"
	"context"
	"slices"
)

// mostMoves are tried to make room for what must be done.
const mostMoves = 200000

// prepare makes the model, and a programme of nothing but what must be done. Where
// that has no room by the years that it is due, as far as is found, the model holds
// each of it to the year that the list gives it. search lets small cases be
// searched for room.
func prepare(ctx context.Context, p *Problem, search bool) (*model, *state, error) {
	m := newModel(p, false, nil)
	s := m.placeMusts()
	if !slices.Contains(m.left, true) {
		return m, s, nil
	}
	late := newModel(p, true, nil)
	hopeless, short := false, false // without an option by the year it is due; without room
	for k, left := range m.left {
		if left && late.first[k] < late.first[k+1] {
			short = true
			hopeless = hopeless || m.first[k] == m.first[k+1]
		}
	}
	if short && !hopeless && search && len(m.order) <= searchMost {
		found, err := m.searchMusts(ctx, s)
		if err != nil {
			return nil, nil, err
		}
		if found != nil {
			s, short = found, false
		}
	}
	if !short {
		return m, s, nil
	}
	m = newModel(p, true, late.list())
	m.late = true
	s = m.placeMusts()
	m.keepRoomy(s)
	return m, s, nil
}

// keepRoomy leaves out the options that have no room beside what must be done,
// whose years are held: the bound is nearer without them.
func (m *model) keepRoomy(s *state) {
	kept, first := m.opts[:0], int32(0)
	for k := range m.order {
		from, to := first, m.first[k+1]
		first, m.first[k] = to, int32(len(kept))
		for o := from; o < to; o++ {
			if s.choice[k] == o {
				s.choice[k] = int32(len(kept))
			} else if fits, _ := s.room(k, o); !fits || m.forced[k] {
				continue
			}
			kept = append(kept, m.opts[o])
		}
	}
	m.opts, m.first[len(m.order)] = kept, int32(len(kept))
}

// list gives each of what must be done or was put in a year the first year that
// has room for it: what a person put in a year first, then what is due first, then
// what does most harm. Where a later one has brought a group into a year, an earlier
// one on the list may have room there after all, so that it is gone through again.
// It returns starts by candidate.
func (m *model) list() []int {
	s, starts := m.newState(), make([]int, len(m.order))
	var list []int
	for k, i := range m.order {
		starts[i] = free
		if m.forced[k] {
			list = append(list, k)
		}
	}
	pinned := func(c *Candidate) int {
		if c.Pinned.OK {
			return 0
		}
		return 1 + c.DueBy
	}
	slices.SortStableFunc(list, func(a, b int) int {
		x, y := &m.p.Candidates[m.order[a]], &m.p.Candidates[m.order[b]]
		return cmp.Or(cmp.Compare(pinned(x), pinned(y)), cmp.Compare(y.Harm, x.Harm))
	})
	for moved := true; moved; {
		moved = false
		for _, k := range list {
			had := s.choice[k]
			if had != none {
				s.remove(k)
			}
			for o := m.first[k]; o < m.first[k+1]; o++ {
				if fits, _ := s.room(k, o); o == had || fits {
					s.place(k, o)
					moved = moved || o != had
					break
				}
			}
		}
	}
	for _, k := range list {
		starts[m.order[k]] = NotPlanned
		if o := s.choice[k]; o != none {
			starts[m.order[k]] = int(m.opts[o].start)
		}
	}
	return starts
}

// placeMusts gives what must be done its place before anything else: what can go
// in the fewest years first, then what takes most, each in the year that it takes
// the least share of (first fit, with moves of earlier ones where nothing fits).
// What then has no room is marked as left; whether some other placing would hold
// all is a packing problem, which only the search of small cases settles.
func (m *model) placeMusts() *state {
	s := m.newState()
	var list []int
	size := make([]float64, len(m.order))
	for k, must := range m.forced {
		if !must || m.left[k] {
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
