package paper

import (
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/ranking"
)

// CrewSheet is what a crew takes along to a package of jobs.
type CrewSheet struct {
	Basis
	Package string
	Year    int
	Jobs    []CrewJob // in the order they are worked
	// Targets are the places about the trees, for the map and the plan views.
	Targets []inventory.Target
	// Access says how to get in, where to park and whom to call; empty for nothing
	// recorded.
	Access string
}

// CrewJob is one job of the package.
type CrewJob struct {
	Job           inventory.Job // its own Specification is not read
	Specification pruning.Specification
	Tree          Tree
	Over          []ranking.Under // under the crown and the limbs
	LineInReach   bool            // a utility line is within reach of the tree or the work
	Access        string          // to this tree
	Hazards       []string        // told besides those that the records show
	Notes         []string        // on the work, such as the balance of the crown or a limb
}

// Crew writes the crew sheet as one HTML document that needs nothing else.
func Crew(s *CrewSheet) ([]byte, error) { return execute("crew", newCrewView(s)) }
