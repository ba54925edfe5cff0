package paper

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// crowded is how near another numbered tree is when a number moves away from both
// and a line leads to it, in units of the drawing.
const crowded = 26.0

// marks draws the numbered trees, and their numbers where they cover nothing; it
// returns what they cover. Where trees stand close, a number stands apart with a
// line to its tree, and no line runs over another number.
func (d *drawing) marks(f *frame, list []Mark, height float64) (taken []orb.Bound) {
	p := placing{view: orb.Bound{Min: orb.Point{2, 2}, Max: orb.Point{mapWidth - 2, height - 2}}, at: make([]orb.Point, len(list))}
	for i, k := range list {
		p.at[i] = f.xy(k.Point)
		p.taken = append(p.taken, around(p.at[i], 4.5))
	}
	places := make([]orb.Point, len(list))
	for i, k := range list {
		places[i] = p.place(i, 6.4*float64(len([]rune(k.Number)))+4, 12)
		if p.led(i, places[i]) {
			d.line(p.at[i][0], p.at[i][1], places[i][0], places[i][1], `stroke="`+ground+`" stroke-width="2.4"`)
			d.line(p.at[i][0], p.at[i][1], places[i][0], places[i][1], `stroke="`+deep+`" stroke-width="0.9"`)
		}
	}
	for i := len(list) - 1; i >= 0; i-- { // the first lies on top
		d.circle(p.at[i][0], p.at[i][1], 3.8, `fill="`+deep+`" stroke="`+ground+`" stroke-width="1"`)
	}
	for i, k := range list {
		d.halo(places[i][0], places[i][1]+4, `font-size="11" font-weight="bold"`, k.Number)
	}
	return p.taken
}

// placing is numbers on their way to their places.
type placing struct {
	view  orb.Bound
	at    []orb.Point // of the trees
	taken []orb.Bound // the trees, then the numbers that have a place
	lines [][2]orb.Point
}

// led reports whether a number stands so far from its tree that a line leads
// there.
func (p *placing) led(i int, place orb.Point) bool {
	return math.Hypot(place[0]-p.at[i][0], place[1]-p.at[i][1]) > 20
}

// away is the middle of the other trees that crowd a tree, and whether any does.
func (p *placing) away(i int) (from orb.Point, any bool) {
	n := 0.0
	for k, q := range p.at {
		if k != i && math.Hypot(q[0]-p.at[i][0], q[1]-p.at[i][1]) < crowded {
			from[0], from[1], n = from[0]+q[0], from[1]+q[1], n+1
		}
	}
	if n == 0 {
		return from, false
	}
	return orb.Point{from[0] / n, from[1] / n}, true
}

// place finds the place of a number: the nearest in widening rings that covers
// nothing, and whose line crosses no number and no other line. Where there is
// none, lines may cross; and where there is none even so, it takes the first.
func (p *placing) place(i int, w, h float64) orb.Point {
	bearings := []float64{90, 270, 0, 180, 45, 315, 135, 225, 67.5, 292.5, 112.5, 247.5, 22.5, 337.5, 157.5, 202.5}
	rings := []float64{0, 8, 18, 30, 45, 65, 90, 130, 180}
	if from, any := p.away(i); any {
		// Out of the crowd first.
		out := math.Atan2(p.at[i][0]-from[0], from[1]-p.at[i][1]) * 180 / math.Pi
		slices.SortStableFunc(bearings, func(a, b float64) int { return cmp.Compare(turn(a, out), turn(b, out)) })
		rings = rings[2:]
	}
	for _, strict := range []bool{true, false} {
		for _, far := range rings {
			for _, b := range bearings {
				sin, cos := math.Sincos(b * math.Pi / 180)
				c := orb.Point{p.at[i][0] + sin*(w/2+6+far), p.at[i][1] - cos*(h/2+5+far)}
				box := orb.Bound{Min: orb.Point{c[0] - w/2, c[1] - h/2}, Max: orb.Point{c[0] + w/2, c[1] + h/2}}
				if p.free(i, c, box, strict) {
					p.taken = append(p.taken, box)
					if p.led(i, c) {
						p.lines = append(p.lines, [2]orb.Point{p.at[i], c})
					}
					return c
				}
			}
		}
	}
	return orb.Point{p.at[i][0] + w + 6, p.at[i][1]}
}

func (p *placing) free(i int, c orb.Point, box orb.Bound, strict bool) bool {
	if !p.view.Contains(box.Min) || !p.view.Contains(box.Max) || slices.ContainsFunc(p.taken, box.Intersects) {
		return false
	}
	if !strict {
		return true
	}
	line := [2]orb.Point{p.at[i], c}
	for _, l := range p.lines {
		if crosses(l, box) || p.led(i, c) && meet(l, line) {
			return false
		}
	}
	if !p.led(i, c) {
		return true
	}
	for k, b := range p.taken {
		if k != i && crosses(line, b) {
			return false
		}
	}
	return true
}

// turn is the angle between two bearings.
func turn(a, b float64) float64 {
	d := math.Abs(math.Mod(a-b+720, 360))
	return min(d, 360-d)
}

// crosses reports whether a line runs over a box.
func crosses(l [2]orb.Point, b orb.Bound) bool {
	if b.Contains(l[0]) || b.Contains(l[1]) {
		return true
	}
	return meet(l, [2]orb.Point{b.Min, b.Max}) || meet(l, [2]orb.Point{b.LeftTop(), b.RightBottom()})
}

// meet reports whether two lines cross.
func meet(a, b [2]orb.Point) bool {
	side := func(l [2]orb.Point, p orb.Point) float64 {
		return (l[1][0]-l[0][0])*(p[1]-l[0][1]) - (l[1][1]-l[0][1])*(p[0]-l[0][0])
	}
	return side(a, b[0])*side(a, b[1]) < 0 && side(b, a[0])*side(b, a[1]) < 0
}
