package risk

import (
	"fmt"
	"math"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

// Screener applies a profile's thresholds as of a day.
type Screener struct {
	s         profile.Screening
	rating    profile.Rating
	occupancy profile.Occupancy
	asOf      time.Time
	// staleBefore is the day before which a visit is out of date.
	staleBefore time.Time
}

// NewScreener returns a screener that counts years to asOf.
func NewScreener(p *profile.Profile, asOf time.Time) *Screener {
	whole, rest := math.Modf(p.Screening.StaleVisitYears.Value)
	staleBefore := asOf.AddDate(-int(whole), 0, -int(math.Round(rest*daysInYear)))
	return &Screener{s: p.Screening, rating: p.Rating, occupancy: p.Occupancy, asOf: asOf, staleBefore: staleBefore}
}

// WholeTree judges the tree as a whole. visits are in order of their day.
func (s *Screener) WholeTree(t *inventory.Tree, visits []inventory.Visit) Judgement {
	if j, ok := s.judged(exposure.WholeTree, visits, nil); ok {
		return j
	}
	return s.byStem(t, visits)
}

// Crown judges the crown's branches.
func (s *Screener) Crown(t *inventory.Tree, visits []inventory.Visit) Judgement {
	if j, ok := s.judged(exposure.Crown, visits, nil); ok {
		return j
	}
	j := Judgement{Likelihood: inventory.Improbable, Part: exposure.Crown, Inferred: true, Rule: NothingKnown}
	if t.Status == inventory.Dead {
		j.Likelihood, j.Rule = inventory.Probable, DeadTree
	}
	return j
}

// Limb judges the limb of t that carries cut c. A visit's word on the limbs
// holds only for cuts that were there to be seen.
func (s *Screener) Limb(t *inventory.Tree, c *inventory.Cut, visits []inventory.Visit) Judgement {
	if j, ok := s.judged(exposure.Limb, visits, c); ok {
		return j
	}
	j := Judgement{Part: exposure.Limb, Inferred: true}
	if t.Status == inventory.Dead {
		j.Likelihood, j.Rule = inventory.Probable, DeadTree
	} else {
		j.Likelihood, j.Rule = s.signsOf(t, c).judge(c.Kind)
	}
	return j
}

// judged returns the latest visit's word on a part.
func (s *Screener) judged(part exposure.Part, visits []inventory.Visit, c *inventory.Cut) (Judgement, bool) {
	i := s.judgingVisit(part, visits, c)
	if i < 0 {
		return Judgement{}, false
	}
	v := &visits[i]
	return Judgement{Likelihood: wordOn(part, v), Part: part, Stale: v.On.Before(s.staleBefore)}, true
}

// judgingVisit returns the place of the latest visit with a word on a part, -1
// for none: a silent visit leaves an older one standing.
func (s *Screener) judgingVisit(part exposure.Part, visits []inventory.Visit, c *inventory.Cut) int {
	year, dated := 0, false
	if c != nil {
		year, dated = c.MadeYear()
	}
	for i := len(visits) - 1; i >= 0; i-- {
		v := &visits[i]
		if v.On.After(s.asOf) || wordOn(part, v) == inventory.Unjudged {
			continue
		}
		if dated && v.On.Year() < year || c != nil && c.On.OK && v.On.Before(c.On.V) {
			continue
		}
		return i
	}
	return -1
}

func wordOn(part exposure.Part, v *inventory.Visit) inventory.Likelihood {
	switch part {
	case exposure.WholeTree:
		return v.WholeTree
	case exposure.Crown:
		return v.Crown
	}
	return v.Limb
}

// Years returns the years since the cut was made.
func (s *Screener) Years(c *inventory.Cut) (float64, bool) { return s.years(c) }

func (s *Screener) years(c *inventory.Cut) (float64, bool) {
	if c.On.OK {
		return yearsBetween(c.On.V, s.asOf), true
	}
	if year, ok := c.MadeYear(); ok {
		return float64(s.asOf.Year() - year), true
	}
	return 0, false
}

const daysInYear = 365.25

// yearsBetween counts anniversaries, and the days since the last as a share of
// a year, so that a cut of five years ago to the day is five years old.
func yearsBetween(from, to time.Time) float64 {
	whole := to.Year() - from.Year()
	if from.AddDate(whole, 0, 0).After(to) {
		whole--
	}
	return float64(whole) + to.Sub(from.AddDate(whole, 0, 0)).Hours()/(24*daysInYear)
}

// Describe says in words and figures what is known of a cut.
func (s *Screener) Describe(c *inventory.Cut) string {
	text := string(c.Kind)
	if c.Kind == inventory.CutTopping {
		text = "topped"
	}
	if year, ok := c.MadeYear(); ok {
		years, _ := s.Years(c)
		text += fmt.Sprintf(" %d (%.0f years)", year, years)
	} else {
		text += ", year unknown"
	}
	if c.Diameter.OK {
		text += fmt.Sprintf(", %.0f cm across", c.Diameter.V*100)
	}
	if c.RegrowthLength.OK {
		text += fmt.Sprintf(", shoots to %.1f m", c.RegrowthLength.V)
	}
	if c.Decay.Or(false) {
		text += ", decay"
	}
	return text
}

// rounding keeps a share that was recorded as two thirds from falling short of
// a limit written as 0.6666666667.
const rounding = 1e-9

func atLeast(v, limit float64) bool { return v >= limit-rounding }
func above(v, limit float64) bool   { return v > limit+rounding }
