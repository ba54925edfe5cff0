package programme

import (
	"fmt"
	"math"

	"github.com/underbough/underbough/inventory"
)

// Check reports what is wrong with a problem, naming the candidate and the field.
func (p *Problem) Check() error {
	if p.Years < 1 || p.Years > MaxYears {
		return inventory.Errorf(inventory.Invalid, "years: %d, expected 1 to %d", p.Years, MaxYears)
	}
	if p.Measure != Money && p.Measure != Hours {
		return inventory.Errorf(inventory.Invalid, "measure: %q, expected money or hours", p.Measure)
	}
	if len(p.Budget) != p.Years {
		return inventory.Errorf(inventory.Invalid, "budget: %d years are given, expected %d", len(p.Budget), p.Years)
	}
	for y, b := range p.Budget {
		if bad(b) {
			return inventory.Errorf(inventory.Invalid, "budget of year %d: %v, expected 0 or more", y+1, b)
		}
	}
	if bad(p.GroupHours) || bad(p.GroupCost) {
		return inventory.Errorf(inventory.Invalid, "set-up in a group: %v hours, cost %v, expected numbers from 0", p.GroupHours, p.GroupCost)
	}
	if bad(p.OtherHarm) {
		return inventory.Errorf(inventory.Invalid, "harm of other trees: %v, expected a number from 0", p.OtherHarm)
	}
	if p.Lasts < 1 {
		return inventory.Errorf(inventory.Invalid, "lasts: %d years, expected 1 or more", p.Lasts)
	}
	for i := range p.Candidates {
		if what := p.Candidates[i].fault(p.Years); what != "" {
			c := &p.Candidates[i]
			return inventory.Errorf(inventory.Invalid, "candidate %d (tree %d, %q): %s", i, c.Tree, c.Label, what)
		}
	}
	return nil
}

// fault says what is wrong with a candidate, empty if nothing is.
func (c *Candidate) fault(years int) string {
	if bad(c.Harm) {
		return fmt.Sprintf("harm: %v, expected a number from 0", c.Harm)
	}
	if len(c.Visits) == 0 {
		return "visits: none, expected one or more"
	}
	for k, v := range c.Visits {
		switch {
		case k == 0 && v.After != 0:
			return fmt.Sprintf("visit 1: after %d years, expected 0", v.After)
		case k > 0 && v.After <= c.Visits[k-1].After:
			return fmt.Sprintf("visit %d: after %d years, expected more than the visit before, %d", k+1, v.After, c.Visits[k-1].After)
		case bad(v.Hours):
			return fmt.Sprintf("visit %d: hours: %v, expected a number from 0", k+1, v.Hours)
		case bad(v.Cost):
			return fmt.Sprintf("visit %d: cost: %v, expected a number from 0", k+1, v.Cost)
		case !(v.TakesOff >= 0 && v.TakesOff <= 1):
			return fmt.Sprintf("visit %d: takes off: %v, expected a share from 0 to 1", k+1, v.TakesOff)
		}
	}
	if c.Must && c.DueBy < 0 {
		return fmt.Sprintf("due by: year %d, expected 0 or more", c.DueBy)
	}
	if c.Earliest < 0 {
		return fmt.Sprintf("earliest: year %d, expected 0 or more", c.Earliest)
	}
	pin, pinned := c.Pinned.V, c.Pinned.OK
	switch {
	case pinned && (pin < 0 || pin >= years):
		return fmt.Sprintf("pinned: year %d, expected 0 to %d", pin, years-1)
	case pinned && pin < c.Earliest:
		return fmt.Sprintf("pinned: in year %d, before it may begin, year %d", pin, c.Earliest)
	}
	return ""
}

// bad reports what is no amount: negative, not a number or without end.
func bad(v float64) bool { return !(v >= 0) || math.IsInf(v, 1) }
