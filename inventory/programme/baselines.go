package programme

import (
	"cmp"
	"context"
	"slices"

	"github.com/underbough/underbough/inventory"
)

// WorstFirst plans as a list by rank is worked off: candidates by harm, highest
// first, each in the first year that has room for it. What must be done or was put
// in a year has its place first, as in Solve, so that the two compare. The work
// and what it takes off are not looked at.
func WorstFirst(p *Problem) (*Plan, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	m, s, err := prepare(context.Background(), p, false)
	if err != nil {
		return nil, err
	}
	by := m.places()
	slices.SortStableFunc(by, func(a, b int) int {
		return cmp.Compare(p.Candidates[m.order[b]].Harm, p.Candidates[m.order[a]].Harm)
	})
	for _, k := range by {
		s.placeFrom(k, 0)
	}
	return m.baseline(s, "worst first"), nil
}

// FlatCycle plans street by street: groups in the order of their names and the
// trees in each by their labels, each year the next share of the trees so that all
// have had their turn after so many years, whatever their harm. A tree that its
// year has no room for waits for the next with room. Trees whose turn comes after
// the programme are not planned, and no tree has a second turn within it. What
// must be done or was put in a year has its place first.
func FlatCycle(p *Problem, years int) (*Plan, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	if years < 1 {
		return nil, inventory.Errorf(inventory.Invalid, "cycle: %d years, expected 1 or more", years)
	}
	m, s, err := prepare(context.Background(), p, false)
	if err != nil {
		return nil, err
	}
	for j, k := range m.places() {
		s.placeFrom(k, j*years/len(m.order))
	}
	return m.baseline(s, "flat cycle, street by street"), nil
}

// Nothing plans nothing, not even what must be done.
func Nothing(p *Problem) (*Plan, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	m := newModel(p, false, nil)
	return m.baseline(m.newState(), "nothing"), nil
}

// places lists the places of the candidates in their order.
func (m *model) places() []int {
	list := make([]int, len(m.order))
	for k := range list {
		list[k] = k
	}
	return list
}

// placeFrom places a candidate that has no place yet in the first year with room
// from a year on. Work that takes nothing off is not done.
func (s *state) placeFrom(k, year int) {
	if s.choice[k] != none || s.m.left[k] {
		return
	}
	for o := s.m.first[k]; o < s.m.first[k+1]; o++ {
		if int(s.m.opts[o].start) < year {
			continue
		}
		if fits, _ := s.room(k, o); fits {
			s.place(k, o)
			return
		}
	}
}

// baseline writes down a programme that has no bound.
func (m *model) baseline(s *state, method string) *Plan {
	plan := m.plan(s, 0, nil, false)
	plan.Method, plan.Bound, plan.Gap = method, 0, 0
	return plan
}
