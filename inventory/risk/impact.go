package risk

import (
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

// ImpactOf classes the likelihood of impact from the share of hours with at
// least one person or vehicle in the zone (the occupancy classes constant,
// frequent, occasional, rare), the target lying open to the part.
func ImpactOf(occupied float64, o profile.Occupancy) Impact {
	switch {
	case occupied >= o.Constant.Value:
		return High
	case occupied >= o.Frequent.Value:
		return Medium
	case occupied >= o.Occasional.Value:
		return Low
	}
	return VeryLow
}

// PeopleConsequence classes what a strike would do to people: severe where
// someone in the open meets a heavy part or someone sits in a vehicle,
// significant for a lighter part, minor where all are under a roof.
func PeopleConsequence(c exposure.Count, heavy bool) Consequence {
	switch {
	case c.InVehicles > 0 || c.People > 0 && heavy:
		return Severe
	case c.People > 0:
		return Significant
	case c.Sheltered > 0:
		return Minor
	}
	return Negligible
}

// PropertyConsequence classes what a strike would do to property: a parked car
// without anyone in it is significant damage.
func PropertyConsequence(c exposure.Count) Consequence {
	if c.Vehicles > 0 {
		return Significant
	}
	return Negligible
}
