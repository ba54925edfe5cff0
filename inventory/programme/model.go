package programme

import (
	"cmp"
	"slices"
	"strings"
)

// model is a problem made ready to be solved: candidates in an order that does
// not depend on how they were given, groups as runs of it, and what each possible
// start brings and uses.
type model struct {
	p      *Problem
	years  int
	setUp  float64   // a group and year, in the measure
	budget []float64 // by year
	order  []int     // place in the problem, by place here
	group  []int32   // by place
	runs   [][2]int  // places of each group, from and to
	names  []string  // of the groups
	forced []bool    // must have a start: must be done, or pinned
	left   []bool    // forced, and given up
	late   bool      // what must be done has its year by the list
	first  []int32   // of a candidate's options; one more at the end
	opts   []option  // of one candidate by start
	uses   []use
}

// option is one possible first year of one candidate.
type option struct {
	start    int8
	mask     uint16  // years in which there is a visit
	value    float64 // harm taken off
	from, to int32   // of its uses
}

// use is what one visit takes of a year's budget.
type use struct {
	year   int8
	amount float64
}

// visitAmount is what a visit takes in the measure of the budget.
func (p *Problem) visitAmount(v *PlannedVisit) float64 {
	if p.Measure == Hours {
		return v.Hours
	}
	return v.Cost
}

// setUp is what a group takes in a year in which it is worked in.
func (p *Problem) setUp() float64 {
	if p.Measure == Hours {
		return p.GroupHours
	}
	return p.GroupCost
}

// sorted returns the places of the candidates by group, label and tree; what is
// alike in these goes by its figures, so that only equals are interchangeable. It
// is remembered, and sorted anew only where it no longer holds.
func (p *Problem) sorted() []int {
	if len(p.order) == len(p.Candidates) && slices.IsSortedFunc(p.order, p.compare) {
		return p.order
	}
	order := make([]int, len(p.Candidates))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(i, j int) int {
		if c := p.compare(i, j); c != 0 {
			return c
		}
		return i - j
	})
	p.order = order
	return order
}

func (p *Problem) compare(i, j int) int {
	a, b := &p.Candidates[i], &p.Candidates[j]
	if c := strings.Compare(a.Group, b.Group); c != 0 {
		return c
	}
	if c := strings.Compare(a.Label, b.Label); c != 0 {
		return c
	}
	if c := cmp.Or(cmp.Compare(a.Tree, b.Tree), cmp.Compare(b.Harm, a.Harm), cmp.Compare(a.Earliest, b.Earliest), cmp.Compare(a.DueBy, b.DueBy)); c != 0 {
		return c
	}
	return slices.CompareFunc(a.Visits, b.Visits, func(v, w PlannedVisit) int {
		return cmp.Or(cmp.Compare(v.After, w.After), cmp.Compare(v.Cost, w.Cost), cmp.Compare(v.Hours, w.Hours), cmp.Compare(v.TakesOff, w.TakesOff))
	})
}

// free is the start of a candidate that the model is to choose one for.
const free = -2

// newModel lists the options; late lets what must be done begin after it is due,
// and fixed gives starts by candidate, free for those that are open, or is nil. An
// option that no budget has room for even alone is left out, and so is one of work
// that need not be done and takes nothing off.
func newModel(p *Problem, late bool, fixed []int) *model {
	n := len(p.Candidates)
	m := &model{p: p, years: p.Years, setUp: p.setUp(), budget: p.Budget, order: p.sorted(),
		group: make([]int32, n), forced: make([]bool, n), left: make([]bool, n), first: make([]int32, 1, n+1)}
	var scratch [MaxYears]float64
	for k, i := range m.order {
		c := &p.Candidates[i]
		if k == 0 || c.Group != m.names[len(m.names)-1] {
			m.names = append(m.names, c.Group)
			m.runs = append(m.runs, [2]int{k, k})
		}
		g := len(m.runs) - 1
		m.group[k], m.runs[g][1] = int32(g), k+1
		m.forced[k] = c.Must || c.Pinned.OK
		for s := range p.Years {
			if !p.MayBegin(i, s) || c.Must && !c.Pinned.OK && s > c.DueBy && !late || fixed != nil && fixed[i] != free && fixed[i] != s {
				continue
			}
			value := p.takenOff(i, s, scratch[:p.Years])
			if value <= 0 && !m.forced[k] {
				continue
			}
			o := option{start: int8(s), value: value, from: int32(len(m.uses))}
			fits := true
			for v := range c.Visits {
				y := s + c.Visits[v].After
				if y >= p.Years {
					break
				}
				amount := p.visitAmount(&c.Visits[v])
				fits = fits && within(amount+m.setUp, p.Budget[y])
				o.mask |= 1 << y
				m.uses = append(m.uses, use{int8(y), amount})
			}
			if !fits {
				m.uses = m.uses[:o.from]
				continue
			}
			o.to = int32(len(m.uses))
			m.opts = append(m.opts, o)
		}
		m.first = append(m.first, int32(len(m.opts)))
		m.left[k] = fixed != nil && fixed[i] == NotPlanned
	}
	return m
}

// within reports whether an amount fits in a budget, but for rounding.
func within(amount, budget float64) bool { return amount <= budget+1e-9*(1+budget) }

// priced is what an option is worth less the price of what it uses.
func (m *model) priced(o *option, price []float64) float64 {
	v := o.value
	for _, u := range m.uses[o.from:o.to] {
		v -= price[u.year] * u.amount
	}
	return v
}
