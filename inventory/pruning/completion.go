package pruning

import (
	"fmt"
	"slices"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// ClassMade classes one cut as it was made, by the lateral rule and the length
// of wood left beyond the collar. A cut that the crew calls a reduction and that
// was not made to a recorded lateral keeps its name; that is a defect of the
// record.
func ClassMade(c *inventory.MadeCut, p *practice.Practice) inventory.CutKind {
	if isStub(c, p) {
		return inventory.CutStub
	}
	if c.Kind == inventory.CutReduction || c.Kind == inventory.CutHeading {
		if kind, ok := inventory.ClassByLateral(c.Diameter, c.LateralDiameter, p.Pruning.LateralShare.Value); ok {
			return kind
		}
	}
	return c.Kind
}

func isStub(c *inventory.MadeCut, p *practice.Practice) bool {
	if !c.StubLength.OK || c.Kind != inventory.CutRemoval && c.Kind != inventory.CutStub {
		return c.Kind == inventory.CutStub
	}
	most := p.Pruning.StubMost.Value
	if c.Diameter.OK {
		most = min(most, c.Diameter.V)
	}
	return c.StubLength.V > most
}

// Review finds what is wrong with work as its crew recorded it: cuts that are no
// removal or reduction, laterals too small, stubs, wounds wider than agreed, more
// of the crown taken than the visit allows, over this round and those before, a
// tree felled, and nothing recorded. visit is of s, from 1.
func Review(c *inventory.Completion, s *Specification, visit int, p *practice.Practice) []inventory.Defect {
	return ReviewOn(c, s, visit, inventory.Opt[float64]{}, p)
}

// ReviewOn is Review of work on a tree whose stem is recorded, metres: no cut is
// wider than that.
func ReviewOn(c *inventory.Completion, s *Specification, visit int, stem inventory.Opt[float64], p *practice.Practice) []inventory.Defect {
	var out []inventory.Defect
	add := func(cut int, rule Rule, format string, args ...any) {
		out = append(out, inventory.Defect{Cut: cut, Rule: string(rule), What: fmt.Sprintf(format, args...)})
	}
	if c.Removed && s.Work != practice.SecondOpinion {
		why := "without a deviation that says why"
		if i := deviation(c, "fell", "remov", "taken down", "took down", "tree"); i >= 0 {
			why = "by the deviation: " + c.Deviations[i].What + ", " + c.Deviations[i].Reason
		}
		add(-1, Felled, "the tree was taken down, the work was %s: %s", s.Work, why)
	}
	if nothing := len(c.Cuts) == 0 && !c.Dose.OK && len(c.Deviations) == 0 && !c.Removed && !c.Finished; nothing && visit >= 1 && visit <= len(s.Visits) && asksCut(&s.Visits[visit-1]) {
		add(-1, NothingRecorded, "no cut, no dose and no deviation was recorded, and visit %d asks for cuts: record what was cut, or why nothing was", visit)
	}
	for i := range c.Cuts {
		m := &c.Cuts[i]
		kind := ClassMade(m, p)
		if stem.OK && stem.V > 0 && m.Diameter.OK && m.Diameter.V > stem.V*(1+slack) {
			add(i, WiderThanStem, "a cut of %s on a stem of %s: check both measures", centimetres(m.Diameter.V), centimetres(stem.V))
		}
		switch kind {
		case inventory.CutHeading:
			if m.LateralDiameter.OK && m.Diameter.OK {
				add(i, LateralLeast, "heading cut: the lateral of %s is %.2f of the %s cut, below %.2f", centimetres(m.LateralDiameter.V), m.LateralDiameter.V/m.Diameter.V, centimetres(m.Diameter.V), p.Pruning.LateralShare.Value)
			} else {
				add(i, NoHeading, "heading cut: cut between nodes, or to no lateral")
			}
		case inventory.CutTopping:
			add(i, NoTopping, "topping is never asked for")
		case inventory.CutLionTailing:
			add(i, NoLionTailing, "the inside of a limb was stripped")
		case inventory.CutFlush:
			add(i, NoFlush, "a flush cut: cut into or behind the collar")
		case inventory.CutStub:
			if m.StubLength.OK {
				add(i, NoStub, "a stub of %s was left: cut back to the collar", centimetres(m.StubLength.V))
			} else {
				add(i, NoStub, "a stub was left: cut back to the collar")
			}
		case inventory.CutReduction:
			if !m.Diameter.OK || !m.LateralDiameter.OK {
				add(i, LateralLeast, "reduction without its diameter or its lateral's: the cut cannot be classed; record both")
			} else if m.LateralDiameter.V > m.Diameter.V*(1+slack) {
				add(i, SwappedLateral, "the lateral of %s is thicker than the %s cut: a removal of the smaller one, or the measures are swapped", centimetres(m.LateralDiameter.V), centimetres(m.Diameter.V))
			}
		}
		if m.Diameter.OK && m.Diameter.V > p.Pruning.WoundMost.Value && !agreed(s, WoundMost) && deviation(c, "wound", "diameter", "size") < 0 {
			add(i, WoundMost, "wound of %s, above %s, without a deviation that says why", centimetres(m.Diameter.V), centimetres(p.Pruning.WoundMost.Value))
		}
	}
	if dose := c.TotalDose(); visit >= 1 && visit <= len(s.Visits) && dose.OK && dose.V > s.Visits[visit-1].Dose+slack {
		over := ""
		if n := len(c.Earlier); n > 0 {
			over = " over " + count(n+1, "round", "rounds")
		}
		add(-1, DoseCap, "%s of the live crown was taken%s, the visit allows %s", percentOf(dose.V), over, percentOf(s.Visits[visit-1].Dose))
	}
	return out
}

// agreed reports whether somebody went against a rule in the specification itself.
func agreed(s *Specification, r Rule) bool {
	for _, o := range s.Overrides {
		if o.Rule == r {
			return true
		}
	}
	return false
}

// asksCut reports whether a visit asks for any cut.
func asksCut(v *Visit) bool {
	return slices.ContainsFunc(v.Items, func(item Item) bool { return item.Cut != "" })
}

// deviation is the place of the recorded deviation that is about any of some
// words and gives a reason; -1 for none.
func deviation(c *inventory.Completion, words ...string) int {
	return slices.IndexFunc(c.Deviations, func(d inventory.Deviation) bool {
		return strings.TrimSpace(d.Reason) != "" && slices.ContainsFunc(words, func(w string) bool { return strings.Contains(strings.ToLower(d.What), w) })
	})
}

// centimetres writes a length in metres.
func centimetres(m float64) string { return fmt.Sprintf("%.1f cm", m*100) }
