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

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tolerance {
		t.Errorf("%s: %.6g, expected %.6g ± %.2g", what, got, want, tolerance)
	}
}

// Worked examples of Little's law, number present = arrivals × stay; the inputs
// are published values (walking 3.5 ft/s, MUTCD; 1.67 persons a vehicle, NHTS
// 2017), the results follow by arithmetic shown beside each.
func TestLittlesLaw(t *testing.T) {
	// 120 an hour over 20 m at 1.0668 m/s: 18.75 s each.
	walk := exposure.MovingOnLine(120, 20, 1.0668)
	near(t, "walk", walk, 0.6249, 5e-5)
	near(t, "walk, at least one", exposure.AtLeastOne(walk), 0.4647, 5e-5)
	near(t, "walk, person-hours in 14 h", walk*14, 8.75, 5e-3)
	near(t, "walk, person-hours a year", walk*14*365, 3193, 0.5)
	// 12,000 vehicles a day at 50 km/h over 24 m: 1.728 s each.
	road := exposure.MovingOnLine(12000.0/24, 24, 50/3.6)
	near(t, "road", road, 0.24, 5e-5)
	near(t, "road, persons", road*1.67, 0.4008, 5e-5)
	near(t, "road, person-hours a year", road*1.67*8760, 3511, 0.5)
	// 60 boardings an hour who wait 6 minutes.
	near(t, "stop", exposure.Staying(60, 6), 6, 1e-12)
	// N = 0.2.
	near(t, "at least one of 0.2", exposure.AtLeastOne(0.2), 0.1813, 5e-5)
	near(t, "person-hours a year of 0.2", 0.2*8760, 1752, 1e-9)
}

func TestAtLeastOneAgainstTheLibrary(t *testing.T) {
	for _, n := range []float64{0, 1e-12, 1e-6, 1e-3, 0.05, 0.0999999, 0.1, 0.2, 1, 10} {
		want := -math.Expm1(-n)
		near(t, "1-e^-n", exposure.AtLeastOne(n), want, 1e-12*want+1e-300)
	}
}

// field builds a field of one target.
func field(t *testing.T, p *profile.Profile, target inventory.Target) *exposure.Field {
	t.Helper()
	b := exposure.NewFieldBuilder(p)
	if err := b.Add(target); err != nil {
		t.Fatal(err)
	}
	return b.Build()
}

// under measures one target under one zone about the origin of a plane.
func under(t *testing.T, p *profile.Profile, target inventory.Target, z geo.Zone) exposure.ZoneExposure {
	t.Helper()
	zones := []exposure.TreeZone{{Part: exposure.Crown, Cut: -1, Zone: z}}
	out, _ := exposure.NewMeter(field(t, p, target)).Measure(origin, zones)
	return out[0]
}

var origin = orb.Point{8.54, 47.37}

// at places a point of the plane about the origin.
func at(x, y float64) orb.Point { return geo.NewPlane(origin).ToPoint(x, y) }

func rectangle(x0, y0, x1, y1 float64) orb.Polygon {
	return orb.Polygon{{at(x0, y0), at(x1, y0), at(x1, y1), at(x0, y1), at(x0, y0)}}
}

// A lot of 1,500 m² with 55 stalls, 70 % full, of which 300 m² lie in the zone:
// 7.70 vehicles; 40 movements an hour on the whole lot, 1.5 min on foot each:
// 0.2000 people. (Arithmetic on the inputs.)
func TestParkingLot(t *testing.T) {
	lot := inventory.Target{Kind: inventory.Parking, Geometry: rectangle(-10, -1000, 0, -850)}
	lot.Stalls, lot.ShareOccupied = inventory.Some(55.0), inventory.Some(0.7)
	lot.PeoplePerHour, lot.DwellMinutes = inventory.Some(40.0), inventory.Some(1.5)
	// A whole target is 1,500 m²; a fifth of it is asked for by its density.
	size := geo.Size(lot.Geometry)
	near(t, "lot, m²", size.AreaM2, 1500, 1.5)
	c := exposure.On(lot.Occupancy, lot.Kind, size, 320, profile.Default())
	near(t, "vehicles on 300 m²", c.Vehicles*300/1500, 7.70, 5e-3)
	near(t, "people on 300 m²", c.People*300/1500, 0.2, 5e-5)
}

// A half-disc of 9 m over a lot at 30 m² a stall, 65 % full for 12 h and 5 % for
// 12 h, four vehicles a stall and day, 3 min on foot: 127.23 m², 1.484 vehicles
// on average, 13,003 vehicle-hours and 517 person-hours a year, mean 0.0590.
func TestHalfDiscOverLot(t *testing.T) {
	lot := inventory.Target{Kind: inventory.Parking, Geometry: rectangle(0, -60, 50, 60)}
	lot.ShareOccupied, lot.TurnoverPerDay = inventory.Some((0.65+0.05)/2), inventory.Some(4.0)
	z := under(t, profile.Default(), lot, geo.Disc(9))
	near(t, "m²", z.ByKind[inventory.Parking.KindIndex()].AreaM2, 127.23, 0.02)
	near(t, "vehicles", z.Count.Vehicles, 1.484, 1.5e-3)
	near(t, "vehicle-hours a year", z.Count.Vehicles*8760, 13003, 13)
	near(t, "people", z.Count.People, 0.0590, 1e-4)
	near(t, "person-hours a year", z.Count.People*8760, 517, 0.6)
}

// A playground of 600 m² with 12 children, 150 m² of it in the zone: 3.0.
func TestPlayground(t *testing.T) {
	p := inventory.Target{Kind: inventory.Playground, Geometry: rectangle(-15, -10, 15, 10)}
	p.PeoplePresent = inventory.Some(12.0)
	z := under(t, profile.Default(), p, geo.Sector(100, 45, 90))
	near(t, "children in a quarter", z.Count.People, 3.0, 3e-3)
}

// The road example of Little's law through the whole path: a line through the
// middle of a disc of 12 m, 12,000 vehicles a day at 50 km/h.
func TestRoadUnderDisc(t *testing.T) {
	r := inventory.Target{Kind: inventory.Road, Geometry: orb.LineString{at(-100, 0), at(100, 0)}}
	r.VehiclesPerDay, r.Speed = inventory.Some(12000.0), inventory.Some(50/3.6)
	z := under(t, profile.Default(), r, geo.Disc(12))
	near(t, "metres", z.ByKind[inventory.Road.KindIndex()].LengthM, 24, 1e-3)
	near(t, "vehicles", z.Count.Vehicles, 0.24, 2e-5)
	near(t, "persons in vehicles", z.Count.InVehicles, 0.4008, 4e-5)
}

// A path drawn as a ribbon carries what its middle line carries.
func TestRibbonIsLikeItsMiddleLine(t *testing.T) {
	line := inventory.Target{Kind: inventory.Walkway, Geometry: orb.LineString{at(-500, 0), at(500, 0)}}
	ribbon := inventory.Target{Kind: inventory.Walkway, Geometry: rectangle(-500, -1, 500, 1)}
	line.PeoplePerHour, ribbon.PeoplePerHour = inventory.Some(120.0), inventory.Some(120.0)
	a := under(t, profile.Default(), line, geo.Disc(10)).Count.People
	b := under(t, profile.Default(), ribbon, geo.Disc(10)).Count.People
	// The ends add their width, and the disc cuts the ribbon's sides shorter.
	near(t, "ribbon over line", b/a, 1, 0.005)
}

func TestShelteredPeopleAreCountedApart(t *testing.T) {
	house := inventory.Target{Kind: inventory.Building, Geometry: rectangle(-5, -5, 5, 5)}
	house.PeoplePresent = inventory.Some(4.0)
	z := under(t, profile.Default(), house, geo.Disc(50))
	near(t, "sheltered", z.Count.Sheltered, 4, 4e-3)
	near(t, "in the open", z.Count.People, 0, 0)
}

func TestAnUnknownWeekIsThatOfTheKind(t *testing.T) {
	p := profile.Default()
	w := inventory.Target{ID: 7, Kind: inventory.Walkway, Geometry: orb.LineString{at(-50, 0), at(50, 0)}}
	asKind := under(t, p, w, geo.Disc(10))
	w.Hours = "fair"
	if got := under(t, p, w, geo.Disc(10)); got.Count != asKind.Count || got.Count.People == 0 {
		t.Errorf("%+v under hours that the profile lacks, %+v under those of the kind", got.Count, asKind.Count)
	}
}
