package pruning

import (
	"math"
	"slices"

	"github.com/underbough/underbough/inventory/practice"
)

// step is one visit of a restoration, in years from the first.
type step struct {
	years int
	share float64 // of the live crown, within the cap
	do    func(b *builder, years int, share float64)
}

// plan lays out a restoration. The template's years count from the topping where
// that is known: shoots that are older than its first wait need not wait again,
// and the choice comes at the next visit. One small cut on a young tree needs no
// long plan.
func (b *builder) plan() []step {
	visits, between := b.p.Restoration.Visits, int(b.p.Restoration.Between.Value)
	if b.small() {
		return b.shortPlan()
	}
	if len(visits) == 1 {
		return []step{{b.s.WaitYears, visits[0].Dose.Value, (*builder).keepShoots}}
	}
	shift := 0.0
	if since, known := b.c.lastHeaded(b.old); known {
		shift = min(since, visits[1].AfterYears.Value-float64(max(1, between)))
	}
	steps := []step{{0, visits[0].Dose.Value, (*builder).safe}}
	for n := 1; n < len(visits); n++ {
		years := int(math.Ceil(visits[n].AfterYears.Value - shift - 1e-9))
		if n > 1 {
			years = max(years, steps[n-1].years+between)
		}
		do := (*builder).subordinate
		switch n {
		case 1:
			do = (*builder).keepShoots
		case len(visits) - 1:
			do = (*builder).oneLeader
		}
		steps = append(steps, step{max(years, b.s.WaitYears), visits[n].Dose.Value, do})
	}
	return steps
}

// small reports whether all there is to restore is one small cut on a young tree.
func (b *builder) small() bool {
	if b.s.Maturity != Young || len(b.old) != 1 {
		return false
	}
	cut := &b.c.Cuts[b.old[0]]
	return cutsOf(cut) == 1 && cut.Diameter.OK && cut.Diameter.V < b.p.Pruning.WoundCaution.Value
}

func (b *builder) shortPlan() []step {
	visits := b.p.Restoration.Visits
	share := visits[min(1, len(visits)-1)].Dose.Value
	if b.s.WaitYears > 0 {
		return []step{{b.s.WaitYears, share, (*builder).oneLeader}}
	}
	grown := max(int(b.p.Restoration.InnerGrowthYears.Value), int(b.p.Restoration.Between.Value), 1)
	return []step{{0, share, (*builder).keepShoots}, {grown, share, (*builder).oneLeader}}
}

// lookBetween has the tree looked at while nothing live is taken from it.
func (b *builder) lookBetween() {
	s, most := &b.s, int(b.p.Restoration.LookYears.Value)
	if s.Work != practice.Restoration || s.Visits[0].Dose > 0 {
		return
	}
	for i := 1; i < len(s.Visits); i++ {
		before := s.Visits[i-1].AfterYears
		if s.Visits[i].AfterYears-before > most {
			s.Visits = slices.Insert(s.Visits, i, Visit{AfterYears: before + most, Goal: "Look at the old cuts and the shoots on them; nothing live is cut.", Items: []Item{{Place: WholeCrown, Rule: LookBetween,
				Text: "Look at each old cut: record its shoots, their length and decay, and take out only what is dead or hung. Nothing live."}}})
			b.fire(LookBetween, "nothing live for "+count(s.Visits[i+1].AfterYears-before, "year", "years")+", looked at after "+count(most, "year", "years"), b.p.Restoration.LookYears.Source)
		}
		if s.Visits[i].Dose > 0 {
			return
		}
	}
}
