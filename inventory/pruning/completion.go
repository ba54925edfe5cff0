package pruning

import (
	"fmt"
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
// removal or reduction, laterals too small, stubs, wounds wider than agreed, and
// more of the crown taken than the visit allows. visit is of s, from 1.
func Review(c *inventory.Completion, s *Specification, visit int, p *practice.Practice) []inventory.Defect {
	var out []inventory.Defect
	add := func(cut int, rule Rule, format string, args ...any) {
		out = append(out, inventory.Defect{Cut: cut, Rule: string(rule), What: fmt.Sprintf(format, args...)})
	}
	for i := range c.Cuts {
		m := &c.Cuts[i]
		kind := ClassMade(m, p)
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
			}
		}
		if m.Diameter.OK && m.Diameter.V > p.Pruning.WoundMost.Value && !agreed(s, WoundMost) && !deviates(c, "wound", "diameter", "size") {
			add(i, WoundMost, "wound of %s, above %s, without a deviation that says why", centimetres(m.Diameter.V), centimetres(p.Pruning.WoundMost.Value))
		}
	}
	if visit >= 1 && visit <= len(s.Visits) && c.Dose.OK && c.Dose.V > s.Visits[visit-1].Dose+1e-9 {
		add(-1, DoseCap, "%.0f %% of the live crown was taken, the visit allows %.0f %%", c.Dose.V*100, s.Visits[visit-1].Dose*100)
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

// deviates reports whether a recorded deviation is about any of some words.
func deviates(c *inventory.Completion, words ...string) bool {
	for _, d := range c.Deviations {
		for _, w := range words {
			if strings.Contains(strings.ToLower(d.What), w) {
				return true
			}
		}
	}
	return false
}

// centimetres writes a length in metres.
func centimetres(m float64) string { return fmt.Sprintf("%.1f cm", m*100) }
