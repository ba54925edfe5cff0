package inventory

import "time"

// CutKind is the kind of a pruning cut.
type CutKind string

// The kinds of cut, in the words of the trade.
const (
	CutRemoval     CutKind = "removal"      // a branch taken off at its origin
	CutReduction   CutKind = "reduction"    // shortened to a lateral big enough to take over
	CutHeading     CutKind = "heading"      // cut between nodes or to too small a lateral
	CutTopping     CutKind = "topping"      // heading cuts that bring a crown down to a fixed limit
	CutLionTailing CutKind = "lion-tailing" // inner laterals stripped, foliage left at the ends
	CutFlush       CutKind = "flush"        // cut into or behind the branch collar
	CutStub        CutKind = "stub"         // wood left beyond the collar
)

// CutKinds lists every kind of cut.
var CutKinds = []CutKind{CutRemoval, CutReduction, CutHeading, CutTopping, CutLionTailing, CutFlush, CutStub}

// LateralShare is the share of the removed part's diameter that a lateral must
// have to take over as the new end. Practice asks for a third at least and
// many ask for half (common practice, no source); below the third the cut is a
// heading cut whatever it was called.
const LateralShare = 1.0 / 3

// ClassByLateral classes a cut to a lateral by the lateral rule: a reduction
// where the lateral has at least share of the diameter removed, a heading cut
// otherwise. Both diameters are in one unit; share is LateralShare or stricter.
// It does not class where either diameter is missing or not positive.
func ClassByLateral(diameter, lateral Opt[float64], share float64) (CutKind, bool) {
	if !diameter.OK || !lateral.OK || diameter.V <= 0 || lateral.V < 0 {
		return "", false
	}
	// A lateral of 20 on a cut of 60 is a third; the product form keeps
	// rounding from putting it below.
	if lateral.V >= diameter.V*share-1e-12*diameter.V {
		return CutReduction, true
	}
	return CutHeading, true
}

// Cut is one recorded pruning cut, or a group of like cuts, on a tree.
type Cut struct {
	ID       CutID
	Tree     TreeID
	SourceID string
	Kind     CutKind
	// GivenKind is what the record called the cut where the lateral rule
	// classed it otherwise; empty where both agree.
	GivenKind CutKind

	Year  Opt[int]       // the year it was made; a year is enough
	On    Opt[time.Time] // the day, where it is known
	Count Opt[int]       // how many like cuts the record stands for

	Diameter        Opt[float64] // of the wood cut through, metres
	LateralDiameter Opt[float64] // of the lateral cut to, metres
	Height          Opt[float64] // of the cut above ground, metres
	Bearing         Opt[float64] // of the limb from the trunk, degrees
	Reach           Opt[float64] // horizontal distance of the cut from the trunk, metres
	StubLength      Opt[float64] // metres of wood left beyond the collar
	BareShare       Opt[float64] // of the limb's length, stripped of foliage from the trunk outwards, 0 to 1

	Closure Opt[float64] // share of the wound closed by callus, 0 to 1
	Decay   Opt[bool]    // decay seen at the cut

	RegrowthLength   Opt[float64] // of the longest shoots, metres
	RegrowthCount    Opt[int]
	RegrowthDiameter Opt[float64] // at the base of the thickest shoot, metres
}

// MadeYear returns the year the cut was made, from the day where only that is
// known.
func (c Cut) MadeYear() (int, bool) {
	if c.Year.OK {
		return c.Year.V, true
	}
	if c.On.OK {
		return c.On.V.Year(), true
	}
	return 0, false
}
