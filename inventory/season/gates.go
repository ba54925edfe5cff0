package season

import (
	"slices"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// The names of gates.
const (
	Permit        = "permit"
	LineClearance = "line clearance"
	NestSurvey    = "nest survey"
	RoadClosure   = "road closure"
)

// GateCase is a job whose gates are asked for.
type GateCase struct {
	Case
	From, To    time.Time // days that it is planned for, both included
	LineInReach bool      // a utility line is within reach of the tree or of the work
}

// Gates lists what has to be settled before a job is taken in hand. A permit is
// always among it: whether the local tree ordinance asks for one is not recorded.
//
// Work that is not urgent keeps out of nesting windows, so that a survey is asked
// for only where no planned day is open and somebody plans it all the same. A
// nesting window is told by what it asks of urgent work: a survey.
func Gates(c GateCase, p *practice.Windows) []inventory.Gate {
	return NewCalendar(p, c.From, c.To).Gates(c)
}

// Gates is as the function of that name, for the calendar's days: From and To of
// the case are left aside.
func (k *Calendar) Gates(c GateCase) []inventory.Gate {
	gates := []inventory.Gate{{Name: Permit, Why: "the local tree ordinance may ask for a permit: ask the city, and write down its number or that none is needed"}}
	if c.LineInReach || slices.Contains(c.Over, inventory.UtilityLine) {
		// METHOD section 8: 29 CFR 1910.269 keeps unqualified workers 10 ft (3.05 m) and
		// more away, by voltage; a voltage that is not known needs the utility.
		gates = append(gates, inventory.Gate{Name: LineClearance, Why: "a utility line is within reach: only workers qualified for line clearance work here, and the line's owner is told before"})
	}
	if o := k.Openings(c.Case); c.Urgent || len(o.Open) == 0 {
		if from, to, ok := o.survey(); ok {
			gates = append(gates, inventory.Gate{Name: NestSurvey, Why: "planned in a nesting window (" + days(from, to) + "): somebody who knows birds looks for nests on the day of the work"})
		}
	}
	switch {
	case slices.Contains(c.Over, inventory.Road):
		gates = append(gates, inventory.Gate{Name: RoadClosure, Why: "the crown is over a road: a closure or traffic plan that the road's owner agreed to"})
	case slices.Contains(c.Over, inventory.TransitStop):
		gates = append(gates, inventory.Gate{Name: RoadClosure, Why: "the crown is over a transit stop: a closure or traffic plan that the operator agreed to"})
	}
	return gates
}

// survey returns the first and the last day that a window with a survey covers.
func (o *Openings) survey() (from, to time.Time, ok bool) {
	for day := o.From; !day.After(o.To); day = day.AddDate(0, 0, 1) {
		for i := range o.rules {
			if r := &o.rules[i]; r.survey && r.covers(day) {
				if !ok {
					from = day
				}
				to, ok = day, true
			}
		}
	}
	return from, to, ok
}
