package demo

import (
	"fmt"
	"math"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// tree is one tree of the plan. Sizes are those it has; unmeasured says which
// of them nobody took.
type tree struct {
	tag    string
	at     orb.Point
	kind   *species
	group  string // which part of the story it belongs to
	place  string
	status inventory.TreeStatus
	reason string // why it was removed

	dbh     float64 // centimetres
	stems   []float64
	height  float64 // metres
	crown   float64 // diameter, metres
	planted int

	noDBH, noHeight, noCrown bool

	condition string
	topped    int // the year, where the record has it as a plain column
	headed    int
	tailed    int
	nested    []cut // cuts that its own record carries

	lean, leanTo float64 // of the stem from the vertical, and where to, degrees; zero where it stands straight
	brittle      bool
	outline      orb.Ring // of the crown as drawn from above; nil where it was not
}

// The groups of trees that have a story; the others go by "street".
const (
	groupRetail   = "retail park"
	groupStation  = "station avenue"
	groupHospital = "hospital"
	groupSchool   = "school row"
	groupMarket   = "market square"
	groupPark     = "park"
	groupBank     = "embankment"
	groupStreet   = "street"
)

// clear reports whether a tree can stand at p: on land, off the carriageways,
// out of buildings and paved car parks, and not on top of another tree.
func (t *town) clear(p orb.Point, apart float64) bool {
	if wet(p, 1.5) || !t.offStreets(p, 0.6) {
		return false
	}
	for _, b := range t.buildings {
		if b.near(p, 0.9) {
			return false
		}
	}
	for _, park := range t.paved {
		if park.covers(p) {
			return false
		}
	}
	c := cellOf(p)
	for dx := -1; dx <= 1; dx++ {
		for dy := -1; dy <= 1; dy++ {
			for _, q := range t.treeCells[[2]int{c[0] + dx, c[1] + dy}] {
				if dist(p, q) < apart {
					return false
				}
			}
		}
	}
	return true
}

// covers reports whether p is on the car park, its planting islands left out.
func (l lot) covers(p orb.Point) bool {
	if !l.near(p, 0) {
		return false
	}
	for _, hole := range l.holes {
		if inside(p, hole) {
			return false
		}
	}
	return true
}

// stand plants a tree where one can stand.
func (t *town) stand(r *chance, p orb.Point, kind *species, planted int, group, place string) *tree {
	if !t.clear(p, 3) {
		return nil
	}
	tag := fmt.Sprintf("Q%04d", len(t.trees)+1)
	if group == groupRetail {
		tag = fmt.Sprintf("RP-%03d", len(t.trees)+1) // they are planted first
	}
	tr := &tree{tag: tag, at: p, kind: kind, group: group, place: place, planted: planted, status: inventory.Alive}
	age := float64(max(t.year-planted, 1))
	tr.dbh = math.Round(min(max(2.5+kind.growth*age*r.scatter(0.2), 3), 128)*10) / 10
	tr.height = kind.height.at(tr.dbh) * r.scatter(0.09)
	tr.crown = max(kind.crown.at(tr.dbh)*r.scatter(0.11), 0.9)
	tr.condition = []string{"good", "good", "good", "fair", "fair", "fair", "poor"}[r.IntN(7)]
	tr.noHeight, tr.noCrown, tr.noDBH = r.yes(0.17), r.yes(0.24), r.yes(0.012)
	if r.yes(0.035) && tr.dbh > 12 {
		a, b := math.Round(tr.dbh*0.72*10)/10, math.Round(tr.dbh*0.55*10)/10
		tr.stems = []float64{a, b}
		tr.dbh = inventory.CombinedDiameter(a, b)
	}
	t.trees = append(t.trees, tr)
	t.treeCells[cellOf(p)] = append(t.treeCells[cellOf(p)], p)
	return tr
}

// fate lets some trees die and some go, once all are planted.
func (t *town) fate(r *chance) {
	reasons := []string{"storm damage, invented", "dead, felled, invented", "construction, invented", "dutch elm disease, invented", "pavement heave, invented"}
	for _, tr := range t.trees {
		switch f := r.Float64(); {
		case f < 0.011:
			tr.status, tr.condition = inventory.Dead, "dead"
		case f < 0.020:
			tr.status, tr.condition, tr.reason = inventory.Stump, "", pick(r, reasons...)
			tr.noHeight, tr.noCrown = true, true
		case f < 0.032:
			tr.status, tr.condition, tr.reason = inventory.Removed, "", pick(r, reasons...)
			tr.noHeight, tr.noCrown = true, true
		}
	}
}
