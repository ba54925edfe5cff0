package risk

import (
	"fmt"
	"math"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
)

const dayLayout = "2006-01-02"

// Why says in words what a judgement rests on: the visit and its age, or the
// rule with every value it looked at and the limit of each. It takes what the
// judgement was made from; c is the limb's cut and nil for the other parts.
func (s *Screener) Why(j Judgement, t *inventory.Tree, c *inventory.Cut, visits []inventory.Visit) string {
	if !j.Inferred {
		return s.whyJudged(j, c, visits)
	}
	var values []string
	switch {
	case j.Rule == DeadTree:
	case j.Part == exposure.Limb && c != nil:
		values = s.cutValues(s.signsOf(t, c), t, c, j.Rule)
	case j.Part == exposure.WholeTree:
		values = s.stemValues(j, t, visits)
	}
	if len(values) == 0 {
		return j.Rule.String()
	}
	return j.Rule.String() + ": " + strings.Join(values, ", ")
}

func (s *Screener) whyJudged(j Judgement, c *inventory.Cut, visits []inventory.Visit) string {
	text := "judged " + j.Likelihood.String()
	i := s.judgingVisit(j.Part, visits, c)
	if i < 0 {
		return text
	}
	v := &visits[i]
	if v.By != "" {
		text += " by " + v.By
	}
	return text + " on " + v.On.Format(dayLayout) + s.staleNote(j, v)
}

func (s *Screener) staleNote(j Judgement, v *inventory.Visit) string {
	if !j.Stale {
		return ""
	}
	return fmt.Sprintf(", out of date: %s ago, limit %g", yearsText(yearsBetween(v.On, s.asOf)), s.s.StaleVisitYears.Value)
}

// cutValues lists what the rules for cuts looked at. A wound's size says little
// of shoots and is left out there, until the wound is what the rule is about.
func (s *Screener) cutValues(g signs, t *inventory.Tree, c *inventory.Cut, rule Rule) []string {
	values := []string{s.madeText(g, c)}
	say := func(format string, a ...any) { values = append(values, fmt.Sprintf(format, a...)) }
	shoots, wound := g.shoots(c.Kind), rule == WideWound || rule == OpenWound || rule == CautionWound || rule == WideForParent || rule == SmallWound
	if shoots {
		if c.RegrowthLength.OK {
			say("shoots %.1f m (limit %.1f)", c.RegrowthLength.V, s.s.HeavyRegrowth.Value)
		}
		if g.shootRatio >= 0 {
			near := ""
			if atLeast(g.shootRatio, s.s.ShootRatioWork.Value) {
				near = fmt.Sprintf("; work to be planned near %.2f", s.s.ShootRatioWork.Value)
			}
			say("base %s on a stub of %s (ratio %.2f, limit %.2f%s)", cm(c.RegrowthDiameter.V), cm(c.Diameter.V), g.shootRatio, s.s.ShootRatio.Value, near)
		}
	}
	if c.Kind == inventory.CutLionTailing {
		if c.BareShare.OK {
			say("%.0f %% of the limb bare (limit %.0f %%)", c.BareShare.V*100, s.s.BareShare.Value*100)
		}
		if c.Reach.OK {
			say("%.1f m from the trunk (limit %.1f)", c.Reach.V, s.s.LongLimb.Value)
		}
	}
	if g.decay {
		say("decay seen")
	}
	if c.Closure.OK {
		say("%.0f %% closed (limit %.0f %% after %g years)", c.Closure.V*100, s.s.OpenClosure.Value*100, s.s.OpenYears.Value)
	}
	if g.lateralRatio >= 0 {
		say("lateral %s on a cut of %s (ratio %.2f, limit %.2f)", cm(c.LateralDiameter.V), cm(c.Diameter.V), g.lateralRatio, s.s.LateralShare.Value)
	}
	if wound && c.Diameter.OK {
		say("cut %s across (caution %s, limit %s)", cm(c.Diameter.V), cm(s.s.CautionCut.Value), cm(s.s.WideCut.Value))
		if g.woundShare >= 0 {
			say("stem %s (ratio at least %.2f, limit %.2f)", cm(t.DBH.V), g.woundShare, s.s.WoundShare.Value)
		}
	}
	return values
}

var cutWords = map[inventory.CutKind]string{
	inventory.CutRemoval: "branch removed", inventory.CutReduction: "reduced", inventory.CutHeading: "headed",
	inventory.CutTopping: "topped", inventory.CutLionTailing: "lion-tailed", inventory.CutFlush: "flush cut", inventory.CutStub: "stub cut",
}

func (s *Screener) madeText(g signs, c *inventory.Cut) string {
	text := cutWords[c.Kind]
	limit := ""
	if g.shoots(c.Kind) {
		limit = fmt.Sprintf(", limit %g", s.s.RegrownYears.Value)
	}
	year, ok := c.MadeYear()
	if !ok {
		if limit != "" {
			limit = " (taken for old" + limit + ")"
		}
		return text + ", year unknown" + limit
	}
	return fmt.Sprintf("%s %d (%s ago%s)", text, year, yearsText(g.years), limit)
}

// stemValues lists what the rules for the whole tree looked at.
func (s *Screener) stemValues(j Judgement, t *inventory.Tree, visits []inventory.Visit) []string {
	var values []string
	say := func(format string, a ...any) { values = append(values, fmt.Sprintf(format, a...)) }
	if l, i := s.measuredLoss(visits); i >= 0 {
		v, limits := &visits[i], &s.s.Cavity
		q, _ := SectionOf(v)
		say("%s decayed of a stem of %s with %s of sound wall on %s%s", cm(q.Decay), cm(q.Stem), cm(q.Wall), v.On.Format(dayLayout), s.staleNote(j, v))
		say("Wagener %.2f (limit %.2f)", l.Wagener, limits.Wagener.Value)
		say("Coder %.2f (caution %.2f, limit %.2f)", l.Coder, limits.CoderCaution.Value, limits.CoderHazard.Value)
		if l.Opening > 0 {
			say("with %.0f %% of the girth open %.2f (limit %.2f)", l.Opening*100, l.WithOpening, limits.WithOpening.Value)
		}
		if above(l.Opening, limits.Opening.Value) {
			say("t/R %.2f does not hold with more than %.0f degrees open", l.Wall, limits.Opening.Value*360)
		} else {
			say("t/R %.2f (caution below %.2f, disputed)", l.Wall, limits.Wall.Value)
		}
	}
	values = append(values, s.unusable(visits)...)
	if t.Lean.OK {
		say("leans %.0f degrees (limit %.0f)", t.Lean.V, s.s.Lean.Value)
	}
	if h, ok := Slenderness(t); ok {
		say("slenderness %.0f (shown only, no limit)", h)
	}
	return values
}

// unusable says which measures at a cavity cannot be.
func (s *Screener) unusable(visits []inventory.Visit) []string {
	var out []string
	for i := range visits {
		if visits[i].On.After(s.asOf) {
			continue
		}
		if q, ok := SectionOf(&visits[i]); ok {
			if _, err := q.Loss(); err != nil {
				out = append(out, fmt.Sprintf("measures at the stem on %s not used: %v", visits[i].On.Format(dayLayout), err))
			}
		}
	}
	return out
}

// cm writes a length in metres as centimetres, with a decimal only where it
// says something.
func cm(metres float64) string {
	v := math.Round(metres*1000) / 10
	if v == math.Trunc(v) {
		return fmt.Sprintf("%.0f cm", v)
	}
	return fmt.Sprintf("%.1f cm", v)
}

func yearsText(years float64) string {
	v := math.Round(years*10) / 10
	if years >= 2 {
		v = math.Floor(years + 1e-9)
	}
	if v == 1 {
		return "1 year"
	}
	return fmt.Sprintf("%g years", v)
}
