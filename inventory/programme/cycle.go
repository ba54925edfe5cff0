package programme

import (
	"math"

	"github.com/underbough/underbough/inventory"
)

// CycleCost is what a tree costs in a year when it is pruned every so many years:
// c for a visit, and the loss of condition, a share k of its value v for each year
// without pruning, which is half of what a whole cycle loses on the average:
//
//	A(T) = c/T + k v T/2
//
// It is the reckoning of the study of about 40,000 street trees of Milwaukee
// (Miller and Sylvester 1981), put in algebra here. c and v are in units of money,
// k in shares a year.
func CycleCost(c, k, v, years float64) float64 { return c/years + k*v*years/2 }

// BestCycle is the number of years at which CycleCost is least: √(2c/(kv)). It is
// infinite where nothing is lost by waiting.
func BestCycle(c, k, v float64) float64 { return math.Sqrt(2 * c / (k * v)) }

// Economics are what the money of a cycle depends on beside the cost of visits.
type Economics struct {
	TreeValue      float64 // of a tree on the average, units of money; 0 where nobody valued them
	DeclinePerYear float64 // share of it lost for each year without pruning
}

// CycleResult is what one length of cycle comes to in the long run.
type CycleResult struct {
	CycleYears int
	Hours      float64 // crew-hours a year, set-ups included
	Cost       float64 // units of money a year, set-ups included
	HarmLeft   float64 // mean share of the expected harm that is left, 0 to 1
	// TakenOff is the expected harm taken off in a year, in the unit of the harm.
	TakenOff float64
	// MoneyPerTree is CycleCost: visits and loss of value, units of money a tree and
	// year.
	MoneyPerTree inventory.Opt[float64]
}

// Cycles compares lengths of cycle.
type Cycles struct {
	Results   []CycleResult
	VisitCost float64 // of a visit on the average, its share of the set-ups included
	// Best is the length that costs least by BestCycle, in years; it knows nothing
	// of harm.
	Best inventory.Opt[float64]
}

// CompareCycles says what it comes to in the long run when every candidate is
// visited every so many years, street by street, each group in one year of the
// cycle, whatever the budgets. A visit takes what the candidate's visits take on
// the average, and takes off their mean share; its effect lasts for Lasts years,
// and the next visit renews it and does not add to it. In closed form, of a cycle
// of T years the share of time with the effect is min(T, Lasts)/T.
func CompareCycles(p *Problem, cycles []int, e Economics) (*Cycles, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	if bad(e.TreeValue) || bad(e.DeclinePerYear) {
		return nil, inventory.Errorf(inventory.Invalid, "economics: tree value %v, decline %v, expected numbers from 0", e.TreeValue, e.DeclinePerYear)
	}
	var hours, cost, harm, off float64
	groups := 0
	order := p.sorted()
	for j, i := range order {
		c := &p.Candidates[i]
		if j == 0 || p.Candidates[order[j-1]].Group != c.Group {
			groups++
		}
		n := float64(len(c.Visits))
		for _, v := range c.Visits {
			hours += v.Hours / n
			cost += v.Cost / n
			off += c.Harm * v.TakesOff / n
		}
		harm += c.Harm
	}
	hours += float64(groups) * p.GroupHours
	cost += float64(groups) * p.GroupCost
	all := &Cycles{}
	if len(order) > 0 {
		all.VisitCost = cost / float64(len(order))
	}
	valued := e.TreeValue > 0 && e.DeclinePerYear > 0
	if valued {
		all.Best = inventory.Some(BestCycle(all.VisitCost, e.DeclinePerYear, e.TreeValue))
	}
	for _, t := range cycles {
		if t < 1 {
			return nil, inventory.Errorf(inventory.Invalid, "cycle: %d years, expected 1 or more", t)
		}
		years := float64(t)
		r := CycleResult{CycleYears: t, Hours: hours / years, Cost: cost / years, HarmLeft: 1}
		r.TakenOff = off * min(years, float64(p.Lasts)) / years
		if harm > 0 {
			r.HarmLeft = 1 - r.TakenOff/harm
		}
		if valued {
			r.MoneyPerTree = inventory.Some(CycleCost(all.VisitCost, e.DeclinePerYear, e.TreeValue, years))
		}
		all.Results = append(all.Results, r)
	}
	return all, nil
}
