package exposure_test

import (
	"testing"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

// Heights at 20, 40 and 60 cm of stem by the published equations of USDA
// RDS-2016-0005 (TS6, region NoEast), the thirteen species whose height is not a
// cubic. The one curve must pass through their middle and near each.
var publishedHeights = map[string][3]float64{
	"Acer platanoides":       {7.07, 10.97, 14.87},
	"Acer rubrum":            {7.95, 12.15, 15.84},
	"Acer saccharum":         {7.83, 12.53, 17.22},
	"Acer saccharinum":       {10.10, 14.19, 16.72},
	"Platanus × acerifolia":  {8.86, 13.56, 17.38},
	"Gleditsia triacanthos":  {9.84, 15.11, 18.53},
	"Quercus rubra":          {8.72, 13.63, 17.69},
	"Quercus palustris":      {7.87, 12.75, 17.64},
	"Tilia cordata":          {7.95, 12.21, 15.67},
	"Fraxinus pennsylvanica": {9.40, 13.95, 17.07},
	"Ulmus americana":        {8.60, 13.53, 17.50},
	"Ginkgo biloba":          {9.31, 15.11, 18.90},
	"Zelkova serrata":        {8.81, 12.91, 15.70},
}

func TestEstimatedHeightAgainstPublishedEquations(t *testing.T) {
	s := profile.Default().Sizing
	for i, dbh := range []float64{0.20, 0.40, 0.60} {
		d := exposure.Size(inventory.Tree{DBH: inventory.Some(dbh)}, s)
		if !d.HeightEstimated {
			t.Fatal("an estimated height is not marked")
		}
		mean := 0.0
		for name, h := range publishedHeights {
			mean += h[i] / float64(len(publishedHeights))
			near(t, name, d.Height/h[i], 1, 0.25)
		}
		near(t, "mean of the species", d.Height/mean, 1, 0.03)
	}
}

// Coombes, Martin and Slater 2019: crown diameter 24 to 27 times the stem's; a
// stem of 0.40 m carries 9.6 to 10.8 m.
func TestEstimatedCrown(t *testing.T) {
	d := exposure.Size(inventory.Tree{DBH: inventory.Some(0.40)}, profile.Default().Sizing)
	if w := 2 * d.CrownRadius; w < 9.6 || w > 10.8 || !d.CrownRadiusEstimated {
		t.Errorf("crown diameter %v, published 9.6 to 10.8", w)
	}
}

func TestMeasuredSizesStand(t *testing.T) {
	d := exposure.Size(inventory.Tree{DBH: inventory.Some(0.9), Height: inventory.Some(4.0), CrownRadius: inventory.Some(1.1)}, profile.Default().Sizing)
	if d.Height != 4 || d.CrownRadius != 1.1 || d.HeightEstimated || d.CrownRadiusEstimated {
		t.Errorf("%+v, expected the measures as they are", d)
	}
}

func TestZonesByPart(t *testing.T) {
	s := profile.Default().Sizing
	tree := inventory.Tree{Status: inventory.Alive, Height: inventory.Some(18.0), CrownRadius: inventory.Some(5.0)}
	cuts := []inventory.Cut{
		{Kind: inventory.CutRemoval},
		{Kind: inventory.CutTopping, Bearing: inventory.Some(90.0), Reach: inventory.Some(3.0), RegrowthLength: inventory.Some(4.0)},
		{Kind: inventory.CutStub},
	}
	zones := exposure.Zones(nil, tree, cuts, exposure.Size(tree, s), s)
	if len(zones) != 4 {
		t.Fatalf("%d zones, expected whole tree, crown and the limbs of the topping and the stub", len(zones))
	}
	// One times the height for a sound tree, 1.5 for a dead one;
	// by arithmetic 1,017.9 and 2,290.2 m² at 18 m.
	near(t, "whole tree", zones[0].Zone.Area(), 1017.9, 0.05)
	if zones[2].Zone != geo.Sector(7, 90, 60) || zones[2].Cut != 1 {
		t.Errorf("limb %+v, expected a sector of reach and regrowth, 7 m, about the bearing", zones[2])
	}
	if zones[3].Zone != geo.Disc(5) {
		t.Errorf("limb without bearing %+v, expected the crown's disc", zones[3])
	}
	tree.Status = inventory.Dead
	near(t, "dead tree", exposure.Zones(nil, tree, nil, exposure.Size(tree, s), s)[0].Zone.Area(), 2290.2, 0.05)
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
}
