package pruning

import (
	"fmt"
	"math"
	"slices"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// Breach is a rule that a specification goes against.
type Breach struct {
	Rule Rule   `json:"rule"`
	Text string `json:"text"` // what breaks it, in figures
	// Final is set where no reason overrides the rule.
	Final bool `json:"final,omitempty"`
}

// slack keeps a share written as a third from falling short of one.
const slack = 1e-9

// forbidden are the kinds of cut that no specification asks for. Topping and
// heading are never specified, whatever the reason.
var forbidden = map[inventory.CutKind]Breach{
	inventory.CutTopping:     {NoTopping, "topping is asked for", true},
	inventory.CutHeading:     {NoHeading, "a heading cut is asked for", true},
	inventory.CutLionTailing: {NoLionTailing, "lion-tailing is asked for", false},
	inventory.CutFlush:       {NoFlush, "a flush cut is asked for", false},
	inventory.CutStub:        {NoStub, "a stub is asked for", false},
}

// Check returns every rule that a specification breaks, overridden ones too. It
// is empty for what Specify makes.
func Check(s *Specification, p *practice.Practice) []Breach {
	var out []Breach
	breach := func(rule Rule, format string, a ...any) {
		out = append(out, Breach{Rule: rule, Text: fmt.Sprintf(format, a...)})
	}
	limit, total := capOf(s.Maturity, s.Stressed, &p.Pruning), 0.0
	lastLive := -1
	for i := range s.Visits {
		v := &s.Visits[i]
		if v.Number != i+1 || i == 0 && v.AfterYears != 0 || i > 0 && v.AfterYears <= s.Visits[i-1].AfterYears {
			breach(VisitOrder, "visit %d has the number %d and comes %s after the first: visits are in order, each later than the one before, the first after 0 years", i+1, v.Number, count(v.AfterYears, "year", "years"))
		}
		total += v.Dose
		switch {
		case !(v.Dose >= 0):
			breach(DoseCap, "visit %d: a dose of %v, expected a share from 0", v.Number, v.Dose)
		case v.Dose > p.Pruning.DoseNever.Value+slack:
			never := p.Pruning.DoseNever
			out = append(out, Breach{Rule: DoseNever, Final: true, Text: fmt.Sprintf("visit %d takes %s of the live crown, over %s in one visit is no pruning (%s)", v.Number, percentOf(v.Dose), percentOf(never.Value), never.Source)})
		case v.Dose > limit+slack:
			trigger := ""
			if t := p.Pruning.DoseTrigger; v.Dose > t.Value+slack {
				trigger = "; over " + percentOf(t.Value) + ": " + t.Source
			}
			breach(DoseCap, "visit %d takes %s of the live crown, the cap is %s (%s%s)%s", v.Number, percentOf(v.Dose), percentOf(limit), s.Maturity, stressedText(s.Stressed), trigger)
		}
		if v.Dose > 0 {
			if why := uncut(s); why != "" {
				out = append(out, Breach{Rule: OpinionFirst, Final: true, Text: fmt.Sprintf("visit %d takes %s of the live crown: %s", v.Number, percentOf(v.Dose), why)})
			}
		}
		if v.Dose > p.Pruning.Dose.ToppedLately.Value+slack && v.AfterYears < s.WaitYears {
			breach(ToppedLately, "visit %d takes %s of the live crown %s after the first, %s to be waited", v.Number, percentOf(v.Dose), count(v.AfterYears, "year", "years"), count(s.WaitYears, "year is", "years are"))
		}
		if v.Dose > 0 {
			if apart := v.AfterYears - lastLive; lastLive >= 0 && float64(apart) < p.Restoration.Between.Value {
				breach(Between, "visit %d comes %s after the live visit before, expected %s or more", v.Number, count(apart, "year", "years"), yearsOf(p.Restoration.Between.Value))
			}
			lastLive = v.AfterYears
		}
		for k := range v.Items {
			out = append(out, checkItem(&v.Items[k], v.Number, p)...)
		}
	}
	if most := p.Pruning.DoseTotal.Value; total > most+slack {
		breach(DoseTotal, "all visits take %s of the live crown, the total is %s", percentOf(total), percentOf(most))
		out[len(out)-1].Final = total > 1+slack
	}
	out = append(out, checkWords(s)...)
	if s.Work != "" && s.CycleYears < 1 {
		breach(NaturalCycle, "a cycle of %s, expected 1 or more", count(s.CycleYears, "year", "years"))
	}
	if s.SecondOpinion != "" {
		if s.Work != practice.SecondOpinion {
			breach(OpinionFirst, "the work is %s where a second opinion is asked for: %s", s.Work, s.SecondOpinion)
		}
		if n := cutting(s); n > 0 {
			breach(OpinionFirst, "visit %d cuts before the second opinion: %s", n, s.SecondOpinion)
		}
	}
	return out
}

// checkItem looks at one instruction.
func checkItem(item *Item, visit int, p *practice.Practice) []Breach {
	var out []Breach
	if b, ok := forbidden[item.Cut]; ok {
		b.Text = fmt.Sprintf("visit %d: %s", visit, b.Text)
		out = append(out, b)
	}
	breach := func(rule Rule, format string, a ...any) {
		out = append(out, Breach{Rule: rule, Text: fmt.Sprintf("visit %d: ", visit) + fmt.Sprintf(format, a...)})
	}
	q := &p.Pruning
	least := q.LateralShare.Value
	// A cut to less is a heading cut, whatever it is called.
	if item.Cut == inventory.CutReduction && !(item.LateralShare >= least-slack) {
		breach(LateralLeast, "a reduction to a lateral of %s of what is removed is a heading cut, expected %s or more", percentOf(item.LateralShare), shareWords(least))
		out[len(out)-1].Final = true
	}
	if item.Cut == inventory.CutRemoval && item.Place == LimbInside {
		breach(NoLionTailing, "branches inside a limb are removed")
	}
	if !(item.SizeTo <= q.WoundMost.Value+slack && item.SizeFrom <= q.WoundMost.Value+slack) || math.IsNaN(item.SizeFrom) {
		breach(WoundMost, "a cut of up to %s, the widest is %s", cm(max(item.SizeTo, item.SizeFrom)), cm(q.WoundMost.Value))
	}
	return out
}

// checkWords looks at what a person wrote: words are no way around the rules.
func checkWords(s *Specification) []Breach {
	var out []Breach
	look := func(where, text string) {
		if found := ordered(text); len(found) > 0 {
			out = append(out, Breach{Rule: NoTopping, Final: true, Text: fmt.Sprintf("%s orders topping or heading: %q", where, found)})
		}
	}
	look("the objective", s.Objective)
	look("the note", s.Note)
	for i := range s.Visits {
		for k := range s.Visits[i].Items {
			if item := &s.Visits[i].Items[k]; item.Rule == ByHand {
				look(fmt.Sprintf("an item of visit %d", s.Visits[i].Number), item.Text)
			}
		}
	}
	return out
}

// uncut says why nothing live is taken, empty where it may be.
func uncut(s *Specification) string {
	switch {
	case isDead(s):
		return "a dead tree has no live crown to take"
	case s.Work == practice.SecondOpinion:
		return "nothing is cut before the look; change the work first"
	}
	return ""
}

// isDead reports whether a specification is of a dead tree.
func isDead(s *Specification) bool {
	return slices.ContainsFunc(s.Rules, func(f Fired) bool { return f.Rule == DeadTree })
}

// cutting returns the first visit that cuts anything but hung parts, 0 for none.
func cutting(s *Specification) int {
	for i := range s.Visits {
		if s.Visits[i].Dose > 0 {
			return s.Visits[i].Number
		}
		for k := range s.Visits[i].Items {
			if item := &s.Visits[i].Items[k]; item.Cut != "" && item.Rule != HungParts {
				return s.Visits[i].Number
			}
		}
	}
	return 0
}

func stressedText(stressed bool) string {
	if stressed {
		return ", stressed"
	}
	return ""
}
