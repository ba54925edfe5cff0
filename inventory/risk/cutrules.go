package risk

import (
	"github.com/underbough/underbough/inventory"
)

// signs is what the thresholds make of one cut. A figure that nobody recorded
// gives no sign.
type signs struct {
	years float64
	dated bool
	// Of shoots grown back.
	old, heavy, stout bool
	// Of the wound.
	decay, open, wide, caution, forParent bool
	smallLateral                          bool
	// Of a limb stripped of its laterals.
	bare, long bool
	// Diameters of the shoots' base, of the lateral and of the cut over those of
	// what they stand on; negative where either is not known.
	shootRatio, lateralRatio, woundShare float64
}

func (s *Screener) signsOf(t *inventory.Tree, c *inventory.Cut) signs {
	g := signs{
		shootRatio: ratio(c.RegrowthDiameter, c.Diameter), lateralRatio: ratio(c.LateralDiameter, c.Diameter),
		woundShare: ratio(c.Diameter, t.DBH), // at least: what carries the wound is no thicker than the stem
	}
	g.years, g.dated = s.years(c)
	g.old = !g.dated || atLeast(g.years, s.s.RegrownYears.Value)
	g.heavy = c.RegrowthLength.OK && atLeast(c.RegrowthLength.V, s.s.HeavyRegrowth.Value)
	g.stout = atLeast(g.shootRatio, s.s.ShootRatio.Value)

	g.decay = c.Decay.Or(false)
	g.wide = c.Diameter.OK && atLeast(c.Diameter.V, s.s.WideCut.Value)
	g.caution = c.Diameter.OK && atLeast(c.Diameter.V, s.s.CautionCut.Value)
	g.forParent = above(g.woundShare, s.s.WoundShare.Value)
	late := !g.dated || atLeast(g.years, s.s.OpenYears.Value)
	g.open = late && c.Closure.OK && c.Closure.V < s.s.OpenClosure.Value && (g.caution || !c.Diameter.OK)

	kind, known := inventory.ClassByLateral(c.Diameter, c.LateralDiameter, s.s.LateralShare.Value)
	g.smallLateral = known && kind == inventory.CutHeading

	// A limb that is called lion-tailed is taken to be, until its bare share says
	// otherwise.
	g.bare = !c.BareShare.OK || atLeast(c.BareShare.V, s.s.BareShare.Value)
	g.long = c.Reach.OK && atLeast(c.Reach.V, s.s.LongLimb.Value)
	return g
}

func ratio(a, b inventory.Opt[float64]) float64 {
	if !a.OK || !b.OK || b.V <= 0 {
		return -1
	}
	return a.V / b.V
}

// judge is the screening rule proper for a cut of a kind. It never says
// imminent: that takes a person who saw it. A cut is never judged below what
// its wound alone would be.
func (g signs) judge(kind inventory.CutKind) (inventory.Likelihood, Rule) {
	l, rule := g.judgeWound()
	var m inventory.Likelihood
	var named Rule
	switch {
	case g.shoots(kind):
		m, named = g.judgeShoots()
	case kind == inventory.CutLionTailing:
		m, named = g.judgeBare()
	}
	if m >= l {
		return m, named
	}
	return l, rule
}

// shoots reports whether a cut is one that shoots break from: a reduction to a
// lateral too small to take over is a heading cut whatever it was called.
func (g signs) shoots(kind inventory.CutKind) bool {
	return kind == inventory.CutTopping || kind == inventory.CutHeading || kind == inventory.CutReduction && g.smallLateral
}

// judgeShoots takes one sign for possible and two for probable: age, length,
// decay or a wound still open, and a base stout for the stub, as a branch holds
// the less the nearer its diameter comes to that of what carries it.
func (g signs) judgeShoots() (inventory.Likelihood, Rule) {
	count := 0
	for _, sign := range [...]bool{g.old, g.heavy, g.decay || g.open, g.stout} {
		if sign {
			count++
		}
	}
	if count == 0 {
		return inventory.Improbable, FreshCut
	}
	l := inventory.Possible
	if count > 1 {
		l = inventory.Probable
	}
	switch {
	case count > 1 && (g.heavy || g.decay):
		return l, RegrownHeavy
	case g.open:
		return l, OpenWound
	case g.decay:
		return l, WideWound
	case g.stout:
		return l, StoutShoots
	case g.old && g.smallLateral:
		return l, SmallLateral
	}
	return l, Regrown
}

func (g signs) judgeBare() (inventory.Likelihood, Rule) {
	switch {
	case !g.bare:
		return inventory.Improbable, PartlyBare
	case g.long || g.decay:
		return inventory.Probable, LongBareLimb
	}
	return inventory.Possible, BareLimb
}

func (g signs) judgeWound() (inventory.Likelihood, Rule) {
	switch {
	case g.decay || g.wide:
		return inventory.Possible, WideWound
	case g.open:
		return inventory.Possible, OpenWound
	case g.caution && g.forParent:
		return inventory.Possible, WideForParent
	case g.caution || g.forParent:
		return inventory.Improbable, CautionWound
	}
	return inventory.Improbable, SmallWound
}
