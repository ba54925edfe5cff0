package exposure_test

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

func zonesOf(t inventory.Tree, regrowth []float64, cuts ...inventory.Cut) []exposure.TreeZone {
	s := &profile.Default().Sizing
	d := exposure.Size(&t, cuts, s)
	return exposure.Zones(nil, &t, cuts, regrowth, &d, s)
}

func measured() inventory.Tree {
	return inventory.Tree{Point: origin, Status: inventory.Alive, Height: inventory.Some(18.0), CrownRadius: inventory.Some(5.0)}
}

func TestZonesByPart(t *testing.T) {
	zones := zonesOf(measured(), nil,
		inventory.Cut{Kind: inventory.CutRemoval},
		inventory.Cut{Kind: inventory.CutTopping, Bearing: inventory.Some(90.0), Reach: inventory.Some(3.0), RegrowthLength: inventory.Some(4.0)},
		inventory.Cut{Kind: inventory.CutStub})
	if len(zones) != 4 {
		t.Fatalf("%d zones, expected whole tree, crown and the limbs of the topping and the stub", len(zones))
	}
	// One times the height for a sound tree, 1.5 for a dead one;
	// by arithmetic 1,017.9 and 2,290.2 m² at 18 m.
	near(t, "whole tree", zones[0].Zone.Area(), 1017.9, 0.05)
	if zones[2].Zone != geo.Sector(7, 90, 60) || zones[2].Cut != 1 || zones[2].RegrowthEstimated {
		t.Errorf("limb %+v, expected a sector of reach and regrowth, 7 m, about the bearing", zones[2])
	}
	if zones[3].Zone != geo.Disc(5) {
		t.Errorf("limb without bearing %+v, expected the crown's disc", zones[3])
	}
	dead, brittle := measured(), measured()
	dead.Status = inventory.Dead
	brittle.Brittle = inventory.Some(true)
	near(t, "dead tree", zonesOf(dead, nil)[0].Zone.Area(), 2290.2, 0.05)
	near(t, "brittle tree", zonesOf(brittle, nil)[0].Zone.Area(), 2290.2, 0.05)
	brittle.Brittle = inventory.Some(false)
	near(t, "tree found not to be brittle", zonesOf(brittle, nil)[0].Zone.Area(), 1017.9, 0.05)
}

// 45° to 60° to either side of the lean (common practice, no source): a sector
// of 120° of 18 m has a third of the disc's 1,017.9 m².
func TestLeaningTree(t *testing.T) {
	tree := measured()
	tree.Lean, tree.LeanBearing = inventory.Some(20.0), inventory.Some(300.0)
	z := zonesOf(tree, nil)[0].Zone
	if z != geo.Sector(18, 300, 120) {
		t.Errorf("leaning tree %+v, expected a sector about the lean", z)
	}
	near(t, "leaning tree", z.Area(), 1017.9/3, 0.05)
	tree.Lean = inventory.Some(14.9)
	if z := zonesOf(tree, nil)[0].Zone; !z.IsDisc() {
		t.Errorf("a slight lean made %+v", z)
	}
	tree.Lean, tree.LeanBearing = inventory.Some(40.0), inventory.Opt[float64]{}
	if z := zonesOf(tree, nil)[0].Zone; !z.IsDisc() {
		t.Errorf("a lean without bearing made %+v", z)
	}
}

func TestRegrowthIsEstimatedOnlyWhereUnmeasured(t *testing.T) {
	cut := inventory.Cut{Kind: inventory.CutTopping, Bearing: inventory.Some(90.0), Reach: inventory.Some(3.0)}
	z := zonesOf(measured(), []float64{2.5}, cut)[2]
	if z.Zone != geo.Sector(5.5, 90, 60) || !z.RegrowthEstimated {
		t.Errorf("%+v, expected reach and estimated regrowth, marked", z)
	}
	cut.RegrowthLength = inventory.Some(1.0)
	if z := zonesOf(measured(), []float64{2.5}, cut)[2]; z.Zone != geo.Sector(4, 90, 60) || z.RegrowthEstimated {
		t.Errorf("%+v, expected the measured regrowth to stand", z)
	}
	cut.Reach = inventory.Opt[float64]{}
	if z := zonesOf(measured(), []float64{2.5}, cut)[2]; z.Zone != geo.Sector(5, 90, 60) || z.RegrowthEstimated {
		t.Errorf("%+v, expected the crown's radius where the reach is not known", z)
	}
}

func TestSurveyedCrown(t *testing.T) {
	tree := measured()
	tree.CrownRadius = inventory.Opt[float64]{}
	tree.Crown = rectangle(-2, -3, 8, 4)
	s := &profile.Default().Sizing
	d := exposure.Size(&tree, nil, s)
	// The disc of equal area: √(70 m²/π) = 4.720 m.
	near(t, "equal radius", d.CrownRadius, 4.720, 5e-3)
	if d.CrownRadiusEstimated() {
		t.Error("a surveyed crown is marked as estimated")
	}
	zones := zonesOf(tree, nil, inventory.Cut{Kind: inventory.CutStub})
	for _, z := range zones[1:] {
		if !z.Zone.IsOutline() {
			t.Errorf("%v: %+v, expected the outline", z.Part, z.Zone)
		}
		near(t, "area", z.Zone.Area(), 70, 0.1)
	}
	// Both lie over the same 3 m² of a lot that a disc would cover more of.
	m, _ := open(t, profile.Default(), geo.Disc(1), inventory.Target{Kind: inventory.Parking, Geometry: rectangle(-9, 1, -1, 9)})
	out, n := m.Measure(origin, zones[1:])
	near(t, "lot under the crown", out[0].ByKind[inventory.Parking.KindIndex()].AreaM2, 3, 0.01)
	if n != 1 {
		t.Errorf("%d overlaps measured, expected the outline once", n)
	}
	tree.CrownRadius = inventory.Some(6.0)
	if d := exposure.Size(&tree, nil, s); d.CrownRadius != 6 {
		t.Errorf("crown radius %v, expected the measured one", d.CrownRadius)
	}
	// What cannot be an outline is passed over, and seen to be.
	tree.Crown = orb.Polygon{{at(0, 0), at(1, 1), at(0, 0)}}
	if z := zonesOf(tree, nil)[1].Zone; z != geo.Disc(6) {
		t.Errorf("a crown without area made %+v, expected the disc", z)
	}
}

func TestLikeZonesAreMeasuredOnceAndReportedEach(t *testing.T) {
	p := profile.Default()
	lot := inventory.Target{Kind: inventory.Parking, Geometry: rectangle(-50, -50, 50, 50)}
	f := field(t, p, lot)
	zones := []exposure.TreeZone{{Zone: geo.Disc(9)}, {Zone: geo.Disc(4)}, {Zone: geo.Disc(4)}, {Zone: geo.Sector(4, 10, 60)}}
	m := exposure.NewMeter(f)
	out, n := m.Measure(origin, zones)
	if n != 3 {
		t.Errorf("%d overlaps measured, expected 3 distinct ones", n)
	}
	k := inventory.Parking.KindIndex()
	near(t, "disc", out[0].ByKind[k].AreaM2, 254.47, 0.03)
	near(t, "small disc", out[1].ByKind[k].AreaM2, 50.265, 0.006)
	near(t, "its like", out[2].ByKind[k].AreaM2, 50.265, 0.006)
	near(t, "sector", out[3].ByKind[k].AreaM2, 50.265/6, 0.001)
	if list := m.Overlaps(origin, zones); len(list) != 4 {
		t.Errorf("%d overlaps listed, expected one a zone", len(list))
	}
	if a, b := m.Week(out[1]), m.Week(out[2]); a != b || math.IsNaN(a.Occupied) {
		t.Errorf("like zones have weeks %+v and %+v", a, b)
	}
}
