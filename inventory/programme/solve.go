package programme

import (
	"context"
	"math"
	"slices"
)

// How hard Solve tries.
const (
	boundSteps    = 400  // evaluations of the relaxation
	boundEnough   = 1e-6 // of the bound: what a step must promise
	gapEnough     = 2e-5 // of the bound: nothing more is tried for it, but in small cases
	repairs       = 16   // rounds of steps, and programmes made of what they choose
	fewCandidates = 2000 // up to which more programmes are made
	searchMost    = 200  // candidates up to which the search runs
	searchNodes   = 4000 // that it goes through
	searchShort   = 30   // where the other search comes after
	searchWork    = 2e9  // steps that it may take for them, by a rough count
)

// Solve chooses the years so that as much harm as can be found is taken off
// within the budgets, and proves by how much at most another programme could do
// better. It is a problem of several knapsacks with set-ups; the method is
// Lagrangian relaxation of the budgets with a proximal bundle method for the
// bound, programmes built from the relaxation's choices and improved by local
// moves, and for small cases branch and bound. The same candidates give the same
// programme in whatever order they come.
//
// What must be done or was put in a year by a person comes first: nothing else
// takes its room. Where not all of it has room by the years that it is due, each
// is done as early as there is room, what is due first and then what does most
// harm before the rest (musts.go); what is done after it was due is in Plan.Late,
// what has no room in any year in Plan.Left, and the rest is planned all the same.
// The error is of kind Invalid and names the
// candidate and the field, or is that of ctx.
func Solve(ctx context.Context, p *Problem) (*Plan, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	m, base, err := prepare(ctx, p, true)
	if err != nil {
		return nil, err
	}
	v := &view{forced: m.required()}
	s, b, err := m.approach(ctx, base, v)
	if err != nil {
		return nil, err
	}
	bound, exact := b.best.value, false
	if s.total() < bound {
		if s, bound, exact, err = m.prove(ctx, s, v, b.centre, bound); err != nil {
			return nil, err
		}
	}
	total := s.total()
	exact = exact || total >= bound*(1-1e-12)
	return m.plan(s, max(bound, total), b.centre, exact), nil
}

// prove searches small cases: for a short while by the bound by prices, which is
// near where years hold many visits, then by that of the years, which is near where
// they hold few.
func (m *model) prove(ctx context.Context, s *state, v *view, price []float64, bound float64) (*state, float64, bool, error) {
	n := len(m.order)
	if n > searchMost {
		return s, bound, false, nil
	}
	if n > yearlyMost {
		return m.search(ctx, s, v, price, bound, searchNodes)
	}
	s, bound, exact, err := m.search(ctx, s, v, price, bound, searchShort)
	if err != nil || exact {
		return s, bound, exact, err
	}
	return m.searchYearly(ctx, s, v.forced, price, bound)
}

// required lists what must have a year, without what is left.
func (m *model) required() []bool {
	forced := make([]bool, len(m.forced))
	for k := range forced {
		forced[k] = m.forced[k] && !m.left[k]
	}
	return forced
}

// approach brings the bound down and makes programmes on the way.
func (m *model) approach(ctx context.Context, base *state, v *view) (*state, *bundle, error) {
	if err := ctx.Err(); err != nil {
		return nil, nil, err
	}
	start := base.clone()
	price := m.firstPrices()
	start.fill(price)
	best := start
	try := func(choice []int32, price []float64) {
		s := m.repair(choice, price, base)
		s.shiftYears()
		s.fill(price)
		if s.value > best.value*(1+1e-12) {
			best = s
		}
	}
	zero := m.relax(make([]float64, m.years), v)
	b := newBundle(m, v, price, nil)
	if zero.value <= b.best.value {
		b = newBundle(m, v, make([]float64, m.years), nil)
	}
	for range repairs {
		bound, value := b.best.value, best.value
		if err := b.run(ctx, boundSteps/repairs, boundEnough*math.Abs(bound), value); err != nil {
			return nil, nil, err
		}
		if b.best.value < bound*(1-1e-3) {
			continue // not near yet
		}
		try(b.mixed(), b.centre)
		if len(m.order) <= smallCase {
			try(b.best.choice, b.centre)
		}
		if best.value >= b.best.value*(1-gapEnough) || b.best.value >= bound*(1-boundEnough) && best.value <= value {
			break
		}
	}
	best.improve(b.centre)
	if len(m.order) <= fewCandidates {
		best = m.vary(best, b, v, base)
	}
	return best, b, nil
}

// firstPrices is one price for all years: that at which filling the budgets in the
// order of worth would end.
func (m *model) firstPrices() []float64 {
	price := make([]float64, m.years)
	all := 0.0
	for y, b := range m.budget {
		all += b
		price[y] = 1
	}
	s := m.newState()
	last := 0.0
	for _, k := range s.waiting(price) {
		top, amount := 0.0, 0.0
		for o := m.first[k]; o < m.first[k+1]; o++ {
			used := m.opts[o].value - m.priced(&m.opts[o], price)
			if m.opts[o].value > top {
				top, amount = m.opts[o].value, used
			}
		}
		if amount > 0 {
			last = top / amount
		}
		if all -= amount; all < 0 {
			break
		}
	}
	if all >= 0 {
		last *= 0.1 // there may be enough for all
	}
	for y := range price {
		price[y] = last
	}
	return price
}

// plan writes a state down.
func (m *model) plan(s *state, bound float64, price []float64, exact bool) *Plan {
	start := make([]int, len(m.order))
	for k, i := range m.order {
		start[i] = NotPlanned
		if o := s.choice[k]; o != none {
			start[i] = int(m.opts[o].start)
		}
	}
	plan := m.p.tally(start)
	plan.Method = "Lagrangian relaxation of the yearly budgets, proximal bundle, repair and local moves"
	planned := slices.ContainsFunc(start, func(y int) bool { return y != NotPlanned })
	switch {
	case !planned:
		plan.Method += "; nothing planned"
	case m.late && exact:
		plan.Method += "; optimum proven for what must be done in the years of the list"
	case m.late:
		plan.Method += "; what must be done in the years of the list"
	case exact:
		plan.Method += "; optimum proven"
	}
	plan.Exact, plan.Prices = exact, price
	plan.Bound = max(bound, plan.TakenOff)
	if exact {
		plan.Bound = plan.TakenOff
	}
	if plan.Bound > 0 {
		plan.Gap = (plan.Bound - plan.TakenOff) / plan.Bound
	}
	return plan
}
