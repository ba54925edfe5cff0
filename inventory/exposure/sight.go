package exposure

import (
	"math"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

const (
	kmhPerMps = 3.6
	gravity   = 9.81 // m/s², as the published grade form rounds it
)

// StoppingSight is the distance in metres that a driver at kmh kilometres an
// hour needs to see ahead to stop: the way while reacting and the way while
// braking, 0.278·V·t + 0.039·V²/a, with t in seconds and a in m/s² (AASHTO,
// metric form, level road).
func StoppingSight(kmh, reaction, deceleration float64) float64 {
	return ReactionDistance(kmh, reaction) + BrakingDistance(kmh, deceleration)
}

// ReactionDistance is the first part of StoppingSight, metres.
func ReactionDistance(kmh, reaction float64) float64 { return 0.278 * kmh * reaction }

// BrakingDistance is the second part of StoppingSight, metres.
func BrakingDistance(kmh, deceleration float64) float64 { return 0.039 * kmh * kmh / deceleration }

// StoppingSightOnGrade is StoppingSight with the braking of a road that climbs
// (grade > 0) or falls (grade < 0), as a ratio: V²/(254·(a/9.81 + G)). It is
// infinite where the road falls more steeply than the brakes hold. Its braking
// on the level differs a little from StoppingSight's, whose 0.039 is rounded.
func StoppingSightOnGrade(kmh, reaction, deceleration, grade float64) float64 {
	hold := deceleration/gravity + grade
	if hold <= 0 {
		return math.Inf(1)
	}
	return ReactionDistance(kmh, reaction) + kmh*kmh/(254*hold)
}

// StoppingSightFeet is the form in United States units: feet, for miles an hour
// and feet a second squared, 1.47·V·t + 1.075·V²/a.
func StoppingSightFeet(mph, reaction, deceleration float64) float64 {
	return 1.47*mph*reaction + 1.075*mph*mph/deceleration
}

// Meeting is the mean number of vehicles, and of persons in them, that could
// meet what has fallen into a zone: those in it and those on their way to it
// that are too close to stop. They are not the ones under the part.
type Meeting struct{ Vehicles, Persons float64 }

// approaching is the mean number of vehicles that come towards a place and are
// too close to stop: each direction has its own stretch, and VehiclesPerDay
// holds both. Vehicles that enter and leave parking are too slow to count.
func approaching(t *inventory.Occupancy, kind inventory.TargetKind, p *profile.Profile) float64 {
	perDay := t.VehiclesPerDay.Or(p.Targets.Kinds[kind].VehiclesPerDay.Value)
	if perDay <= 0 || kind == inventory.Parking {
		return 0
	}
	speed := t.Speed.Or(p.Targets.VehicleSpeed.Value)
	sight := StoppingSight(speed*kmhPerMps, p.Targets.ReactionSeconds.Value, p.Targets.Deceleration.Value)
	return MovingOnLine(perDay/hoursPerDay, sight, speed)
}
