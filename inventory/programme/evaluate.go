package programme

import "github.com/underbough/underbough/inventory"

// Evaluate says what a programme comes to that a person made or changed: the year
// of each candidate's first visit by place, NotPlanned for none. Years that are
// over the budget say so in Over; what must be done and is not, and what is
// not in the year that it was put in, is in Left, what is too late in Late. It has
// no bound.
func Evaluate(p *Problem, start []int) (*Plan, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	if len(start) != len(p.Candidates) {
		return nil, inventory.Errorf(inventory.Invalid, "starts: %d are given for %d candidates", len(start), len(p.Candidates))
	}
	for i, s := range start {
		c := &p.Candidates[i]
		switch {
		case s == NotPlanned:
		case s < 0 || s >= p.Years:
			return nil, inventory.Errorf(inventory.Invalid, "candidate %d (tree %d, %q): start: year %d, expected 0 to %d, or %d for none", i, c.Tree, c.Label, s, p.Years-1, NotPlanned)
		case s < p.Years && c.Closed>>s&1 == 1:
			return nil, inventory.Errorf(inventory.Invalid, "candidate %d (tree %d, %q): start: year %d, in which it may not begin: %s", i, c.Tree, c.Label, s, c.ClosedBy)
		case s < c.Earliest:
			return nil, inventory.Errorf(inventory.Invalid, "candidate %d (tree %d, %q): start: year %d, before it may begin, year %d", i, c.Tree, c.Label, s, c.Earliest)
		}
	}
	plan := p.tally(start)
	plan.Method = "as given"
	return plan, nil
}

// tally adds up a programme in an order that does not depend on how the
// candidates were given.
func (p *Problem) tally(start []int) *Plan {
	plan := &Plan{Start: append([]int{}, start...), Years: make([]Year, p.Years)}
	var scratch [MaxYears]float64
	left := scratch[:p.Years]
	group, open := "", uint16(0)
	closeGroup := func() {
		for y := range plan.Years {
			if open>>y&1 == 1 {
				plan.Years[y].Groups++
			}
		}
		open = 0
	}
	for _, i := range p.sorted() {
		c := &p.Candidates[i]
		if c.Group != group {
			closeGroup()
			group = c.Group
		}
		leftInto(left, c.Visits, start[i], p.Lasts)
		for y, share := range left {
			plan.Years[y].HarmBefore += c.Harm
			plan.Years[y].HarmLeft += c.Harm * share
		}
		if start[i] == NotPlanned {
			continue
		}
		plan.TakenOff += p.takenOff(i, start[i], left)
		for v := range c.Visits {
			y := start[i] + c.Visits[v].After
			if y >= p.Years {
				break
			}
			open |= 1 << y
			if v == 0 {
				plan.Years[y].Trees++
			}
			plan.Years[y].Visits++
			plan.Years[y].VisitHours += c.Visits[v].Hours
			plan.Years[y].VisitCost += c.Visits[v].Cost
		}
	}
	closeGroup()
	for y := range plan.Years {
		year := &plan.Years[y]
		year.SetUpHours, year.SetUpCost = float64(year.Groups)*p.GroupHours, float64(year.Groups)*p.GroupCost
		year.Hours, year.Cost = year.VisitHours+year.SetUpHours, year.VisitCost+year.SetUpCost
		year.HarmBefore += p.OtherHarm
		year.HarmLeft += p.OtherHarm
		year.Used = year.Cost
		if p.Measure == Hours {
			year.Used = year.Hours
		}
		if !within(year.Used, p.Budget[y]) {
			year.Over = year.Used - p.Budget[y]
		}
	}
	for i := range p.Candidates {
		c := &p.Candidates[i]
		switch {
		case c.Pinned.OK && start[i] != c.Pinned.V, c.Must && start[i] == NotPlanned:
			plan.Left = append(plan.Left, i)
		case c.Late(start[i]):
			plan.Late = append(plan.Late, i)
		}
	}
	return plan
}

// Late reports whether a start is after the year that the work is due by. What a
// person put in a year is never late.
func (c *Candidate) Late(start int) bool {
	return c.Must && !c.Pinned.OK && start != NotPlanned && start > c.DueBy
}
