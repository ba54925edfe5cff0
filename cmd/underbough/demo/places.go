package demo

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// target is a place that can be hit, its shape still in metres.
type target struct {
	kind  inventory.TargetKind
	name  string
	shape orb.Geometry
	props map[string]any
}

type props = map[string]any

func (t *town) add(kind inventory.TargetKind, name string, shape orb.Geometry, p props) {
	t.targets = append(t.targets, target{kind, name, shape, p})
}

// house adds a building that the street net and the trees keep clear of.
func (t *town) house(name string, p props, shape ...orb.Ring) {
	t.buildings = append(t.buildings, solidOf(shape[0]))
	t.add(inventory.Building, name, orb.Polygon(shape), p)
}

// pave adds a car park; rings after the first are its planting islands.
func (t *town) pave(name string, stalls, sharePercent int, turnover float64, hours string, parts ...orb.Polygon) {
	for _, p := range parts {
		t.paved = append(t.paved, lot{solidOf(p[0]), p[1:]})
	}
	var shape orb.Geometry = orb.MultiPolygon(parts)
	if len(parts) == 1 {
		shape = parts[0]
	}
	t.add(inventory.Parking, name, shape, props{"stalls": stalls, "share_occupied_pct": sharePercent, "turnover_per_day": turnover, "hours": hours})
}

// The large places, each with its own axes.
var (
	retailPark = frame{orb.Point{790, -125}, -2 * math.Pi / 180}
	station    = frame{orb.Point{735, 585}, 41.9 * math.Pi / 180}
	hospital   = frame{orb.Point{-165, 505}, 5 * math.Pi / 180}
	school     = frame{orb.Point{640, 190}, -12 * math.Pi / 180}
	market     = frame{orb.Point{0, 0}, 0}
	green      = frame{orb.Point{-170, -125}, 12 * math.Pi / 180}
)

var marketRing = orb.Ring{{-46, 14}, {48, 14}, {46, 84}, {-44, 82}, {-46, 14}}

// layGrounds marks where the large places will be.
func (t *town) layGrounds() {
	for _, r := range []orb.Ring{
		retailPark.rect(-150, -78, 150, 80), station.rect(-85, -82, 35, 82), hospital.rect(-108, -78, 108, 72),
		school.rect(-98, -68, 98, 66), market.rect(-60, 8, 58, 96), green.rect(-36, -25, 36, 25), parkRing(8),
	} {
		t.grounds = append(t.grounds, solidOf(r))
	}
}

// layPlaces fills the grounds.
func (t *town) layPlaces() {
	t.layRetailPark()
	t.layStation()
	t.layHospital()
	t.laySchool()
	t.layMarket()
	t.layPark()
}

// islands cuts planting islands of 3 by long metres out of a car park.
func islands(f frame, outer orb.Ring, long float64, us, vs []float64) orb.Polygon {
	p := orb.Polygon{outer}
	for _, v := range vs {
		for _, u := range us {
			hole := f.rect(u, v-1.5, u+long, v+1.5)
			hole.Reverse() // holes run clockwise (RFC 7946, 3.1.6)
			p = append(p, hole)
		}
	}
	return p
}

var (
	retailIslandU = []float64{-126, -68, -10}
	retailIslandV = []float64{-48, -26, -4, 18}
)

func (t *town) layRetailPark() {
	f := retailPark
	t.house("Retail park, large store", props{"people_present": 90, "hours": "shopping"}, f.rect(78, -66, 142, 36))
	t.house("Retail park, row of shops", props{"people_present": 45, "hours": "shopping"}, f.rect(-136, 54, 62, 74))
	t.house("Retail park, snack bar", props{"people_present": 8, "hours": "shopping"}, f.rect(100, 48, 120, 62))
	t.pave("Retail park, customers", 460, 42, 5, "shopping", islands(f, f.rect(-136, -64, 64, 42), 50, retailIslandU, retailIslandV))
	t.pave("Retail park, deliveries and staff", 40, 60, 1.2, "even", orb.Polygon{f.rect(82, -76, 142, -69)})
	t.add(inventory.Walkway, "Retail park, along the store", f.line(72, -70, 71, 0, 72, 48), props{"people_per_hour": 140, "hours": "shopping"})
	t.add(inventory.Walkway, "Retail park, along the shops", f.line(-138, 50, 0, 51, 72, 48), props{"people_per_hour": 120, "hours": "shopping"})
	t.add(inventory.Walkway, "Retail park, through the car park", orb.MultiLineString{f.line(-136, -15, 71, -15), f.line(-72, -62, -72, 50), f.line(-14, -62, -14, 50)}, props{"people_per_hour": 60, "hours": "shopping"})
}

func (t *town) layStation() {
	f := station
	t.house("Station", props{"people_present": 60, "hours": "commuter_street"}, f.rect(6, -55, 26, 55))
	t.add(inventory.Plaza, "Station forecourt", orb.Polygon{f.rect(-12, -30, 5, 30)}, props{"people_present": 14, "hours": "commuter_street"})
	half := func(v0, v1, island float64) orb.Polygon {
		return islands(f, f.rect(-78, v0, -18, v1), 24, []float64{-74, -46}, []float64{island})
	}
	t.pave("Station, park and ride", 190, 55, 1.1, "commuter_street", half(18, 72, 45), half(-72, -18, -45))
	t.add(inventory.Walkway, "Station, to the trains", f.line(-16, -74, -15, 0, -16, 74), props{"people_per_hour": 160})
	for _, v := range []float64{-26, -13, 13, 26} {
		t.add(inventory.TransitStop, "Station, bus bay", f.point(-9, v), props{"people_per_hour": 28, "dwell_minutes": 9})
	}
}

func (t *town) layHospital() {
	f := hospital
	court := f.rect(-26, 20, 26, 40)
	court.Reverse()
	t.house("Hospital", props{"people_present": 180, "hours": "hospital"}, f.rect(-62, 2, 62, 60), court)
	t.pave("Hospital, visitors, open all night", 165, 58, 4, "hospital", islands(f, f.rect(-98, -70, 42, -22), 56, []float64{-92, -26}, []float64{-46}))
	t.pave("Hospital, emergency and staff", 45, 70, 2, "hospital", orb.Polygon{f.rect(70, -5, 98, 60)})
	t.add(inventory.Walkway, "Hospital, long walk", f.line(-100, -9, 0, -8, 104, -9), props{"people_per_hour": 75, "hours": "hospital"})
	t.add(inventory.Walkway, "Hospital, from the car park", f.line(0, -70, 0, 0), props{"people_per_hour": 55, "hours": "hospital"})
	for i := range 8 {
		t.add(inventory.Seating, "Hospital, bench", f.point(-84+24*float64(i), -6), props{"people_present": 0.6, "hours": "hospital"})
	}
}

func (t *town) laySchool() {
	f := school
	wing := orb.Ring{f.point(-85, 4), f.point(10, 4), f.point(10, 24), f.point(-64, 24), f.point(-64, 58), f.point(-85, 58), f.point(-85, 4)}
	t.house("School", props{"people_present": 95, "hours": "school"}, wing)
	t.house("School, gymnasium", props{"people_present": 10, "hours": "school"}, f.rect(22, 8, 52, 40))
	t.add(inventory.Playground, "School yard", orb.Polygon{f.rect(-58, 30, 12, 60)}, props{"people_present": 11, "hours": "school"})
	t.pave("School, staff", 44, 24, 1.2, "school", orb.Polygon{f.rect(60, -60, 92, -6)})
	t.add(inventory.Walkway, "School walk", f.line(-94, -25, 0, -24, 56, -26), props{"people_per_hour": 48, "hours": "school"})
	t.add(inventory.Walkway, "School, to the yard", f.line(15, -25, 16, 30), props{"people_per_hour": 30, "hours": "school"})
	for i := range 5 {
		t.add(inventory.Seating, "School, bench", f.point(-78+27*float64(i), -20), props{"people_present": 0.4, "hours": "school"})
	}
}

func (t *town) layMarket() {
	t.add(inventory.Plaza, "Market square, market on Saturdays", orb.Polygon{marketRing}, props{"people_present": 38, "hours": "market"})
	for i := range 10 {
		side := float64(i%2)*44 + 26
		t.add(inventory.Seating, "Market square, bench", market.point(-34+17*float64(i/2), side), props{"people_present": 1.1, "hours": "market"})
	}
	f := green
	t.add(inventory.Walkway, "Old green", orb.MultiLineString{f.line(-34, -20, 0, 1, 34, 20), f.line(-34, 20, 0, 1, 34, -20)}, props{"people_per_hour": 25})
	for _, uv := range [][2]float64{{-14, 12}, {14, 12}, {-14, -12}, {14, -12}} {
		t.add(inventory.Seating, "Old green, bench", f.point(uv[0], uv[1]), props{"people_present": 0.5})
	}
}

// parkWalks are the park's winding walks.
func parkWalks() []orb.LineString {
	var loop orb.LineString
	for i := range 73 {
		a := float64(i%72) * math.Pi / 36
		loop = append(loop, lerp(orb.Point{-690, 235}, parkAt(a, 0), 0.74+0.07*math.Sin(5*a)))
	}
	return []orb.LineString{
		loop,
		curve(parkAt(-1.5, 10), orb.Point{-670, 170}, orb.Point{-705, 225}, orb.Point{-665, 285}, parkAt(1.5, 10)),
		curve(parkAt(3.2, 10), orb.Point{-780, 215}, orb.Point{-705, 225}, orb.Point{-620, 255}, parkAt(0.1, 10)),
		curve(parkAt(2.3, 10), orb.Point{-745, 310}, orb.Point{-690, 300}, orb.Point{-665, 285}),
	}
}

var parkPlayground = frame{orb.Point{-625, 195}, 0.3}

func (t *town) layPark() {
	walks := parkWalks()
	t.add(inventory.Walkway, "Town park, round walk", walks[0], props{"people_per_hour": 35, "hours": "playground"})
	t.add(inventory.Walkway, "Town park, cross walks", orb.MultiLineString(walks[1:]), props{"people_per_hour": 28, "hours": "playground"})
	var yard orb.Ring
	for i := range 25 {
		a := float64(i%24) * math.Pi / 12
		yard = append(yard, parkPlayground.point(20*math.Cos(a), 14*math.Sin(a)))
	}
	t.add(inventory.Playground, "Town park, playground", orb.Polygon{yard}, props{"people_present": 5})
	var stand orb.Ring
	for i := range 9 {
		a := float64(i%8) * math.Pi / 4
		stand = append(stand, orb.Point{-735 + 7*math.Cos(a), 262 + 7*math.Sin(a)})
	}
	t.house("Town park, bandstand", props{"people_present": 2, "hours": "playground"}, stand)
	for _, w := range walks {
		for s := 15.0; s < length(w)-10; s += 24 {
			p, dir := along(w, s)
			t.add(inventory.Seating, "Town park, bench", aside(p, dir, 2), props{"people_present": 0.4, "hours": "playground"})
		}
	}
}
