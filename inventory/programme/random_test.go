package programme

import (
	"fmt"
	"math/rand/v2"

	"github.com/underbough/underbough/inventory"
)

// shape says what random problems look like.
type shape struct {
	candidates, groups, years int
	sequences                 float64 // share with several visits
	musts, pins               float64 // shares
	share                     float64 // of all first visits that the budgets hold
	integers                  bool    // small whole figures, with many ties
}

// random makes a problem; harm is skewed as it is in inventories.
func random(r *rand.Rand, s shape) *Problem {
	p := &Problem{Years: s.years, Measure: Money, Lasts: 1 + r.IntN(6)}
	if r.IntN(2) == 0 {
		p.Measure = Hours
	}
	all := 0.0
	for i := range s.candidates {
		c := Candidate{Tree: inventory.TreeID(i + 1), Label: fmt.Sprintf("T%06d", i+1), Group: fmt.Sprintf("street %04d", r.IntN(s.groups))}
		x := r.Float64()
		c.Harm = 0.01 + 10*x*x*x*x
		hours := 0.4 + 1.5*r.Float64()
		if s.integers {
			c.Harm, hours = float64(r.IntN(6)), float64(r.IntN(4))
		}
		after, takes := []int{0}, 0.05+0.15*r.Float64()
		if r.Float64() < s.sequences {
			after = []int{0, 3, 5, 8}
			if s.years < 4 {
				after = []int{0, 1, 2}
			}
		}
		for _, a := range after {
			c.Visits = append(c.Visits, PlannedVisit{After: a, Hours: hours, Cost: 100 * hours, TakesOff: takes})
		}
		if r.IntN(5) == 0 {
			c.Earliest = r.IntN(s.years)
		}
		if r.IntN(6) == 0 {
			c.Closed = uint16(r.IntN(1 << s.years))
		}
		if r.Float64() < s.musts {
			c.Must, c.DueBy = true, c.Earliest+r.IntN(s.years)
		}
		if r.Float64() < s.pins && !c.Must {
			c.Pinned = inventory.Some(c.Earliest + r.IntN(s.years-c.Earliest))
		}
		all += p.visitAmount(&c.Visits[0])
		p.Candidates = append(p.Candidates, c)
	}
	p.GroupHours = r.Float64() * 2
	p.GroupCost = p.GroupHours * 100
	if s.integers {
		p.GroupHours, p.GroupCost = float64(r.IntN(3)), float64(r.IntN(3)*100)
	}
	for range s.years {
		b := all * s.share / float64(s.years) * (0.7 + 0.6*r.Float64())
		if s.integers {
			b = float64(int(b))
		}
		p.Budget = append(p.Budget, b)
	}
	return p
}
