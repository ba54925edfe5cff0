package pruning

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/underbough/underbough/inventory/practice"
)

// After returns a specification with the visits still to come fitted to what was
// done: together with what was taken they stay within the total over all visits,
// and after a visit that took more than the cap of a season the next live one
// waits the growing seasons. A dose that nobody recorded counts as the one allowed.
// Visits that were made stay as they were specified. s is left as it is; where
// nothing was taken too much it is returned unchanged.
func After(s Specification, done []Done, p *practice.Practice) Specification {
	made := slices.DeleteFunc(slices.Clone(done), func(d Done) bool { return d.Visit < 1 || d.Visit > len(s.Visits) })
	slices.SortStableFunc(made, func(a, b Done) int { return a.On.Compare(b.On) })
	if len(made) == 0 {
		return s
	}
	taken, over := 0.0, -1
	perVisit := make(map[int]float64)
	for i, d := range made {
		dose := d.Dose.Or(s.Visits[d.Visit-1].Dose)
		if !(dose >= 0) {
			dose = 0
		}
		taken += dose
		perVisit[d.Visit] += dose
		if perVisit[d.Visit] > max(capOf(s.Maturity, s.Stressed, &p.Pruning), s.Visits[d.Visit-1].Dose)+slack {
			over = i
		}
	}
	out := copied(&s)
	var say []string
	for _, n := range slices.Sorted(maps.Keys(perVisit)) {
		if allowed := s.Visits[n-1].Dose; perVisit[n] > allowed+slack {
			say = append(say, fmt.Sprintf("visit %d took %s, %s was allowed", n, percentOf(perVisit[n]), percentOf(allowed)))
		}
	}
	came := func(v *Visit) bool { _, ok := perVisit[v.Number]; return ok }
	if words := out.lighter(came, taken, p.Pruning.DoseTotal.Value); words != "" {
		say = append(say, words)
	}
	if over >= 0 {
		if words := out.later(came, made, over, int(p.Pruning.OverDoseYears.Value)); words != "" {
			say = append(say, words)
		}
	}
	if len(say) == 0 {
		return s
	}
	out.Rules = slices.DeleteFunc(out.Rules, func(f Fired) bool { return f.Rule == OverDose })
	out.Rules = append(out.Rules, Fired{Rule: OverDose, Why: strings.Join(say, "; "), Source: p.Pruning.OverDoseYears.Source})
	out.DoseTotal = doseTotal(&out)
	return out
}

// lighter makes the visits to come take no more than what is left of the total.
func (s *Specification) lighter(came func(*Visit) bool, taken, most float64) string {
	coming := 0.0
	for i := range s.Visits {
		if !came(&s.Visits[i]) {
			coming += s.Visits[i].Dose
		}
	}
	left := max(0, most-taken)
	if coming <= left+slack {
		return ""
	}
	for i := range s.Visits {
		v := &s.Visits[i]
		if came(v) || v.Dose == 0 {
			continue
		}
		asked := v.Dose
		v.Dose = math.Floor(v.Dose*left/coming*1e4+1e-6) / 1e4
		v.Items = slices.DeleteFunc(v.Items, func(item Item) bool { return item.Rule == DoseCap })
		fit(v, asked)
		if len(v.Items) == 0 {
			v.Items = []Item{{Place: WholeCrown, Rule: LookBetween, Text: "Look at the old cuts and their shoots and record them. Nothing live: more of the crown was taken before than was allowed."}}
		}
		if v.Goal == "" || v.Dose == 0 {
			v.Goal = "Look at the tree, dead and hung parts out; nothing live is cut."
		}
	}
	return fmt.Sprintf("%s taken of the %s in all: the visits to come take %s together", percentOf(taken), percentOf(most), percentOf(left))
}

// later moves the next live visit, and those after it, so that so many years lie
// between it and the visit that took too much.
func (s *Specification) later(came func(*Visit) bool, made []Done, over, years int) string {
	next := slices.IndexFunc(s.Visits, func(v Visit) bool { return !came(&v) && v.Dose > 0 })
	if next < 0 {
		return ""
	}
	// What is due counts from the visit made last.
	last := made[len(made)-1]
	least := s.Visits[last.Visit-1].AfterYears + made[over].On.Year() + years - last.On.Year()
	shift := least - s.Visits[next].AfterYears
	if shift <= 0 {
		return ""
	}
	for i := next; i < len(s.Visits); i++ {
		s.Visits[i].AfterYears += shift
	}
	return fmt.Sprintf("nothing live for %s after it: visit %d comes %s later", count(years, "year", "years"), s.Visits[next].Number, count(shift, "year", "years"))
}
