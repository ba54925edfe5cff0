package demo

import (
	"math"
	"math/rand/v2"

	"github.com/paulmach/orb"
)

// town is the plan: what stands where, in metres.
type town struct {
	seed uint64
	year int

	streets   []*street
	blocks    []block
	grounds   []solid // of the large places, kept clear of streets and houses
	targets   []target
	buildings []solid
	paved     []lot // car parks, for what may not stand on them
	trees     []*tree
	treeCells map[[2]int][]orb.Point
	netCells  map[[2]int][]segment
	cuts      []cutRow
	visits    []visitRow
	crowns    []crownRow
}

// solid is an outline with its box, which most questions stop at.
type solid struct {
	ring orb.Ring
	box  orb.Bound
}

func solidOf(r orb.Ring) solid { return solid{r, r.Bound()} }

// near reports whether p is inside or within d metres of the edge.
func (s solid) near(p orb.Point, d float64) bool {
	b := s.box
	return p[0] > b.Min[0]-d && p[0] < b.Max[0]+d && p[1] > b.Min[1]-d && p[1] < b.Max[1]+d && near(p, s.ring, d)
}

// lot is a car park: its outline and what is left out of it.
type lot struct {
	solid
	holes []orb.Ring
}

// segment is a piece of a street's centre line.
type segment struct {
	a, b   orb.Point
	street *street
}

// plan draws the town.
func plan(seed uint64, year int) *town {
	t := &town{seed: seed, year: year, treeCells: map[[2]int][]orb.Point{}, netCells: map[[2]int][]segment{}}
	t.layGrounds()
	t.layStreets()
	t.layPlaces()
	t.build()
	t.parkBetween()
	t.furnish()
	t.plant()
	t.tell()
	t.survey()
	return t
}

// stream is a source of chance for one topic, so that a change in one topic
// leaves the others as they were.
func (t *town) stream(topic uint64) *chance {
	return &chance{rand.New(rand.NewPCG(t.seed, topic))}
}

// chance is a seeded source with the draws the plan needs.
type chance struct{ *rand.Rand }

func (c *chance) between(lo, hi float64) float64 { return lo + (hi-lo)*c.Float64() }
func (c *chance) yes(share float64) bool         { return c.Float64() < share }

// scatter is a factor about 1 with a standard deviation of about s.
func (c *chance) scatter(s float64) float64 {
	return math.Exp(s * min(max(c.NormFloat64(), -2.5), 2.5))
}

func pick[T any](c *chance, list ...T) T { return list[c.IntN(len(list))] }

// The river Lisken runs from west to east in one bend.
const riverHalf = 24.0

func riverY(x float64) float64 { return -330 + 55*math.Sin(x/380) - 0.03*x }

// wet reports whether p is in the river or within margin metres of it.
func wet(p orb.Point, margin float64) bool {
	slope := 55.0/380*math.Cos(p[0]/380) - 0.03
	return math.Abs(p[1]-riverY(p[0]))/math.Hypot(1, slope) < riverHalf+margin
}

// river is the water's outline, for checks and drawings.
func river() orb.Ring {
	var r orb.Ring
	for x := -1200.0; x <= 1200; x += 20 {
		r = append(r, orb.Point{x, riverY(x) - riverHalf})
	}
	for x := 1200.0; x >= -1200; x -= 20 {
		r = append(r, orb.Point{x, riverY(x) + riverHalf})
	}
	return append(r, r[0])
}

// The quarters of the town, each with a street pattern of its own.
const (
	nowhere = iota
	oldNW
	oldNE
	oldSW
	oldSE
	southWest
	southEast
	west
	northWest
	northEast
	east
	southBank
)

func inRing(p orb.Point) bool {
	return p[0]*p[0]/(430*430)+p[1]*p[1]/(290*290) < 1 && p[1] > embankmentY(p[0])
}

func embankmentY(x float64) float64 { return riverY(x) + riverHalf + 20 }

// above reports whether p lies to the left of the way from a to b.
func above(p, a, b orb.Point) bool {
	return (b[0]-a[0])*(p[1]-a[1])-(b[1]-a[1])*(p[0]-a[0]) > 0
}

// quarter says in which quarter a point lies.
func (t *town) quarter(p orb.Point) int {
	main, north, bridge := t.streets[0].line, t.streets[1].line, t.streets[2].line
	upper := p[1] > valueAt(main, p[0], 0)
	if inRing(p) {
		return [2][2]int{{oldSE, oldSW}, {oldNE, oldNW}}[truth(upper)][truth(p[0] < valueAt(pickLine(upper, north, bridge), p[1], 1))]
	}
	if p[1] < riverY(p[0]) {
		if p[1] < riverY(p[0])-70 && square((p[0]-40)/390)+square((p[1]+520)/215) < 1 {
			return southBank
		}
		return nowhere
	}
	if p[1] < embankmentY(p[0]) || cube(p[0]/980)+cube((p[1]-120)/585) > 1 {
		return nowhere
	}
	switch {
	case !upper && p[0] < 0:
		return southWest
	case !upper:
		return southEast
	case p[0] < valueAt(north, p[1], 1):
		if above(p, millRoad[0], millRoad[1]) {
			return west
		}
		return northWest
	case above(p, stationAvenue[0], stationAvenue[1]):
		return northEast
	}
	return east
}

func square(v float64) float64 { return v * v }
func cube(v float64) float64   { return math.Abs(v * v * v) }

func truth(b bool) int {
	if b {
		return 1
	}
	return 0
}

func pickLine(first bool, a, b orb.LineString) orb.LineString {
	if first {
		return a
	}
	return b
}

// valueAt reads a line as a curve over one axis: y at an x (axis 0), or x at a
// y (axis 1).
func valueAt(l orb.LineString, v float64, axis int) float64 {
	for i := 1; i < len(l); i++ {
		a, b := l[i-1][axis], l[i][axis]
		if (v-a)*(v-b) <= 0 && a != b {
			return l[i-1][1-axis] + (v-a)/(b-a)*(l[i][1-axis]-l[i-1][1-axis])
		}
	}
	if math.Abs(v-l[0][axis]) < math.Abs(v-l[len(l)-1][axis]) {
		return l[0][1-axis]
	}
	return l[len(l)-1][1-axis]
}

const cell = 40.0

func cellOf(p orb.Point) [2]int {
	return [2]int{int(math.Floor(p[0] / cell)), int(math.Floor(p[1] / cell))}
}

// offStreets reports whether p keeps margin metres from every kerb.
func (t *town) offStreets(p orb.Point, margin float64) bool {
	for _, s := range t.netCells[cellOf(p)] {
		if dist(p, nearest(p, s.a, s.b)) < s.street.width/2+margin {
			return false
		}
	}
	return true
}

// index files the streets' segments under every cell within reach of them.
func (t *town) index() {
	for _, s := range t.streets {
		for i := 1; i < len(s.line); i++ {
			g := segment{s.line[i-1], s.line[i], s}
			box := orb.MultiPoint{g.a, g.b}.Bound().Pad(30)
			lo, hi := cellOf(box.Min), cellOf(box.Max)
			for x := lo[0]; x <= hi[0]; x++ {
				for y := lo[1]; y <= hi[1]; y++ {
					t.netCells[[2]int{x, y}] = append(t.netCells[[2]int{x, y}], g)
				}
			}
		}
	}
}
