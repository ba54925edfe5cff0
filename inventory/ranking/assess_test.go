package ranking_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/risk"
)

var (
	origin = orb.Point{8.54, 47.37}
	day    = time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
)

func at(x, y float64) orb.Point { return geo.NewPlane(origin).ToPoint(x, y) }

// assess works out one tree over some targets.
func assess(t *testing.T, f ranking.Facts, targets ...inventory.Target) *ranking.Assessment {
	t.Helper()
	s := ranking.NewStripe(profile.Default(), day)
	for _, target := range targets {
		if err := s.Add(target); err != nil {
			t.Fatal(err)
		}
	}
	s.Build()
	f.Tree.Point = origin
	return s.NewAssessor().Assess(&f)
}

// walk is a line with 120 people an hour through the tree, eastward.
func walk() inventory.Target {
	w := inventory.Target{ID: 1, Kind: inventory.Walkway, Geometry: orb.LineString{at(0, 0), at(100, 0)}}
	w.PeoplePerHour = inventory.Some(120.0)
	return w
}

func tree() inventory.Tree {
	return inventory.Tree{Status: inventory.Alive, Height: inventory.Some(16.0), CrownRadius: inventory.Some(5.0)}
}

// The sum written out by hand: 120 an hour at 1.2 m/s are 120/3600/1.2 people a
// metre; 16 m lie in reach of the whole tree, 5 m under the crown, 7 m under the
// limb, times the profile's chances and shares struck.
func TestHarmIsTheSumOverParts(t *testing.T) {
	p := profile.Default()
	cut := inventory.Cut{Kind: inventory.CutTopping, Year: inventory.Some(2012), Bearing: inventory.Some(90.0), Reach: inventory.Some(3.0), RegrowthLength: inventory.Some(4.0)}
	a := assess(t, ranking.Facts{Tree: tree(), Cuts: []inventory.Cut{cut}}, walk())
	perMetre := 120.0 / 3600 / 1.2
	w := p.Weights
	want := perMetre * (16*w.Chance.Improbable.Value*w.WholeTreeChance.Value*w.Struck.WholeTree.Value +
		5*w.Chance.Improbable.Value*w.Struck.Crown.Value +
		7*w.Chance.Probable.Value*w.Struck.Limb.Value)
	if math.Abs(a.Harm/want-1) > 1e-5 {
		t.Errorf("harm %.8g, by hand %.8g", a.Harm, want)
	}
	if a.Parts[a.Worst].Part != exposure.Limb || a.Parts[a.Under].Part != exposure.Limb {
		t.Errorf("the limb reaches farther and is likelier; worst %v, under %v", a.Parts[a.Worst].Part, a.Parts[a.Under].Part)
	}
	if math.Abs(a.Count.People-7*perMetre) > 1e-5 {
		t.Errorf("%v people, by hand %v", a.Count.People, 7*perMetre)
	}
}

func TestLimbAwayFromTheWalkHasNothingUnderIt(t *testing.T) {
	cut := inventory.Cut{Kind: inventory.CutTopping, Bearing: inventory.Some(270.0), Reach: inventory.Some(3.0)}
	a := assess(t, ranking.Facts{Tree: tree(), Cuts: []inventory.Cut{cut}}, walk())
	if n := a.Parts[2].Exposure.Count.People; n != 0 {
		t.Errorf("%v people under a limb that points away", n)
	}
}

// The rating comes from the published matrices: a probable failure over a place
// with people in most hours of the week and heavy shoots is Probable × High →
// Likely, × Severe → High.
func TestRatingThroughTheMatrices(t *testing.T) {
	square := inventory.Target{ID: 1, Kind: inventory.Seating, Geometry: at(2, 0)}
	square.PeoplePresent, square.Hours = inventory.Some(5.0), "even"
	cut := inventory.Cut{Kind: inventory.CutTopping, Year: inventory.Some(2010), RegrowthLength: inventory.Some(4.0)}
	a := assess(t, ranking.Facts{Tree: tree(), Cuts: []inventory.Cut{cut}}, square)
	if a.Score.Rating != risk.Grade(risk.RatingHigh) {
		t.Errorf("rating %v, expected high", a.Score)
	}
	// Without the cut nothing is known against the tree: improbable rates low
	// whatever stands beneath.
	if a := assess(t, ranking.Facts{Tree: tree()}, square); a.Score.Rating != risk.Grade(risk.RatingLow) {
		t.Errorf("rating %v, expected low", a.Score)
	}
}

func TestTreeOverNothing(t *testing.T) {
	cut := inventory.Cut{Kind: inventory.CutTopping, Year: inventory.Some(2010)}
	a := assess(t, ranking.Facts{Tree: tree(), Cuts: []inventory.Cut{cut}})
	if a.Harm != 0 || a.Overlaps != 0 || a.Parts[a.Worst].Part != exposure.Limb {
		t.Errorf("harm %v, %d overlaps, worst %v; expected none and the limb named", a.Harm, a.Overlaps, a.Parts[a.Worst].Part)
	}
}

func TestReason(t *testing.T) {
	r := ranking.Row{Result: ranking.Result{
		Over:  []ranking.Under{{Kind: inventory.Parking, AreaM2: 31.4}, {Kind: inventory.TransitStop, Points: 2}},
		Count: exposure.Count{People: 0.5, InVehicles: 0.125, Vehicles: 1.5}, Week: exposure.WeekSummary{Busiest: 2, BusiestHour: 24*5 + 10},
		Part: exposure.Limb, PartPeople: 0.625, PartVehicles: 1.5, Likelihood: inventory.Possible, Rule: risk.Regrown, Harm: 0.0012, CrownRadius: 4, CrownFrom: exposure.FromGenus,
	}}
	want := "limb possible (inferred: regrowth on an old cut), over 0.6250 people and 1.50 vehicles on average; up to 2.00 people at Sat 10:00; harm index 1.20; crown radius 4.0 m estimated (genus)"
	if got := r.Reason(); got != want {
		t.Errorf("reason\n%s\nexpected\n%s", got, want)
	}
	if got := r.Over[0].String() + ", " + r.Over[1].String(); got != "parking 31 m², transit stop 2×" {
		t.Errorf("over %q", got)
	}
	if got := r.PersonHours(); got != 0.625*8760 {
		t.Errorf("%v person-hours a year", got)
	}
}

func TestCutSummary(t *testing.T) {
	cut := func(k inventory.CutKind, year int) inventory.Cut {
		return inventory.Cut{Kind: k, Year: inventory.Opt[int]{V: year, OK: year > 0}}
	}
	r := ranking.Row{Cuts: []inventory.Cut{cut(inventory.CutStub, 0), cut(inventory.CutTopping, 2016), cut(inventory.CutTopping, 2011), cut(inventory.CutTopping, 2011)}}
	if got := r.CutSummary(); got != "stub ?; topped 2016, 2011" {
		t.Errorf("%q", got)
	}
	if got := r.LastTopped(); got != inventory.Some(2016) {
		t.Errorf("last topped %v", got)
	}
}

func TestParseBySaysWhatThereIs(t *testing.T) {
	if _, err := ranking.ParseBy("danger"); err == nil || !strings.Contains(err.Error(), "harm, exposure or rating") {
		t.Errorf("%v", err)
	}
}
