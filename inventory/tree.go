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
	Condition   string
	PlantedYear Opt[int]

	Lean        Opt[float64] // of the stem from the vertical, degrees
	LeanBearing Opt[float64] // where it leans to, degrees
	Brittle     Opt[bool]    // its wood shatters: a fall throws parts as far as a dead tree's
	Crown       orb.Geometry // the surveyed outline of the crown, Polygon or MultiPolygon; nil where none was surveyed
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
