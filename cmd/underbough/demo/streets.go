package demo

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// class is a kind of street: its cross-section, metres from the centre line,
// and its traffic.
type class struct {
	word     string
	width    float64 // of the carriageway
	tree     float64 // where the trees stand; 0 for none
	walk     float64 // the middle of the sidewalk
	front    float64 // where the houses begin
	vehicles float64 // a day
	speed    int     // km/h
	people   float64 // an hour on each sidewalk
}

var (
	classMain     = &class{"Street", 9.5, 6.4, 8.6, 11.5, 9000, 50, 90}
	classRing     = &class{"Ring", 11, 7.3, 9.6, 14, 13000, 50, 45}
	classAvenue   = &class{"Avenue", 9, 6.8, 9.4, 14, 6500, 50, 110}
	classBank     = &class{"Embankment", 7, 5.3, 7.6, 12, 3000, 30, 70}
	classSide     = &class{"Road", 6.5, 4.7, 6.6, 11, 700, 30, 12}
	classLane     = &class{"Lane", 5.2, 4.0, 5.6, 7.2, 350, 20, 60}
	classDrive    = &class{"Drive", 6, 0, 4.6, 9, 4200, 20, 25}
	classParkRoad = &class{"Road", 6.5, 4.9, 6.9, 12, 1500, 30, 30}
)

type street struct {
	*class
	name string
	line orb.LineString
	old  bool      // within the ring
	box  orb.Bound // of the line, with some room
}

// block is a street between two junctions.
type block struct {
	*street
	line orb.LineString
}

var (
	stationAvenue = [2]orb.Point{{308, 202}, {735, 585}}
	millRoad      = [2]orb.Point{{-308, 202}, {-770, 560}}
)

// parkAt is the park's outline, grown by some metres.
func parkAt(angle, grow float64) orb.Point {
	r := 150 + 22*math.Sin(2*angle+1) + 14*math.Sin(3*angle+2) + grow
	return orb.Point{-690 + r*math.Cos(angle), 235 + r*math.Sin(angle)}
}

func parkRing(grow float64) orb.Ring {
	var r orb.Ring
	for i := range 72 {
		r = append(r, parkAt(float64(i)*math.Pi/36, grow))
	}
	return append(r, r[0])
}

// layStreets draws the net: the old roads first, then each quarter's own
// pattern between them.
func (t *town) layStreets() {
	t.street("Main Street", classMain, curve(orb.Point{-1010, 85}, orb.Point{-740, 32}, orb.Point{-430, 25}, orb.Point{-150, -8}, orb.Point{0, 0}, orb.Point{150, 6}, orb.Point{430, -25}, orb.Point{740, 15}, orb.Point{1000, -12}))
	t.street("North Street", classMain, curve(orb.Point{64, 2}, orb.Point{60, 110}, orb.Point{30, 280}, orb.Point{62, 480}, orb.Point{30, 700}))
	t.street("Bridge Street", classMain, curve(orb.Point{-25, -2}, orb.Point{-32, -140}, orb.Point{-8, -290}, orb.Point{5, -420}, orb.Point{62, -600}, orb.Point{45, -745}))
	var arch, bank orb.LineString
	for a := -70.0; a <= 250; a += 2 {
		p := orb.Point{430 * math.Cos(a*math.Pi/180), 290 * math.Sin(a*math.Pi/180)}
		if p[1] > embankmentY(p[0]) {
			arch = append(arch, p)
		}
	}
	t.street("Walls Ring", classRing, arch)
	for x := -960.0; x <= 960; x += 12 {
		bank = append(bank, orb.Point{x, embankmentY(x)})
	}
	t.street("Lisken Embankment", classBank, bank)
	t.street("Station Avenue", classAvenue, curve(stationAvenue[0], orb.Point{520, 392}, stationAvenue[1]))
	t.street("Kiln Road", classMain, curve(millRoad[0], orb.Point{-540, 383}, millRoad[1]))
	t.street("Park Road", classParkRoad, orb.LineString(parkRing(13)))
	t.street("Retail Drive", classDrive, retailPark.line(-147, -136, -147, -60, -147, 40, -147, 128))
	r := t.stream(1)
	for _, g := range []struct {
		quarter       int
		at            orb.Point
		degrees       float64
		depth, across float64 // between the long streets and between the cross streets
		class         *class
	}{
		{oldNW, orb.Point{-150, 110}, 8, 90, 110, classLane},
		{oldNE, orb.Point{200, 100}, -14, 92, 105, classLane},
		{oldSW, orb.Point{-200, -120}, 14, 84, 110, classLane},
		{oldSE, orb.Point{180, -130}, -7, 86, 105, classLane},
		{southWest, orb.Point{-650, -120}, 3, 108, 195, classSide},
		{southEast, orb.Point{560, -130}, -4, 105, 180, classSide},
		{west, orb.Point{-700, 250}, 24, 118, 200, classSide},
		{northWest, orb.Point{-250, 480}, -39, 116, 190, classSide},
		{northEast, orb.Point{300, 480}, 13, 112, 195, classSide},
		{east, orb.Point{650, 200}, -17, 112, 200, classSide},
		{southBank, orb.Point{40, -520}, 11, 108, 180, classSide},
	} {
		t.layQuarter(r, g.quarter, frame{g.at, g.degrees * math.Pi / 180}, g.depth, g.across, g.class)
	}
	t.join()
	t.dropLoose()
	t.split()
	t.index()
}

func (t *town) street(name string, c *class, line orb.LineString) *street {
	s := &street{class: c, name: name, line: line, box: line.Bound().Pad(40)}
	mid, _ := along(line, length(line)/2)
	s.old = inRing(mid)
	t.streets = append(t.streets, s)
	return s
}

// layQuarter draws long streets that sway a little, and cross streets between
// neighbours, some of them left out and none in line with the next.
func (t *town) layQuarter(r *chance, quarter int, f frame, depth, across float64, c *class) {
	sway, phase := r.between(6, 15), r.between(0, 6)
	v := func(row int, u float64) float64 {
		return float64(row)*depth + sway*math.Sin(u/120+phase+float64(row)*0.5)
	}
	for row := -8; row <= 8; row++ {
		var l orb.LineString
		for u := -800.0; u <= 800; u += 4 {
			l = append(l, f.point(u, v(row, u)))
		}
		t.keepRuns(quarter, l, c)
	}
	for row := -9; row <= 8; row++ {
		shift := r.between(0, across)
		for col := -8; col <= 8; col++ {
			u := float64(col)*across + shift + r.between(-18, 18)
			if r.yes(0.22) {
				continue
			}
			var l orb.LineString
			for s := 0.0; s <= 1; s += 0.04 {
				l = append(l, f.point(u, v(row, u)+(v(row+1, u)-v(row, u))*s))
			}
			t.keepRuns(quarter, l, c)
		}
	}
}

// keepRuns keeps those parts of a line that lie in the quarter, off the large
// places, and not hard by a street that is there already.
func (t *town) keepRuns(quarter int, l orb.LineString, c *class) {
	var run orb.LineString
	flush := func() {
		if length(run) > 45 && !t.crowded(run) {
			t.street(streetName(len(t.streets), c), c, thin(run))
		}
		run = nil
	}
	for _, p := range l {
		ok := t.quarter(p) == quarter
		for _, g := range t.grounds {
			ok = ok && !g.near(p, 4)
		}
		if !ok {
			flush()
			continue
		}
		run = append(run, p)
	}
	flush()
}

// crowded reports whether most of a line runs along another street.
func (t *town) crowded(l orb.LineString) bool {
	close := 0
	for _, p := range l {
		for _, s := range t.streets {
			if !s.box.Contains(p) {
				continue
			}
			if _, _, d := onto(p, s.line); d < 38 {
				close++
				break
			}
		}
	}
	return float64(close) > 0.45*float64(len(l)) && close*4 > 90 || close == len(l)
}

// thin leaves out vertices so that they stand some 12 metres apart.
func thin(l orb.LineString) orb.LineString {
	out := orb.LineString{l[0]}
	for _, p := range l[1 : len(l)-1] {
		if dist(p, out[len(out)-1]) >= 12 {
			out = append(out, p)
		}
	}
	return append(out, l[len(l)-1])
}

// join leads each loose end to the street it nearly reaches.
func (t *town) join() {
	for i, s := range t.streets {
		for _, at := range []int{0, len(s.line) - 1} {
			if s.name == "Park Road" {
				continue
			}
			best, target := 24.0, orb.Point{}
			for j, o := range t.streets {
				if i == j {
					continue
				}
				if q, _, d := onto(s.line[at], o.line); d < best {
					best, target = d, q
				}
			}
			if best < 24 {
				s.line[at] = target
			}
		}
	}
}

// dropLoose takes out streets that lead nowhere: those that no end ties to
// another street, and short stubs.
func (t *town) dropLoose() {
	var kept []*street
	for _, s := range t.streets {
		tied := 0
		for _, end := range []orb.Point{s.line[0], s.line[len(s.line)-1]} {
			for _, o := range t.streets {
				if o == s || !o.box.Contains(end) {
					continue
				}
				if _, _, d := onto(end, o.line); d < 0.5 {
					tied++
					break
				}
			}
		}
		minor := s.class == classSide || s.class == classLane
		if !minor || tied == 2 || tied == 1 && length(s.line) > 85 {
			kept = append(kept, s)
		}
	}
	t.streets = kept
}

// split cuts the streets at their junctions.
func (t *town) split() {
	for i, s := range t.streets {
		total := length(s.line)
		stations := []float64{0, total}
		for j, o := range t.streets {
			if i == j || !s.box.Intersects(o.box) {
				continue
			}
			for _, end := range []orb.Point{o.line[0], o.line[len(o.line)-1]} {
				if _, at, d := onto(end, s.line); d < 0.5 {
					stations = append(stations, at)
				}
			}
			for a := 1; a < len(s.line); a++ {
				for b := 1; b < len(o.line); b++ {
					if p, ok := crossing(s.line[a-1], s.line[a], o.line[b-1], o.line[b]); ok {
						_, at, _ := onto(p, s.line)
						stations = append(stations, at)
					}
				}
			}
		}
		slices.Sort(stations)
		from := 0.0
		for _, at := range stations[1:] {
			if at-from < 18 || at != total && total-at < 18 {
				continue
			}
			t.blocks = append(t.blocks, block{street: s, line: between(s.line, from, at)})
			from = at
		}
	}
}

// streetName makes up the n-th name.
func streetName(n int, c *class) string {
	first := []string{
		"Tanner", "Cooper", "Weaver", "Saddler", "Fuller", "Chandler", "Quarry", "Orchard", "Heron", "Otter", "Plover", "Lark",
		"Wren", "Ferry", "Bell", "Lantern", "Glover", "Thatcher", "Sawyer", "Potter", "Turner", "Meadow", "Brook", "Rope",
	}
	second := map[*class][]string{classLane: {"Lane", "Row", "Court", "Alley", "Passage"}, classSide: {"Road", "Way", "Close", "Rise", "Drive"}}[c]
	return fmt.Sprintf("%s %s", first[n%len(first)], second[n/len(first)%len(second)])
}
