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

// The AASHTO table of stopping sight distance in metres, t 2.5 s and a 3.4 m/s²
// (row 80 as course notes print it, the others as the formula gives them). It
// adds up the parts after rounding each, so that its sum can be 0.1 m off the
// formula's: 63.5 at 50 km/h, where the formula has 63.4.
func TestStoppingSightTable(t *testing.T) {
	const reaction, deceleration = 2.5, 3.4
	for _, c := range []struct{ kmh, reacting, braking, sum, design, grade254 float64 }{
		{20, 13.9, 4.6, 18.5, 20, 18.4},
		{30, 20.9, 10.3, 31.2, 35, 31.1},
		{40, 27.8, 18.4, 46.2, 50, 46.0},
		{50, 34.8, 28.7, 63.5, 65, 63.1},
		{60, 41.7, 41.3, 83.0, 85, 82.6},
		{70, 48.7, 56.2, 104.9, 105, 104.3},
		{80, 55.6, 73.4, 129.0, 130, 128.3},
	} {
		// Half a tenth, and what a table that rounds 20.85 up has beyond it.
		near(t, "reacting", exposure.ReactionDistance(c.kmh, reaction), c.reacting, 0.05+1e-9)
		near(t, "braking", exposure.BrakingDistance(c.kmh, deceleration), c.braking, 0.05)
		sight := exposure.StoppingSight(c.kmh, reaction, deceleration)
		near(t, "sum", sight, c.sum, 0.1)
		near(t, "design value", 5*math.Ceil(sight/5), c.design, 0)
		level := exposure.StoppingSightOnGrade(c.kmh, reaction, deceleration, 0)
		near(t, "254 form", level, c.grade254, 0.051)
		near(t, "254 form, design value", 5*math.Ceil(level/5), c.design, 0)
	}
	near(t, "unrounded at 50", exposure.StoppingSight(50, reaction, deceleration), 63.43, 5e-3)
	// Exact mechanics: V/3.6·t + (V/3.6)²/(2a).
	v := 50 / 3.6
	near(t, "mechanics at 50", v*reaction+v*v/(2*deceleration), 63.1, 0.05)
	near(t, "254 form at 50", exposure.StoppingSightOnGrade(50, reaction, deceleration, 0), 63.1, 0.05)
}

// The grade form's examples, and that no brake holds on a road steeper than it.
func TestStoppingSightOnGrade(t *testing.T) {
	for _, c := range []struct{ kmh, grade, want float64 }{{50, -0.06, 69.1}, {50, 0.06, 59.0}, {60, -0.09, 96.9}} {
		near(t, "on a grade", exposure.StoppingSightOnGrade(c.kmh, 2.5, 3.4, c.grade), c.want, 0.05)
	}
	if d := exposure.StoppingSightOnGrade(30, 2.5, 3.4, -0.4); !math.IsInf(d, 1) {
		t.Errorf("%v m on a road too steep to stop", d)
	}
}

// United States units: the formula's figures and the table's design values.
func TestStoppingSightFeet(t *testing.T) {
	for _, c := range []struct{ mph, want, table float64 }{{25, 151.9, 155}, {30, 196.6, 200}, {35, 246.2, 250}} {
		got := exposure.StoppingSightFeet(c.mph, 2.5, 11.2)
		near(t, "feet", got, c.want, 0.05)
		near(t, "table", 5*math.Ceil(got/5), c.table, 0)
	}
}

// 12,000 vehicles a day at 50 km/h over 24 m: 0.2400 under the limb; with the
// 63.43 m that a driver needs to stop 0.8743 vehicles and 1.460 persons could
// meet it (arithmetic on published inputs).
func TestMeetingAFallenLimb(t *testing.T) {
	r := inventory.Target{Kind: inventory.Road, Geometry: orb.LineString{at(-300, 0), at(300, 0)}}
	r.VehiclesPerDay, r.Speed = inventory.Some(12000.0), inventory.Some(50/3.6)
	_, z := open(t, profile.Default(), geo.Disc(12), r)
	near(t, "under the limb", z.Count.Vehicles, 0.24, 2e-5)
	near(t, "vehicles that meet it", z.Meeting.Vehicles, 0.8743, 5e-5)
	near(t, "persons that meet it", z.Meeting.Persons, 1.460, 5e-4)
	// The same road in two pieces is one road; a road out of reach is none.
	r.Geometry = orb.MultiLineString{{at(-300, 0), at(0, 0)}, {at(0, 0), at(300, 0)}}
	_, z = open(t, profile.Default(), geo.Disc(12), r)
	near(t, "in two pieces", z.Meeting.Vehicles, 0.8743, 5e-5)
	r.Geometry = orb.LineString{at(-300, 13), at(300, 13)}
	if _, z = open(t, profile.Default(), geo.Disc(12), r); z.Meeting != (exposure.Meeting{}) {
		t.Errorf("%+v meet a limb that falls beside the road", z.Meeting)
	}
}

// The opened sum adds up to the zone's.
func TestOverlapsAddUpToTheZone(t *testing.T) {
	p := profile.Default()
	wind := p.Weeks["school"]
	p.Wind = &wind
	r := inventory.Target{ID: 1, Kind: inventory.Road, Geometry: orb.LineString{at(-300, 2), at(300, 2)}}
	w := inventory.Target{ID: 2, Kind: inventory.Walkway, Geometry: orb.LineString{at(-300, 4), at(300, 4)}}
	w.PeopleCounted = countedWeek(30)
	lot := inventory.Target{ID: 3, Kind: inventory.Parking, Geometry: rectangle(-20, -20, 20, -1)}
	b := exposure.NewFieldBuilder(p)
	for _, target := range []inventory.Target{r, w, lot} {
		if err := b.Add(target); err != nil {
			t.Fatal(err)
		}
	}
	m := exposure.NewMeter(b.Build())
	zones := []exposure.TreeZone{{Zone: geo.Disc(9)}}
	var count, harm, meeting float64
	for _, o := range m.Overlaps(origin, zones) {
		count += o.Count.Persons()
		harm += o.Harm.Persons()
		meeting += o.Meeting.Persons
	}
	out, _ := m.Measure(origin, zones)
	near(t, "persons", count, out[0].Count.Persons(), 1e-12)
	near(t, "for harm", harm, out[0].Harm.Persons(), 1e-12)
	near(t, "meeting", meeting, out[0].Meeting.Persons, 1e-12)
}
