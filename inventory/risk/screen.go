package risk

import (
	"fmt"
	"math"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// Judgement is how likely one part is to fail, and who or what says so.
type Judgement struct {
	Likelihood inventory.Likelihood
	Inferred   bool // by a screening rule, not by a person
	Stale      bool // the visit is older than the profile's limit
	Rule       Rule
}

// Rule names a screening rule, or the visit that made one unnecessary.
type Rule uint8

// The screening rules.
const (
	Judged       Rule = iota // a person judged this part
	NothingKnown             // a living tree without a record against the part
	DeadTree                 // a dead tree loses parts until it falls
	FreshCut                 // a bad cut too young to carry long shoots
	WideWound                // a wide stub or flush cut, or decay seen at it
	SmallWound               // a small stub or flush cut
	Regrown                  // shoots grown back over an old topping or heading cut
	RegrownHeavy             // the same, and heavy or over decay
	BareLimb                 // a limb stripped of its inner laterals
	LongBareLimb             // the same, and long
)

var ruleWords = [...]string{
	"judged", "nothing known", "dead tree", "fresh cut", "wide wound", "small wound",
	"regrowth on an old cut", "heavy regrowth or decay on an old cut", "bare limb", "long bare limb",
}

func (r Rule) String() string { return ruleWords[r] }

// Screener applies a profile's thresholds as of a day.
type Screener struct {
	s    profile.Screening
	asOf time.Time
}

// NewScreener returns a screener that counts years to asOf.
func NewScreener(p *profile.Profile, asOf time.Time) *Screener {
	return &Screener{s: p.Screening, asOf: asOf}
}

// WholeTree judges the tree as a whole. visits are in order of their day.
func (s *Screener) WholeTree(t inventory.Tree, visits []inventory.Visit) Judgement {
	if j, ok := s.judged(visits, func(v *inventory.Visit) inventory.Likelihood { return v.WholeTree }); ok {
		return j
	}
	return unjudgedTree(t)
}

// Crown judges the crown's branches.
func (s *Screener) Crown(t inventory.Tree, visits []inventory.Visit) Judgement {
	if j, ok := s.judged(visits, func(v *inventory.Visit) inventory.Likelihood { return v.Crown }); ok {
		return j
	}
	return unjudgedTree(t)
}

// Limb judges the limb that carries cut c. A visit's word on the limbs holds
// only for cuts that were there to be seen.
func (s *Screener) Limb(c inventory.Cut, visits []inventory.Visit) Judgement {
	year, dated := c.MadeYear()
	j, ok := s.judged(visits, func(v *inventory.Visit) inventory.Likelihood {
		if dated && v.On.Year() < year {
			return inventory.Unjudged
		}
		return v.Limb
	})
	if ok {
		return j
	}
	l, rule := s.byCut(c)
	return Judgement{Likelihood: l, Inferred: true, Rule: rule}
}

// judged returns the latest visit's word on a part; a silent visit leaves an
// older one standing.
func (s *Screener) judged(visits []inventory.Visit, of func(*inventory.Visit) inventory.Likelihood) (Judgement, bool) {
	for i := len(visits) - 1; i >= 0; i-- {
		v := &visits[i]
		if v.On.After(s.asOf) {
			continue
		}
		if l := of(v); l != inventory.Unjudged {
			limit := s.asOf.AddDate(0, 0, -int(math.Round(s.s.StaleVisitYears.Value*365.25)))
			return Judgement{Likelihood: l, Stale: v.On.Before(limit)}, true
		}
	}
	return Judgement{}, false
}

func unjudgedTree(t inventory.Tree) Judgement {
	if t.Status == inventory.Dead {
		return Judgement{Likelihood: inventory.Probable, Inferred: true, Rule: DeadTree}
	}
	return Judgement{Likelihood: inventory.Improbable, Inferred: true, Rule: NothingKnown}
}

// byCut is the screening rule proper. It never says imminent: that takes a
// person who saw it.
func (s *Screener) byCut(c inventory.Cut) (inventory.Likelihood, Rule) {
	wide := c.Decay.Or(false) || c.Diameter.Or(0) >= s.s.WideCut.Value
	switch c.Kind {
	case inventory.CutTopping, inventory.CutHeading:
		return s.byRegrowth(c)
	case inventory.CutLionTailing:
		if c.Reach.Or(0) >= s.s.LongLimb.Value || c.Decay.Or(false) {
			return inventory.Probable, LongBareLimb
		}
		return inventory.Possible, BareLimb
	default:
		if wide {
			return inventory.Possible, WideWound
		}
		return inventory.Improbable, SmallWound
	}
}

func (s *Screener) byRegrowth(c inventory.Cut) (inventory.Likelihood, Rule) {
	years, dated := s.Years(c)
	heavy := c.RegrowthLength.Or(0) >= s.s.HeavyRegrowth.Value
	old := !dated || years >= s.s.RegrownYears.Value
	switch {
	case c.Decay.Or(false) && old, heavy && old:
		return inventory.Probable, RegrownHeavy
	case old, heavy, c.Decay.Or(false):
		return inventory.Possible, Regrown
	}
	return inventory.Improbable, FreshCut
}

// Years returns the years since the cut was made.
func (s *Screener) Years(c inventory.Cut) (float64, bool) {
	if c.On.OK {
		return s.asOf.Sub(c.On.V).Hours() / (24 * 365.25), true
	}
	if year, ok := c.MadeYear(); ok {
		return float64(s.asOf.Year() - year), true
	}
	return 0, false
}

// Describe says in words and figures what is known of a cut.
func (s *Screener) Describe(c inventory.Cut) string {
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
