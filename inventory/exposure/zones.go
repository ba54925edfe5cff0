package exposure

import (
	"math"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// Part is what could fail.
type Part uint8

// The parts of a tree.
const (
	WholeTree Part = iota
	Crown          // the crown's branches
	Limb           // the limb that carries a recorded cut
)

func (p Part) String() string { return [...]string{"whole tree", "crown", "limb"}[p] }

// Dimensions are the sizes that zones are made from, metres. A measured size
// is never replaced; a missing one is estimated and marked.
type Dimensions struct {
	Height, CrownRadius                   float64
	HeightEstimated, CrownRadiusEstimated bool
}

// Size returns a tree's dimensions. The crown comes from the stem diameter by
// a published ratio, the height by a saturating curve; a topped tree is lower
// than the curve says, which errs on the side of a larger zone.
func Size(t inventory.Tree, s profile.Sizing) Dimensions {
	dbh := t.DBH.Or(s.UnknownDBH.Value)
	d := Dimensions{Height: t.Height.V, CrownRadius: t.CrownRadius.V}
	if !t.Height.OK {
		d.Height = s.BreastHeight.Value + s.HeightScale.Value*(1-math.Exp(-s.HeightRate.Value*dbh))
		d.HeightEstimated = true
	}
	if !t.CrownRadius.OK {
		r := s.CrownDiameterPerDBH.Value * dbh / 2
		d.CrownRadius = min(max(r, s.MinCrownRadius.Value), s.MaxCrownRadius.Value)
		d.CrownRadiusEstimated = true
	}
	return d
}

// TreeZone is the ground one part can reach.
type TreeZone struct {
	Part Part
	// Cut is the place in the tree's cuts of the cut that the limb carries; -1
	// for the whole tree and the crown.
	Cut  int
	Zone geo.Zone
}

// ZoneIndexCrown is the place of the crown's zone in what Zones returns.
const ZoneIndexCrown = 1

// Zones appends a tree's zones to dst: the whole tree, the crown, then one limb
// for each cut that weakens what grows from it. A limb without a recorded
// bearing may be anywhere in the crown and takes the crown's disc.
func Zones(dst []TreeZone, t inventory.Tree, cuts []inventory.Cut, d Dimensions, s profile.Sizing) []TreeZone {
	reach := d.Height
	if t.Status == inventory.Dead {
		reach *= s.DeadReach.Value
	}
	dst = append(dst,
		TreeZone{Part: WholeTree, Cut: -1, Zone: geo.Disc(reach)},
		TreeZone{Part: Crown, Cut: -1, Zone: geo.Disc(d.CrownRadius)})
	for i, c := range cuts {
		if Weakens(c.Kind) {
			dst = append(dst, TreeZone{Part: Limb, Cut: i, Zone: limbZone(c, d, s)})
		}
	}
	return dst
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

func limbZone(c inventory.Cut, d Dimensions, s profile.Sizing) geo.Zone {
	if !c.Bearing.OK {
		return geo.Disc(d.CrownRadius)
	}
	radius := d.CrownRadius
	if c.Reach.OK {
		radius = c.Reach.V + c.RegrowthLength.Or(0)
	}
	return geo.Sector(radius, c.Bearing.V, s.LimbSector.Value)
}
