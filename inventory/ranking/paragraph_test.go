package ranking_test

import (
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// paragraph opens one tree over some targets and says why it stands where it
// does.
func paragraph(t *testing.T, f ranking.Facts, targets ...inventory.Target) string {
	t.Helper()
	p := profile.Default()
	s := ranking.NewStripe(p, day)
	c := &ranking.Case{Facts: &f, Sizer: ranking.NewSizer(p, day), Targets: make(map[inventory.TargetID]inventory.Target)}
	for _, target := range targets {
		if err := s.Add(target); err != nil {
			t.Fatal(err)
		}
		c.Targets[target.ID] = target
	}
	s.Build()
	f.Tree.Point = origin
	assessor := s.NewAssessor()
	_, zones := c.Sizer.Zones(nil, &f)
	c.Overlaps = assessor.Meter().Overlaps(origin, zones)
	c.Assessment, c.Screener, c.Meter = assessor.Assess(&f), assessor.Screener(), assessor.Meter()
	return ranking.Paragraph(c)
}

// The figures by hand: 120 an hour at 1.2 m/s are 0.0278 people a metre, 7 m of
// them 0.19. Probable, at a place of frequent use (5 to 50 % of hours), is
// somewhat likely; severe, as the regrowth is heavy: moderate by the matrices.
// Harm: 7/36 × 0.06 × 0.3 under the limb, 5/36 × 0.004 × 0.1 under the crown,
// 16/36 × 0.0004 × 0.15 in reach of the tree.
func TestParagraphOfALimb(t *testing.T) {
	w := walk()
	w.Name = "Mill Lane"
	facts := ranking.Facts{Tree: tree(), Cuts: []inventory.Cut{
		{Kind: inventory.CutTopping, Year: inventory.Some(2012), Bearing: inventory.Some(90.0), Reach: inventory.Some(3.0), RegrowthLength: inventory.Some(4.0), RegrowthDiameter: inventory.Some(0.09), Diameter: inventory.Some(0.14), Count: inventory.Some(3)},
		{Kind: inventory.CutStub, Bearing: inventory.Some(270.0), Reach: inventory.Some(1.0)},
	}}
	facts.Tree.Tag, facts.Tree.Species = "17", "Tilia cordata"
	got := paragraph(t, facts, w)
	week := profile.Default().Weeks["commuter_street"]
	if busiest := 7 * 120.0 / 3600 / 1.2 * week[8]; busiest < 0.455 || busiest >= 0.465 {
		t.Errorf("the busiest hour by hand is %v, not the 0.46 below", busiest)
	}
	want := `Tree 17 (Tilia cordata) was topped in 2012, 14 years ago (3 such cuts), through wood of 14 cm; one more weakening cut is recorded. ` +
		`Its shoots are 4.0 m long and 9 cm thick at the base. The limb with this cut hangs over 7.0 m of walkway (Mill Lane). ` +
		`On average 0.19 people are there, in the open and in vehicles, and 0.46 in the busiest hour (Mon 08:00); somebody is there in 17 % of all hours. ` +
		`Failure of this limb is probable by the screening rule "heavy regrowth or decay on an old cut": topped 2012 (14 years ago, limit 5), shoots 4.0 m (limit 3.0), base 9 cm on a stub of 14 cm (ratio 0.64, limit 0.60). Nobody has judged it. ` +
		`The tree rates moderate for people by the mean of all hours, moderate by the busiest hour, and low for property; its harm index is 3.58, a figure that orders trees and predicts nothing. ` +
		`This is a screening from records and geometry, not an inspection.`
	if got != want {
		t.Errorf("got\n%s\nexpected\n%s", got, want)
	}
}

func TestParagraphOfWhatNobodyMeasured(t *testing.T) {
	facts := ranking.Facts{Tree: inventory.Tree{Tag: "D1", Status: inventory.Dead, DBH: inventory.Some(0.3), Species: "Acer rubrum"},
		Cuts: []inventory.Cut{{Kind: inventory.CutTopping, Year: inventory.Some(2025)}}}
	stop := inventory.Target{ID: 2, Kind: inventory.TransitStop, Geometry: at(1, 1)}
	car := inventory.Target{ID: 3, Kind: inventory.Parking, Name: "Yard", Geometry: orb.LineString{at(2, 0), at(2, 1)}}
	car.Stalls, car.ShareOccupied = inventory.Some(2.0), inventory.Some(0.5)
	got := paragraph(t, facts, stop, car)
	for _, want := range []string{
		"Tree D1 (Acer rubrum) is dead and was topped in 2025, a year ago.",
		"Nobody measured its shoots; they are taken to be ",
		"hangs over a transit stop and 1.0 m of parking (Yard).",
		"On average 1.0 vehicles are there",
		`is probable by the screening rule "dead tree". Nobody has judged it.`,
		"the height, ", "± ", "and likely less as the tree was topped", "the crown's radius, ", "by equations of its species from the stem",
		"the use of transit stop, by the profile's default as nobody counted it.",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("%q is not in\n%s", want, got)
		}
	}
	if strings.Contains(got, "use of transit stop and parking") {
		t.Errorf("the parking's use is given: %s", got)
	}
}

func TestParagraphOfAJudgedTreeOverNothing(t *testing.T) {
	facts := ranking.Facts{Tree: tree(), Visits: []inventory.Visit{{On: time.Date(2019, 5, 4, 0, 0, 0, 0, time.UTC), By: "K. Roth", Crown: inventory.Probable}}}
	facts.Tree.SourceID = "x9"
	want := "Tree x9 carries no recorded cut that weakens it. The crown hangs over nothing that is recorded. " +
		"Failure of a branch of the crown was judged probable by K. Roth on 2019-05-04, out of date: 7 years ago, limit 5. " +
		"The tree rates low for people by the mean of all hours, low by the busiest hour, and low for property; its harm index is 0, a figure that orders trees and predicts nothing. " +
		"This is a screening from records and geometry, not an inspection."
	if got := paragraph(t, facts); got != want {
		t.Errorf("got\n%s\nexpected\n%s", got, want)
	}
}

func TestDifferencesInWords(t *testing.T) {
	before := &ranking.Row{Rank: 3, Result: ranking.Result{Likelihood: inventory.Possible, Height: 12}}
	before.Count.People, before.PartPeople = 0.5, 0.5
	after := *before
	after.Stale, after.Likelihood, after.Count.People, after.PartPeople, after.Height = true, inventory.Probable, 0.25, 0.25, 12.00001
	got, err := ranking.Differences(before, &after)
	want := []string{"failure possible → probable", "visit out of date no → yes", "people 0.5000 → 0.2500"}
	if err != nil || strings.Join(got, "; ") != strings.Join(want, "; ") {
		t.Errorf("%q, %v; expected %q", got, err, want)
	}
}
