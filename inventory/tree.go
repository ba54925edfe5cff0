package inventory

import (
	"math"

	"github.com/paulmach/orb"
)

// TreeStatus says what stands at a tree's point.
type TreeStatus string

// The statuses of a tree. Only alive and dead trees can drop anything.
const (
	Alive   TreeStatus = "alive"
	Dead    TreeStatus = "dead"
	Stump   TreeStatus = "stump"
	Removed TreeStatus = "removed"
	Vacant  TreeStatus = "vacant" // a planting site without a tree
)

// TreeStatuses lists every status.
var TreeStatuses = []TreeStatus{Alive, Dead, Stump, Removed, Vacant}

// Standing reports whether a tree of this status can drop a part.
func (s TreeStatus) Standing() bool { return s == Alive || s == Dead }

// Tree is a point with measures.
type Tree struct {
	ID       TreeID
	Site     SiteID
	SourceID string // the source's own identity, stable over its exports
	Tag      string // the number on the trunk or in the list that people use
	Point    orb.Point

	Species    string // botanical name
	CommonName string
	Status     TreeStatus

	DBH         Opt[float64] // stem diameter at breast height, metres; several stems combined
	Stems       Opt[int]
	Height      Opt[float64] // metres
	CrownRadius Opt[float64] // metres, mean of what was measured
	// CrownRadii are measured from the stem to the crown's edge in the north, east,
	// south and west, metres; 0 where nothing reaches out there.
	CrownRadii  [4]Opt[float64]
	Condition   string
	PlantedYear Opt[int]

	Lean        Opt[float64] // of the stem from the vertical, degrees
	LeanBearing Opt[float64] // where it leans to, degrees
	Brittle     Opt[bool]    // its wood shatters: a fall throws parts as far as a dead tree's
	Crown       orb.Geometry // the surveyed outline of the crown, Polygon or MultiPolygon; nil where none was surveyed
}

// RadiusFromSides gives a tree whose crown was measured to all four sides, and no
// other way, the mean of the four as its crown's radius. Common practice, no
// source.
func (t *Tree) RadiusFromSides() {
	if t.CrownRadius.OK {
		return
	}
	sum := 0.0
	for _, r := range t.CrownRadii {
		if !r.OK {
			return
		}
		sum += r.V
	}
	if sum > 0 {
		t.CrownRadius = Some(sum / 4)
	}
}

// CombinedDiameter returns the single diameter whose cross-section equals that
// of all stems together: the square root of the sum of the squared diameters,
// in the unit of its arguments.
func CombinedDiameter(stems ...float64) float64 {
	sum := 0.0
	for _, d := range stems {
		sum += d * d
	}
	return math.Sqrt(sum)
}
