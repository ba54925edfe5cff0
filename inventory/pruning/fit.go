package pruning

import (
	"slices"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// fit makes the items of a visit fit its dose: where nothing live may be taken
// none asks for it, and where less may than was asked for it says so.
func fit(v *Visit, asked float64) {
	live := slices.ContainsFunc(v.Items, takesLive)
	switch {
	case !live:
		v.Dose = 0
	case v.Dose == 0:
		v.Items, v.Goal = slices.DeleteFunc(v.Items, takesLive), ""
	case v.Dose < asked-1e-4:
		v.Items = append(v.Items, Item{Place: WholeCrown, Rule: DoseCap,
			Text: "Cut live wood only as far as the dose of " + percentOf(v.Dose) + " of the live crown allows, the most urgent first; the rest waits for the next visit or look."})
	}
}

// takesLive reports whether an item of the rules takes live crown. What a person
// added counts where it is a reduction.
func takesLive(item Item) bool {
	switch item.Rule {
	case LongShoots, KeepShoots, Subordinate, OneLeader, BareLimb, InnerShoots, OverExtended, LongSide, YoungTree, Crossing:
		return item.Cut != ""
	case ByHand:
		return item.Cut == inventory.CutReduction
	}
	return false
}

// cycle sets when the next look is due.
func (b *builder) cycle() {
	n := cycleOf(b.s.Maturity, b.s.Stressed, &b.p.Cycle)
	b.s.CycleYears = int(n.Value)
	if b.bad && b.p.Cycle.InspectYears.Value < n.Value {
		b.s.CycleYears = int(b.p.Cycle.InspectYears.Value)
		b.fire(LookAgain, "old bad cuts are recorded: looked at "+count(b.s.CycleYears, "year", "years")+" after the last visit", b.p.Cycle.InspectYears.Source)
		return
	}
	vigour := string(b.s.Maturity)
	if b.s.Stressed {
		vigour += ", stressed"
	}
	b.fire(NaturalCycle, vigour+": every "+count(b.s.CycleYears, "year", "years"), n.Source)
}

func cycleOf(m Maturity, stressed bool, c *practice.Cycle) practice.Number {
	switch {
	case stressed:
		return c.Stressed
	case m == Young:
		return c.Young
	case m == Established:
		return c.Established
	}
	return c.Mature
}
