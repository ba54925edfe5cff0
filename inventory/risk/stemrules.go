package risk

import (
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

// byStem judges the tree as a whole by what was measured at its stem.
func (s *Screener) byStem(t *inventory.Tree, visits []inventory.Visit) Judgement {
	j := Judgement{Likelihood: inventory.Improbable, Part: exposure.WholeTree, Inferred: true, Rule: NothingKnown}
	if t.Status == inventory.Dead {
		j.Likelihood, j.Rule = inventory.Probable, DeadTree
		return j
	}
	if loss, i := s.measuredLoss(visits); i >= 0 {
		j.Likelihood, j.Rule = loss.judge(&s.s.Cavity)
		j.Stale = visits[i].On.Before(s.staleBefore)
	}
	// A lean alone is no more than possible: many leaning trees grew that way.
	if j.Likelihood < inventory.Possible && t.Lean.OK && atLeast(t.Lean.V, s.s.Lean.Value) {
		j.Likelihood, j.Rule, j.Stale = inventory.Possible, Leaning, false
	}
	return j
}

// Section is a stem where a hollow or decayed column was measured in it. All
// lengths are in metres.
type Section struct {
	Stem    float64 // diameter inside the bark
	Decay   float64 // diameter of the decayed or missing wood
	Wall    float64 // thinnest sound wall
	Opening float64 // share of the girth that is open
}

// SectionOf returns what a visit measured, if anything. Of the decay and the
// wall one is enough: the other follows for concentric circles.
func SectionOf(v *inventory.Visit) (Section, bool) {
	if !v.StemDiameter.OK || !v.DecayDiameter.OK && !v.SoundWall.OK && !v.OpeningShare.OK {
		return Section{}, false
	}
	q := Section{Stem: v.StemDiameter.V, Decay: v.DecayDiameter.V, Wall: v.SoundWall.V, Opening: v.OpeningShare.Or(0)}
	switch {
	case !v.SoundWall.OK:
		q.Wall = (q.Stem - q.Decay) / 2
	case !v.DecayDiameter.OK:
		q.Decay = q.Stem - 2*q.Wall
	}
	return q, true
}

// Loss is a section by each of the formulas, as shares.
type Loss struct {
	Wagener, Coder, WithOpening float64 // of the strength lost
	Wall                        float64 // thinnest sound wall over the radius
	Opening                     float64 // of the girth
}

// Loss works out all formulas. The error says which measure cannot be.
func (q Section) Loss() (Loss, error) {
	l := Loss{Opening: q.Opening}
	var err error
	// The wall goes first where it is what the decay was worked out from.
	if q.Decay < 0 {
		_, err = WallRatio(q.Wall, q.Stem)
		return Loss{}, err
	}
	if l.WithOpening, err = WithOpening(q.Decay, q.Stem, q.Opening); err != nil {
		return Loss{}, err
	}
	if l.Wall, err = WallRatio(q.Wall, q.Stem); err != nil {
		return Loss{}, err
	}
	l.Wagener, _ = Wagener(q.Decay, q.Stem)
	l.Coder, _ = Coder(q.Decay, q.Stem)
	return l, nil
}

// judge classes a loss by the profile's limits. The ratio of the wall is
// disputed and makes no more than possible; with much of the girth open it does
// not hold, and the opening itself calls for caution.
func (l *Loss) judge(c *profile.Cavity) (inventory.Likelihood, Rule) {
	switch {
	case atLeast(l.Wagener, c.Wagener.Value), atLeast(l.WithOpening, c.WithOpening.Value), above(l.Coder, c.CoderHazard.Value):
		return inventory.Probable, StrengthLoss
	case atLeast(l.Coder, c.CoderCaution.Value), !atLeast(l.Wall, c.Wall.Value), above(l.Opening, c.Opening.Value):
		return inventory.Possible, StrengthCaution
	}
	return inventory.Improbable, SoundCavity
}

// measuredLoss returns the loss by the latest measure that can be, and the place
// of its visit, -1 for none.
func (s *Screener) measuredLoss(visits []inventory.Visit) (Loss, int) {
	for i := len(visits) - 1; i >= 0; i-- {
		if visits[i].On.After(s.asOf) {
			continue
		}
		if q, ok := SectionOf(&visits[i]); ok {
			if l, err := q.Loss(); err == nil {
				return l, i
			}
		}
	}
	return Loss{}, -1
}

// Slenderness is the height over the stem's diameter, where both were measured.
// It is shown and gates nothing: pulling tests found that it made a negligible
// difference to bending strength.
func Slenderness(t *inventory.Tree) (float64, bool) {
	if !t.Height.OK || !t.DBH.OK || t.DBH.V <= 0 {
		return 0, false
	}
	return t.Height.V / t.DBH.V, true
}
