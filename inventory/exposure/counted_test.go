package exposure_test

import (
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

func TestCompleteKeepsAWholeCount(t *testing.T) {
	c := countedWeek(12)
	even := profile.Default().Weeks["even"]
	flow, shape, ok := exposure.Complete(c, &even)
	near(t, "flow", flow, 12, 1e-12)
	for h, v := range c.PerHour {
		near(t, "hour", flow*shape[h], v, 1e-12)
	}
	if !ok {
		t.Error("a whole week was not taken")
	}
}

// A week counted in part, at exactly three times the flow of its kind's week,
// comes out as that week times three.
func TestCompleteScalesTheKindsWeek(t *testing.T) {
	like := profile.Default().Weeks["commuter_street"]
	c := &inventory.CountedWeek{}
	for _, h := range []int{7, 8, 24 + 12, 6*24 + 17} {
		c.PerHour[h], c.Seen[h] = 3*like[h], 1
	}
	flow, shape, ok := exposure.Complete(c, &like)
	near(t, "flow", flow, 3, 1e-12)
	for h := range shape {
		near(t, "shape", shape[h], like[h], 1e-12)
	}
	if !ok {
		t.Error("a week counted in part was not taken")
	}
}

func TestCompleteAtTheEdges(t *testing.T) {
	school := profile.Default().Weeks["school"]
	if _, _, ok := exposure.Complete(&inventory.CountedWeek{}, &school); ok {
		t.Error("a count of no hour was taken")
	}
	// Counted at night only, when the kind's week has nobody: no scale.
	night := &inventory.CountedWeek{}
	night.PerHour[2], night.PerHour[3] = 4, 8
	night.Seen[2], night.Seen[3] = 1, 1
	flow, shape, ok := exposure.Complete(night, &school)
	if !ok {
		t.Error("a count by night was not taken")
	}
	near(t, "flow from hours without scale", flow, 6, 1e-12)
	near(t, "hour counted", flow*shape[2], 4, 1e-12)
	near(t, "hour not counted", flow*shape[100], 6, 1e-12)
	// Counted, and nobody came.
	none := &inventory.CountedWeek{}
	none.Seen[8] = 3
	flow, shape, ok = exposure.Complete(none, &school)
	near(t, "flow of nobody", flow, 0, 0)
	near(t, "shape of nobody", shape[5], 1, 0)
	if !ok {
		t.Error("a count of nobody is a count")
	}
}

// Counted pedestrians and vehicles each take the place of what the target says,
// with a week of their own; exceptions of the calendar leave them alone.
func TestCountsTakeThePlaceOfFlows(t *testing.T) {
	p := profile.Default()
	p.Calendar.Exceptions = []profile.Exception{{Name: "shut", From: "01-01", To: "12-31", Weeks: p.WeekNames(), Factor: 0, Source: "test"}}
	r := inventory.Target{Kind: inventory.Road, Geometry: orb.LineString{at(-100, 0), at(100, 0)}}
	r.PeoplePerHour, r.PeoplePresent, r.VehiclesPerDay, r.Speed = inventory.Some(999.0), inventory.Some(999.0), inventory.Some(999.0), inventory.Some(10.0)
	r.PeopleCounted = countedWeek(120)
	r.VehiclesCounted = &inventory.CountedWeek{}
	for h := range r.VehiclesCounted.PerHour {
		r.VehiclesCounted.PerHour[h], r.VehiclesCounted.Seen[h] = 500, 1
	}
	m, z := open(t, p, geo.Disc(12), r)
	near(t, "people", z.Count.People, 120.0/3600/p.Targets.WalkingSpeed.Value*24, 1e-4)
	near(t, "vehicles", z.Count.Vehicles, 500.0/3600*24/10, 1e-4)
	h := m.Hours(z)
	near(t, "people in the last hour", h.People[167]/h.People[0], 335, 1e-6)
	near(t, "vehicles in the last hour", h.Vehicles[167]/h.Vehicles[0], 1, 1e-12)
	if s := m.Week(z); s.BusiestHour != 167 {
		t.Errorf("busiest hour %d, counted 167", s.BusiestHour)
	}
}

// Vehicles counted at a car park come in: 180 into 60 stalls in a day are three
// a stall (turnover as traffic engineering defines it), each brings 1.67 people
// for the profile's 3 minutes; how full it is stays as given.
func TestVehiclesCountedIntoParking(t *testing.T) {
	lot := inventory.Target{Kind: inventory.Parking, Geometry: rectangle(-20, -20, 20, 20)}
	lot.Stalls, lot.ShareOccupied = inventory.Some(60.0), inventory.Some(0.36)
	lot.VehiclesCounted = &inventory.CountedWeek{}
	for h := range lot.VehiclesCounted.PerHour {
		if h%24 >= 8 && h%24 < 18 {
			lot.VehiclesCounted.PerHour[h] = 18
		}
		lot.VehiclesCounted.Seen[h] = 1
	}
	m, z := open(t, ordinaryYear(), geo.Disc(100), lot)
	near(t, "vehicles", z.Count.Vehicles, 0.36*60, 1e-9)
	near(t, "people on foot", z.Count.People, 180.0/24*1.67*3/60, 1e-9)
	near(t, "people at night", m.Hours(z).People[3], 0, 0)
	// Vehicles stand there by the hours of the kind, in the mean of the chances.
	chance := 0.0
	for _, f := range ordinaryYear().Weeks["shopping"] {
		chance -= math.Expm1(-0.36*60*f) / 168
	}
	near(t, "some vehicle there", m.VehicleWeek(z).Occupied, chance, 1e-12)
	// The published example: 180 vehicles in 10 h stay 1.2 h: 36 % of 60 stalls.
	near(t, "utilisation", exposure.Staying(180.0/10, 1.2*60)/60, 0.36, 1e-12)
	near(t, "turnover", 180.0/60, 3, 1e-12)
}

func TestCountThatCannotBeOneIsRefused(t *testing.T) {
	w := inventory.Target{ID: 7, Kind: inventory.Walkway, Geometry: orb.LineString{at(0, 0), at(1, 0)}}
	w.PeopleCounted = countedWeek(3)
	w.PeopleCounted.PerHour[30] = -1
	err := exposure.NewFieldBuilder(profile.Default()).Add(w)
	if inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), "target 7: people counted, hour 30") {
		t.Errorf("got %v, expected the target, the field and the hour", err)
	}
}
