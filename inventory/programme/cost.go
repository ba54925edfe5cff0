package programme

import (
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// Job is one visit of work on a tree, as far as its hours depend on it.
type Job struct {
	Work   practice.Work
	DBH    float64                // metres, measured or estimated by the caller
	Height inventory.Opt[float64] // metres; none is taken as not tall
	Over   []inventory.TargetKind // what stands under the crown
	// UtilityWithinReach is true where a power line is within reach of the crown or
	// the crew.
	UtilityWithinReach bool
	// OffRoad is true where no road passes by, and wood is carried.
	OffRoad bool
}

// Line is one line of what a visit takes.
type Line struct {
	Name  string  `json:"name"`
	Hours float64 `json:"crew_hours"`
}

// Cost is what one visit takes. Hours is the sum of the lines, in crew-hours, and
// Cost those times the price of a crew-hour, in units of money.
type Cost struct {
	Lines []Line  `json:"lines"`
	Hours float64 `json:"crew_hours"`
	Cost  float64 `json:"cost"`
}

// The names of the lines.
const (
	LineWork        = "work at the tree"
	LineTall        = "tall tree"
	LinePreparation = "preparation"
	LineTravel      = "travel from tree to tree"
	LineCleanUp     = "clean-up"
	LineAccess      = "away from a road"
	LineTraffic     = "keeping people and traffic out"
	LineUtility     = "line within reach"
)

// Class is the place of a stem of dbh metres among the classes of the rates. An
// edge belongs to the class above it, as in the published table: <11, 11 to 21.
func Class(dbh float64, r *practice.Rates) int {
	class := 0
	for class < len(r.Classes) && dbh >= r.Classes[class]-1e-9 {
		class++
	}
	return class
}

// CostOf works out what one visit takes:
//
//	work at the tree   the light minutes of the diameter class times the factor of
//	                   the work; structural work has minutes of its own
//	tall tree          the tall factor's share on top of that, above tall_m
//	preparation, travel
//	clean-up           minutes a metre of stem diameter
//	traffic            the most that any kind of place beneath asks for, not the sum:
//	                   one crew closes all of them at once
//	away from a road   the off-road factor's share on top of the work at the tree
//	                   and the clean-up
//	line within reach  the utility factor's share on top of all of these
//
// A second opinion cuts nothing: it has no clean-up, no traffic and no factors.
// Rules of the trade without a source, except the minutes, which are published
// (practice.Rates names where).
func CostOf(w Job, r *practice.Rates) Cost {
	var c Cost
	add := func(name string, hours float64) {
		if hours > 0 {
			c.Lines = append(c.Lines, Line{name, hours})
			c.Hours += hours
		}
	}
	minutes := r.Light.Values[Class(w.DBH, r)]
	if w.Work == practice.Structural {
		minutes = r.Young.Value
	}
	minutes *= r.Work[w.Work].Value
	cuts := w.Work != practice.SecondOpinion
	add(LineWork, minutes/60)
	if cuts && w.Height.OK && w.Height.V > r.Tall.Value {
		add(LineTall, minutes/60*(r.TallFactor.Value-1))
	}
	add(LinePreparation, r.Preparation.Value/60)
	add(LineTravel, r.Travel.Value/60)
	if cuts {
		cleanUp := r.CleanUpPerMetre.Value * w.DBH
		add(LineCleanUp, cleanUp/60)
		if w.OffRoad {
			add(LineAccess, (minutes+cleanUp)/60*(r.OffRoadFactor.Value-1))
		}
		most := 0.0
		for _, k := range w.Over {
			most = max(most, r.TrafficHours[k].Value)
		}
		add(LineTraffic, most)
		if w.UtilityWithinReach {
			add(LineUtility, c.Hours*(r.UtilityFactor.Value-1))
		}
	}
	c.Cost = c.Hours * r.CrewHourCost.Value
	return c
}

// HeavyHours is how long heavy pruning (topping) of a stem of dbh metres takes, in
// crew-hours with preparation and travel, to set beside what restoring it takes:
// it is quick to do and dear to mend.
func HeavyHours(dbh float64, r *practice.Rates) float64 {
	return (r.Heavy.Values[Class(dbh, r)] + r.Preparation.Value + r.Travel.Value) / 60
}
