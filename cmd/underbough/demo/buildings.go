package demo

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// build puts the streets' own targets and the houses along them.
func (t *town) build() {
	r := t.stream(2)
	for _, b := range t.blocks {
		t.streetTargets(b)
	}
	// Houses on the busy streets choose their plots first.
	for _, old := range []bool{true, false} {
		for _, b := range t.blocks {
			if b.old == old {
				t.houses(r, b, 1)
				t.houses(r, b, -1)
			}
		}
	}
}

// trimmed shortens a block by what its junctions take at each end.
func (b block) trimmed(by float64) (orb.LineString, bool) {
	n := length(b.line)
	if n < 2*by+6 {
		return nil, false
	}
	return between(b.line, by, n-by), true
}

func (t *town) streetTargets(b block) {
	p := props{"vehicles_per_day": b.vehicles, "speed_kmh": b.speed, "carriageway_m": b.width}
	if b.class == classLane {
		p["hours"] = "shopping"
	}
	t.add(inventory.Road, b.name, b.line, p)
	l, ok := b.trimmed(b.walk)
	if !ok {
		return
	}
	people := b.people
	hours := "commuter_street"
	if b.old {
		people, hours = people*2, "shopping"
	}
	for _, side := range []float64{1, -1} {
		t.add(inventory.Walkway, b.name, beside(l, side*b.walk), props{"people_per_hour": people, "hours": hours})
	}
}

// houses builds terraces and single houses along one side of a block.
func (t *town) houses(r *chance, b block, side float64) {
	if b.class == classParkRoad && side > 0 { // the ring runs anticlockwise: the park lies to its left
		return
	}
	total := length(b.line)
	for s := b.front + 2; s < total-b.front; {
		wide, deep, gap, set := r.between(18, 48), r.between(10, 15), r.between(14, 44), r.between(0, 2.5)
		if b.old {
			wide, gap, set = r.between(20, 44), r.between(1.5, 8), r.between(0, 0.6)
		}
		if s+wide > total-b.front {
			wide = total - b.front - s
		}
		if wide < 9 {
			break
		}
		p, dir := along(b.line, s+wide/2)
		f := frame{aside(p, dir, side*(b.front+set+deep/2)), dir}
		ring := f.rect(-wide/2, -deep/2, wide/2, deep/2)
		if wide > 24 && !b.old && r.yes(0.35) { // a wing at the back
			x, y := wide/2, deep/2
			back := side * (y + r.between(5, 9))
			ring = orb.Ring{f.point(-x, -side*y), f.point(x, -side*y), f.point(x, back), f.point(x-10, back), f.point(x-10, side*y), f.point(-x, side*y), f.point(-x, -side*y)}
			if side < 0 {
				ring.Reverse()
			}
		}
		if t.buildable(ring, 2, b.front-1) {
			people := math.Round(wide*deep/b.crowding()*10) / 10
			t.house(fmt.Sprintf("%s %d", b.name, int(s/8)*2+int(1+side)/2+1), props{"people_present": people}, ring)
		}
		s += wide + gap
	}
}

// crowding is the square metres of ground a person indoors takes, on average
// over the week.
func (b block) crowding() float64 {
	if b.old {
		return 45
	}
	return 110
}

// buildable reports whether a shape keeps clear of water, kerbs, grounds, car
// parks and houses.
func (t *town) buildable(ring orb.Ring, gap, fromStreet float64) bool {
	for i := range ring[1:] {
		for s := 0.0; s < 1; s += 0.2 {
			p := lerp(ring[i], ring[i+1], s)
			if wet(p, 6) || !t.offCentre(p, fromStreet) {
				return false
			}
		}
	}
	shape := solidOf(ring)
	for _, g := range t.grounds {
		if !apart(shape, g, 1) {
			return false
		}
	}
	for _, b := range t.buildings {
		if !apart(shape, b, gap) {
			return false
		}
	}
	for _, p := range t.paved {
		if !apart(shape, p.solid, gap) {
			return false
		}
	}
	return true
}

// offCentre reports whether p keeps clear of every street, its sidewalks
// included, by at most d metres from the centre line.
func (t *town) offCentre(p orb.Point, d float64) bool {
	for _, s := range t.netCells[cellOf(p)] {
		if dist(p, nearest(p, s.a, s.b)) < min(d, s.street.front-1) {
			return false
		}
	}
	return true
}

// parkBetween puts small car parks behind the houses, and kerbside parking
// along some side roads.
func (t *town) parkBetween() {
	r := t.stream(3)
	yards := 0
	for tries := 0; tries < 6000 && yards < 46; tries++ {
		p := orb.Point{r.between(-950, 950), r.between(-700, 680)}
		if t.quarter(p) == nowhere || len(t.netCells[cellOf(p)]) == 0 { // no way in
			continue
		}
		w, h := r.between(16, 34), r.between(14, 19)
		f := frame{p, r.between(0, math.Pi)}
		for _, s := range t.netCells[cellOf(p)] { // in line with a street nearby
			f.dir = math.Atan2(s.b[1]-s.a[1], s.b[0]-s.a[0])
			break
		}
		ring := f.rect(-w/2, -h/2, w/2, h/2)
		if !t.buildable(ring, 1, 10) {
			continue
		}
		yards++
		hours := pick(r, "even", "commuter_street", "shopping")
		t.pave(fmt.Sprintf("Yard %d", yards), int(w*h/29), 30+r.IntN(50), 1+float64(r.IntN(6))/2, hours, orb.Polygon{ring})
	}
	for _, b := range t.blocks {
		l, ok := b.trimmed(14)
		if !ok || b.class != classSide || length(l) < 60 || !r.yes(0.4) {
			continue
		}
		t.add(inventory.Parking, b.name+", kerbside", beside(l, b.width/2-1), props{
			"stalls": int(length(l) / 6.5), "share_occupied_pct": 45 + r.IntN(40), "turnover_per_day": 2, "hours": "even"})
	}
}

// furnish sets bus stops, benches and the overhead lines.
func (t *town) furnish() {
	r := t.stream(4)
	for _, s := range t.streets {
		if s.class == classSide || s.class == classLane {
			continue
		}
		side := 1.0
		for at := 90.0; at < length(s.line)-50; at += r.between(150, 230) {
			p, dir := along(s.line, at)
			if !wet(p, 12) {
				t.add(inventory.TransitStop, s.name+", stop", aside(p, dir, side*(s.walk-0.8)), props{"people_per_hour": math.Round(r.between(4, 26)), "dwell_minutes": 6})
			}
			side = -side
		}
		for at := 40.0; at < length(s.line)-30; at += r.between(80, 130) {
			p, dir := along(s.line, at)
			if q := aside(p, dir, -(s.walk + 1.6)); !wet(q, 1) {
				t.add(inventory.Seating, s.name+", bench", q, props{"people_present": math.Round(r.between(2, 9)) / 10})
			}
		}
	}
	t.add(inventory.UtilityLine, "Overhead line, Station Avenue", beside(between(t.named("Station Avenue").line, 15, 480), overhead), nil)
	t.add(inventory.UtilityLine, "Overhead line, Kiln Road", beside(between(t.named("Kiln Road").line, 20, 400), -overhead), nil)
	var south orb.LineString
	for x := -500.0; x <= 560; x += 14 {
		south = append(south, orb.Point{x, riverY(x) - riverHalf - 9})
	}
	t.add(inventory.Walkway, "South bank walk", south, props{"people_per_hour": 18, "hours": "playground"})
}

// overhead is how far from the centre of Station Avenue its line hangs.
const overhead = 7.2

func (t *town) named(name string) *street {
	for _, s := range t.streets {
		if s.name == name {
			return s
		}
	}
	panic("no street " + name)
}
