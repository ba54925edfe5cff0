package exposure

import (
	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// SlopeIgnored goes with every output that shows zones or what lies in them.
const SlopeIgnored = "slope is ignored: zones are those of level ground, and on a slope a tree and its parts reach further downhill"

// Part is what could fail.
type Part uint8

// The parts of a tree.
const (
	WholeTree Part = iota
	Crown          // the crown's branches
	Limb           // the limb that carries a recorded cut
)

func (p Part) String() string { return [...]string{"whole tree", "crown", "limb"}[p] }

// TreeZone is the ground one part can reach.
type TreeZone struct {
	Part Part
	// Cut is the place in the tree's cuts of the cut that the limb carries; -1
	// for the whole tree and the crown.
	Cut  int
	Zone geo.Zone
	// RegrowthEstimated is set where the zone reaches as far as shoots are
	// thought to have grown, not as far as they were measured.
	RegrowthEstimated bool
}

// ZoneIndexCrown is the place of the crown's zone in what Zones returns.
const ZoneIndexCrown = 1

// Zones appends a tree's zones to dst: the whole tree, the crown, then one limb
// for each cut that weakens what grows from it.
//
// regrowth holds for each cut the metres that its shoots are thought to have
// grown, used where nobody measured them; nil adds nothing. A surveyed crown
// that geo.Outline refuses is passed over for the disc of the crown's radius:
// its zone then is not IsOutline.
func Zones(dst []TreeZone, t *inventory.Tree, cuts []inventory.Cut, regrowth []float64, d *Dimensions, s *profile.Sizing) []TreeZone {
	crown := geo.Disc(d.CrownRadius)
	if t.Crown != nil {
		if z, err := geo.Outline(t.Crown, t.Point); err == nil {
			crown = z
		}
	}
	dst = append(dst,
		TreeZone{Part: WholeTree, Cut: -1, Zone: wholeTreeZone(t, d, s)},
		TreeZone{Part: Crown, Cut: -1, Zone: crown})
	for i := range cuts {
		if !Weakens(cuts[i].Kind) {
			continue
		}
		estimate := 0.0
		if i < len(regrowth) {
			estimate = regrowth[i]
		}
		z := limbZone(&cuts[i], estimate, crown, d, s)
		z.Cut = i
		dst = append(dst, z)
	}
	return dst
}

// wholeTreeZone is a disc of the tree's height, wider where it would shatter. A
// tree that leans enough falls to its side.
func wholeTreeZone(t *inventory.Tree, d *Dimensions, s *profile.Sizing) geo.Zone {
	reach := d.Height
	if t.Status == inventory.Dead || t.Brittle.Or(false) {
		reach *= s.DeadReach.Value
	}
	if t.LeanBearing.OK && t.Lean.OK && t.Lean.V >= s.LeanThreshold.Value {
		return geo.Sector(reach, t.LeanBearing.V, s.LeanSector.Value)
	}
	return geo.Disc(reach)
}

// Weakens reports whether a kind of cut leaves a weak part behind: weakly
// attached shoots, decay, or weight at the end of a limb.
func Weakens(k inventory.CutKind) bool {
	switch k {
	case inventory.CutTopping, inventory.CutHeading, inventory.CutLionTailing, inventory.CutFlush, inventory.CutStub:
		return true
	}
	return false
}

// limbZone is a sector about the limb's bearing, as far as the cut and what
// has grown from it. A limb without a recorded bearing may be anywhere in the
// crown and takes the crown's ground.
func limbZone(c *inventory.Cut, estimate float64, crown geo.Zone, d *Dimensions, s *profile.Sizing) TreeZone {
	z := TreeZone{Part: Limb, Zone: crown}
	if !c.Bearing.OK {
		return z
	}
	radius := d.CrownRadius
	if c.Reach.OK {
		radius = c.Reach.V + c.RegrowthLength.Or(estimate)
		z.RegrowthEstimated = !c.RegrowthLength.OK && estimate > 0
	}
	z.Zone = geo.Sector(radius, c.Bearing.V, s.LimbSector.Value)
	return z
}
