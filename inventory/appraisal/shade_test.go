package appraisal_test

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/appraisal"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

// A crown of radius 10 m whose stem stands on the straight edge of a large parking
// lot covers half its disc of it, 157.08 m², and 20 m of a walk through the stem
// (METHOD section 10: disc and shape).
func TestShade(t *testing.T) {
	stem := orb.Point{8.5, 47.2}
	plane := geo.NewPlane(stem)
	at := func(x, y float64) orb.Point { return plane.ToPoint(x, y) }
	lot := orb.Polygon{{at(0, -50), at(50, -50), at(50, 50), at(0, 50), at(0, -50)}}
	builder := exposure.NewFieldBuilder(profile.Default())
	for i, target := range []inventory.Target{
		{Kind: inventory.Parking, Geometry: lot},
		{Kind: inventory.Walkway, Geometry: orb.LineString{at(-40, 0), at(40, 0)}},
		{Kind: inventory.Road, Geometry: lot},
	} {
		target.ID = inventory.TargetID(i + 1)
		if err := builder.Add(target); err != nil {
			t.Fatal(err)
		}
	}
	zones, _ := exposure.NewMeter(builder.Build()).Measure(stem, []exposure.TreeZone{{Part: exposure.Crown, Zone: geo.Disc(10)}})
	tree := inventory.Tree{Point: stem}
	s := appraisal.ShadeOf(appraisal.CrownArea(&tree, 10), zones[0].ByKind)
	near(t, "crown", s.Crown, 314.159, 0.001)
	near(t, "parking", s.Parking, 157.08, 0.01)
	near(t, "walk", s.WalksAt, 20, 0.001)
	if s.Walks != 0 || s.ParkingAt != 0 {
		t.Errorf("%+v: a road is neither parking nor walk", s)
	}
	twice := s
	twice.Add(s)
	if twice.Parking != 2*s.Parking || twice.Crown != 2*s.Crown || twice.WalksAt != 2*s.WalksAt {
		t.Errorf("twice %+v is %+v", s, twice)
	}
}

// A surveyed outline counts in place of the disc: a square of 8 m has 64 m².
func TestCrownArea(t *testing.T) {
	stem := orb.Point{8.5, 47.2}
	plane := geo.NewPlane(stem)
	tree := inventory.Tree{Point: stem, Crown: orb.Polygon{{plane.ToPoint(-4, -4), plane.ToPoint(4, -4), plane.ToPoint(4, 4), plane.ToPoint(-4, 4), plane.ToPoint(-4, -4)}}}
	near(t, "outline", appraisal.CrownArea(&tree, 10), 64, 0.001)
	tree.Crown = nil
	near(t, "disc", appraisal.CrownArea(&tree, 10), 100*math.Pi, 1e-9)
}
