package inventory

import "github.com/paulmach/orb"

// TargetKind is the kind of place that can be hit.
type TargetKind string

// The kinds of target.
const (
	Parking     TargetKind = "parking"
	Walkway     TargetKind = "walkway"
	Road        TargetKind = "road"
	Building    TargetKind = "building"
	Playground  TargetKind = "playground"
	Seating     TargetKind = "seating"
	TransitStop TargetKind = "transit_stop"
	Plaza       TargetKind = "plaza"
	UtilityLine TargetKind = "utility_line"
	Other       TargetKind = "other"
)

// TargetKinds lists every kind of target, in the order they are shown.
var TargetKinds = []TargetKind{Parking, Walkway, Road, Building, Playground, Seating, TransitStop, Plaza, UtilityLine, Other}

// KindIndex returns the place of k in TargetKinds, or -1.
func (k TargetKind) KindIndex() int {
	for i, kind := range TargetKinds {
		if kind == k {
			return i
		}
	}
	return -1
}

// Occupancy is what is known of the people and vehicles on a target, as means
// over the 168 hours of a week. What is missing comes from the profile's
// default for the kind.
type Occupancy struct {
	PeoplePerHour   Opt[float64] // people passing or arriving in an hour
	PeoplePresent   Opt[float64] // people on the whole target at a time
	DwellMinutes    Opt[float64] // minutes an arriving person stays
	VehiclesPerDay  Opt[float64] // both directions together
	Speed           Opt[float64] // of the vehicles, metres a second
	Stalls          Opt[float64] // parking stalls on the whole target
	ShareOccupied   Opt[float64] // share of the stalls taken, 0 to 1
	TurnoverPerDay  Opt[float64] // vehicles a stall and day
	Hours           string       // name of the profile's week of hours; empty for the kind's
	PeopleSheltered Opt[bool]    // under a roof
}

// Target is a place that can be hit: a point, line or polygon or several.
type Target struct {
	ID       TargetID
	Site     SiteID
	Layer    string // the source layer; a source id is unique within it
	SourceID string
	Name     string
	Kind     TargetKind
	Geometry orb.Geometry
	Occupancy
	// What was counted there, hour by hour of the week; nil where nothing was.
	// A count replaces the flow that Occupancy gives or the profile assumes.
	PeopleCounted, VehiclesCounted *CountedWeek
}

// HoursInWeek is the number of hours of a week, from Monday 00:00.
const HoursInWeek = 168

// CountedWeek is the mean of what passed or arrived in each hour of the week.
type CountedWeek struct {
	PerHour [HoursInWeek]float64
	// Seen is how many counts each mean is of; zero where an hour was never
	// counted.
	Seen [HoursInWeek]int32
}
