package programme

import (
	"context"
	"slices"
)

// searchMusts looks in a small case for a programme in which all of what must be
// done has room by the year that it is due, as far as any of it may begin at all:
// each of them is worth more than all harm together, so that as many as can be are
// done. It returns nil where it finds none.
func (m *model) searchMusts(ctx context.Context, base *state) (*state, error) {
	soft := *m
	soft.opts, soft.forced, soft.left = slices.Clone(m.opts), make([]bool, len(m.forced)), make([]bool, len(m.left))
	reward := 1.0
	for k := range m.order {
		top := 0.0
		for o := m.first[k]; o < m.first[k+1]; o++ {
			top = max(top, m.opts[o].value)
		}
		reward += top
	}
	for k, must := range m.forced {
		for o := m.first[k]; must && o < m.first[k+1]; o++ {
			soft.opts[o].value += reward
		}
	}
	start := soft.take(base)
	v := &view{forced: soft.forced}
	s, b, err := soft.approach(ctx, start, v)
	if err != nil {
		return nil, err
	}
	if s.total() < b.best.value*(1-1e-12) {
		if s, _, _, err = soft.search(ctx, s, v, b.centre, b.best.value, searchNodes); err != nil {
			return nil, err
		}
	}
	for k, must := range m.forced {
		if must && s.choice[k] == none && m.first[k] < m.first[k+1] {
			return nil, nil
		}
	}
	for k, must := range m.forced {
		m.left[k] = must && s.choice[k] == none
	}
	return m.keepMusts(s), nil
}

// take makes a state of the choices of another.
func (m *model) take(other *state) *state {
	s := m.newState()
	for k, o := range other.choice {
		if o != none {
			s.place(k, o)
		}
	}
	return s
}

// keepMusts is a programme with nothing but what must be done.
func (m *model) keepMusts(other *state) *state {
	s := m.newState()
	for k, o := range other.choice {
		if o != none && m.forced[k] {
			s.place(k, o)
		}
	}
	return s
}
