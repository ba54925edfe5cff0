package programme

import (
	"cmp"
	"slices"
)

// knapsack finds the most that one year can hold: items of candidates, at most one
// of each, in groups that take a set-up each. It is solved exactly by lists of what
// no other beats in both weight and worth (Nemhauser and Ullmann 1969), group by
// group, without what cannot become the best any more.
type knapsack struct {
	setUp float64
	room  float64
	items []item // by group and candidate; emptied by the caller
	work  int    // entries gone through so far, over all uses

	groups []run
	trail  []trail
	list   []entry // of all groups so far
	inside []entry // with the group under way
	spare  []entry
	chosen []int32
}

// item is an option that may be put in the year.
type item struct {
	group, place int32
	opt          int32
	weight       float64
	worth        float64
}

// run is a group's items: places in items, and what they may be worth at the most.
type run struct {
	from, to int
	paid     bool    // its set-up is paid in any case
	most     float64 // of all its candidates together
	rate     float64 // the best worth for weight
	later    float64 // most of this group and those after it
	ahead    float64 // the best rate of these
}

type entry struct {
	weight, worth float64
	trail         int32
}

type trail struct {
	before, opt int32
}

// solve returns the most worth and the options that make it, valid until the next
// call. paid reports whether a group's set-up is paid in any case.
func (s *knapsack) solve(paid func(group int32) bool) (float64, []int32) {
	s.group(paid)
	s.trail = append(s.trail[:0], trail{-1, -1})
	s.list = append(s.list[:0], entry{})
	best := 0.0
	for i := range s.groups {
		g := &s.groups[i]
		set := 0.0
		if !g.paid {
			set = s.setUp
		}
		s.inside = s.inside[:0]
		for _, e := range s.list {
			if e.weight+set <= s.room {
				s.inside = append(s.inside, entry{e.weight + set, e.worth, e.trail})
			}
		}
		left := g.most
		for from := g.from; from < g.to; {
			to, top := from, 0.0
			for to < g.to && s.items[to].place == s.items[from].place {
				top = max(top, s.items[to].worth)
				to++
			}
			best = max(best, s.add(s.items[from:to], best))
			left -= top
			after, rate := left, g.rate
			if i+1 < len(s.groups) {
				after, rate = after+s.groups[i+1].later, max(rate, s.groups[i+1].ahead)
			}
			s.inside = s.prune(s.inside, best, after, rate)
			from = to
		}
		s.spare = merge(s.spare[:0], s.list, s.inside)
		s.list, s.spare = s.spare, s.list
		if i+1 < len(s.groups) {
			s.list = s.prune(s.list, best, s.groups[i+1].later, s.groups[i+1].ahead)
		}
	}
	top := s.list[len(s.list)-1] // the list rises in both
	s.chosen = s.chosen[:0]
	for t := top.trail; t > 0; t = s.trail[t].before {
		s.chosen = append(s.chosen, s.trail[t].opt)
	}
	return top.worth, s.chosen
}

// group notes the groups, the best for its weight first.
func (s *knapsack) group(paid func(group int32) bool) {
	s.groups = s.groups[:0]
	for from := 0; from < len(s.items); {
		g := run{from: from, to: from, paid: paid(s.items[from].group)}
		weight := 0.0
		for g.to < len(s.items) && s.items[g.to].group == s.items[from].group {
			at, top := g.to, 0.0
			for ; at < len(s.items) && s.items[at].place == s.items[g.to].place; at++ {
				top = max(top, s.items[at].worth)
				g.rate = max(g.rate, s.items[at].worth/max(s.items[at].weight, 1e-300))
			}
			weight += s.items[g.to].weight
			g.most += top
			g.to = at
		}
		if !g.paid {
			weight += s.setUp
		}
		g.later = g.most / max(weight, 1e-300) // for the order
		s.groups = append(s.groups, g)
		from = g.to
	}
	slices.SortStableFunc(s.groups, func(a, b run) int { return cmp.Compare(b.later, a.later) })
	later, ahead := 0.0, 0.0
	for i := len(s.groups) - 1; i >= 0; i-- {
		later += s.groups[i].most
		ahead = max(ahead, s.groups[i].rate)
		s.groups[i].later, s.groups[i].ahead = later, ahead
	}
}

// add lets each entry inside the group take one of a candidate's items too. It
// returns the most worth that was made.
func (s *knapsack) add(items []item, best float64) float64 {
	was := slices.Clone(s.inside)
	for _, it := range items {
		with := make([]entry, 0, len(was))
		for _, e := range was {
			if e.weight+it.weight > s.room {
				break
			}
			s.trail = append(s.trail, trail{e.trail, it.opt})
			with = append(with, entry{e.weight + it.weight, e.worth + it.worth, int32(len(s.trail) - 1)})
			best = max(best, e.worth+it.worth)
		}
		s.work += len(s.inside) + len(with) + 10
		s.spare = merge(s.spare[:0], s.inside, with)
		s.inside, s.spare = s.spare, s.inside
	}
	return best
}

// prune leaves out entries that can no longer come to the best.
func (s *knapsack) prune(list []entry, best, later, rate float64) []entry {
	kept := list[:0]
	for _, e := range list {
		if e.worth+min(later, rate*(s.room-e.weight)) >= best*(1-1e-13) {
			kept = append(kept, e)
		}
	}
	return kept
}

// merge joins two lists that rise in weight and worth into one.
func merge(into, a, b []entry) []entry {
	for len(a) > 0 || len(b) > 0 {
		var e entry
		if len(b) == 0 || len(a) > 0 && (a[0].weight < b[0].weight || a[0].weight == b[0].weight && a[0].worth >= b[0].worth) {
			e, a = a[0], a[1:]
		} else {
			e, b = b[0], b[1:]
		}
		if len(into) == 0 || e.worth > into[len(into)-1].worth {
			into = append(into, e)
		}
	}
	return into
}
