package programme

import (
	"fmt"
	"strconv"
	"strings"
)

// Why says in one line of figures why a candidate is in its year of a plan, or is
// left out: its harm, what its work takes off for what it uses of the budget, and
// what the budget of those years is worth elsewhere at the plan's prices. Years
// are counted from 1.
func Why(p *Problem, plan *Plan, i int) string {
	c := &p.Candidates[i]
	parts := []string{"harm index " + index(c.Harm)}
	start := plan.Start[i]
	if start == NotPlanned {
		parts = append(parts, p.whyNot(plan, c, i)...)
		return strings.Join(parts, "; ")
	}
	used, price := p.usedAt(plan, c, start)
	off := p.TakenOff(i, start)
	parts = append(parts, fmt.Sprintf("begun in year %d it takes off %s over %d years for %s", start+1, index(off), p.Years, p.amount(used)))
	if used > 0 && off > 0 {
		parts = append(parts, p.worth(plan, off/used, price/used))
	}
	switch {
	case c.Pinned.OK && c.Pinned.V == start && c.Must && start > c.DueBy:
		parts = append(parts, fmt.Sprintf("put in year %d by a person, which goes before that it %s", start+1, c.must()))
	case c.Pinned.OK && c.Pinned.V == start:
		parts = append(parts, fmt.Sprintf("put in year %d by a person", start+1))
	case c.Late(start):
		parts = append(parts, "late: "+c.must()+", and there was no room before")
	case c.Must:
		parts = append(parts, c.must())
	}
	if c.Earliest > 0 {
		parts = append(parts, fmt.Sprintf("may begin in year %d", c.Earliest+1))
	}
	if c.Closed != 0 {
		parts = append(parts, p.closedIn(c))
	}
	return strings.Join(parts, "; ")
}

// whyNot says why a candidate is left out.
func (p *Problem) whyNot(plan *Plan, c *Candidate, i int) []string {
	open := false
	for s := range p.Years {
		open = open || p.MayBegin(i, s)
	}
	switch {
	case c.Pinned.OK && open:
		return []string{fmt.Sprintf("left out: put in year %d by a person, no room in the budgets", c.Pinned.V+1)}
	case c.Pinned.OK:
		return []string{fmt.Sprintf("left out: put in year %d by a person; %s", c.Pinned.V+1, p.closedIn(c))}
	case c.Earliest >= p.Years:
		return []string{fmt.Sprintf("left out: may not begin before year %d of %d", c.Earliest+1, p.Years)}
	case !open && c.Must:
		return []string{"left out: " + c.must() + "; " + p.closedIn(c)}
	case !open:
		return []string{"left out: " + p.closedIn(c)}
	case c.Must:
		return []string{"left out: " + c.must() + ", no room in the budgets of any year"}
	}
	// The year that is worth most by the prices.
	top, off, used, price := -1, 0.0, 0.0, 0.0
	for s := c.Earliest; s < p.Years; s++ {
		if !p.MayBegin(i, s) {
			continue
		}
		o := p.TakenOff(i, s)
		u, paid := p.usedAt(plan, c, s)
		if top < 0 || o-paid > off-price {
			top, off, used, price = s, o, u, paid
		}
	}
	if off <= 0 {
		return []string{"left out: its work takes nothing off"}
	}
	parts := []string{fmt.Sprintf("left out: at best, begun in year %d, it would take off %s for %s", top+1, index(off), p.amount(used))}
	if used > 0 {
		parts = append(parts, p.worth(plan, off/used, price/used))
	}
	return parts
}

// must says by when it must be done, and by what.
func (c *Candidate) must() string {
	text := fmt.Sprintf("must be done by year %d", c.DueBy+1)
	if c.MustBy != "" {
		text += " (" + c.MustBy + ")"
	}
	return text
}

// closedIn names the years in which a candidate may not begin, and by which
// windows.
func (p *Problem) closedIn(c *Candidate) string {
	var years []string
	for y := range p.Years {
		if c.Closed>>y&1 == 1 {
			years = append(years, strconv.Itoa(y+1))
		}
	}
	by := c.ClosedBy
	if by == "" {
		by = "windows"
	}
	if len(years) == p.Years {
		return "no day of any year is open (" + by + ")"
	}
	return "may not begin in year " + strings.Join(years, ", ") + ", which leaves no day open for a visit (" + by + ")"
}

// usedAt is what a start uses of the budgets, without set-ups, and what that is
// worth at the plan's prices.
func (p *Problem) usedAt(plan *Plan, c *Candidate, start int) (used, price float64) {
	for v := range c.Visits {
		y := start + c.Visits[v].After
		if y >= p.Years {
			break
		}
		a := p.visitAmount(&c.Visits[v])
		used += a
		if y < len(plan.Prices) {
			price += a * plan.Prices[y]
		}
	}
	return used, price
}

// index is expected harm in thousandths, the harm index that people see.
func index(harm float64) string {
	switch v := harm * 1000; {
	case v >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case v > 0 && v < 0.001:
		return "under 0.001"
	default:
		return strconv.FormatFloat(v, 'g', 3, 64)
	}
}

// worth sets what a lot of the budget takes off here against what the last lot of
// those years takes off elsewhere, where that is known: a set-up of the group
// comes on top.
func (p *Problem) worth(plan *Plan, off, price float64) string {
	lot, word := 1000.0, "for every 1000 of money"
	if p.Measure == Hours {
		lot, word = 10, "for every 10 crew-hours"
	}
	text := fmt.Sprintf("%s %s", index(off*lot), word)
	if len(plan.Prices) == 0 {
		return text
	}
	return text + fmt.Sprintf(", where the last that the budget has room for takes off %s", index(price*lot))
}

func (p *Problem) amount(used float64) string {
	if p.Measure == Hours {
		return fmt.Sprintf("%.3g crew-hours", used)
	}
	return fmt.Sprintf("%.0f of money", used)
}
