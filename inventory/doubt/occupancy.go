package doubt

import (
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// Sigma returns the standard deviation of the logarithm of a target's
// occupancy, by how it was got: from counts, from figures given for the target,
// or from the profile's default for the kind. One figure given is taken for a
// target that somebody has looked at.
func Sigma(t *inventory.Target, d profile.Doubt) float32 {
	switch {
	case t.PeopleCounted != nil || t.VehiclesCounted != nil:
		return float32(d.OccupancyCounted.Value)
	case t.PeoplePerHour.OK || t.PeoplePresent.OK || t.VehiclesPerDay.OK ||
		t.Stalls.OK || t.ShareOccupied.OK || t.TurnoverPerDay.OK:
		return float32(d.OccupancyGiven.Value)
	}
	return float32(d.OccupancyAssumed.Value)
}
