package exposure

import (
	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

const (
	secondsPerHour = 3600.0
	minutesPerHour = 60.0
	hoursPerDay    = 24.0
)

// Count is a number of people and vehicles, as a mean over the week. People in
// the open, people in vehicles and people under a roof are counted apart.
type Count struct {
	People     float64
	InVehicles float64
	Sheltered  float64
	Vehicles   float64
}

// Persons returns the people that nothing but perhaps a car's roof protects.
func (c Count) Persons() float64 { return c.People + c.InVehicles }

func (c *Count) add(d Count) { c.addTimes(d, 1) }

func (c *Count) addTimes(d Count, f float64) {
	c.People += d.People * f
	c.InVehicles += d.InVehicles * f
	c.Sheltered += d.Sheltered * f
	c.Vehicles += d.Vehicles * f
}

func (c Count) times(f float64) Count {
	var r Count
	r.addTimes(c, f)
	return r
}

// MovingOnLine is Little's law for people or vehicles that move along a path:
// flow an hour times the seconds that lengthM takes at speed metres a second.
func MovingOnLine(perHour, lengthM, speed float64) float64 {
	return perHour / secondsPerHour * lengthM / speed
}

// Staying is Little's law for those who arrive and stay: arrivals an hour times
// the stay in minutes.
func Staying(perHour, minutes float64) float64 { return perHour * minutes / minutesPerHour }

// On returns the mean number on the whole of a target. size is the whole
// target's measure. What the target does not say comes from the profile's
// default for its kind.
//
// A path given as an area is taken for a ribbon: its length is half of its
// perimeter (edgeM, metres, holes included).
func On(t inventory.Occupancy, kind inventory.TargetKind, size geo.Measure, edgeM float64, p *profile.Profile) Count {
	k := p.Targets.Kinds[kind]
	length := size.LengthM
	if size.AreaM2 > 0 {
		length = edgeM / 2
	}
	var c Count
	people := peopleOn(t, kind, k, size, length, p)
	if t.PeopleSheltered.Or(k.Sheltered) {
		c.Sheltered = people
	} else {
		c.People = people
	}
	if kind == inventory.Parking {
		stalls := stallsOn(t, size, p)
		c.Vehicles = stalls * t.ShareOccupied.Or(k.ShareOccupied.Value)
		if !t.PeoplePerHour.OK && !t.PeoplePresent.OK {
			vehicles := stalls * t.TurnoverPerDay.Or(k.TurnoverPerDay.Value) / hoursPerDay
			c.People = Staying(vehicles*p.Targets.PersonsPerVehicle.Value, t.DwellMinutes.Or(p.Targets.MinutesOnFoot.Value))
		}
	}
	if perDay := t.VehiclesPerDay.Or(k.VehiclesPerDay.Value); perDay > 0 {
		moving := MovingOnLine(perDay/hoursPerDay, length, t.Speed.Or(p.Targets.VehicleSpeed.Value))
		c.Vehicles += moving
		c.InVehicles += moving * p.Targets.PersonsPerVehicle.Value
	}
	return c
}

// peopleOn counts those on foot: as given first, as the kind assumes else.
func peopleOn(t inventory.Occupancy, kind inventory.TargetKind, k profile.Kind, size geo.Measure, length float64, p *profile.Profile) float64 {
	switch {
	case t.PeoplePresent.OK:
		return t.PeoplePresent.V
	case t.PeoplePerHour.OK && t.DwellMinutes.OK:
		return Staying(t.PeoplePerHour.V, t.DwellMinutes.V)
	case t.PeoplePerHour.OK && kind == inventory.Parking:
		return Staying(t.PeoplePerHour.V, p.Targets.MinutesOnFoot.Value/2)
	case t.PeoplePerHour.OK && k.DwellMinutes.Set():
		return Staying(t.PeoplePerHour.V, k.DwellMinutes.Value)
	case t.PeoplePerHour.OK:
		return MovingOnLine(t.PeoplePerHour.V, length, p.Targets.WalkingSpeed.Value)
	case k.PeoplePer100M2.Set() && size.AreaM2 > 0:
		return k.PeoplePer100M2.Value * size.AreaM2 / 100
	case k.PeoplePresent.Set():
		return k.PeoplePresent.Value
	case k.PeoplePerHour.Set() && k.DwellMinutes.Set():
		return Staying(k.PeoplePerHour.Value, k.DwellMinutes.Value)
	case k.PeoplePerHour.Set():
		return MovingOnLine(k.PeoplePerHour.Value, length, p.Targets.WalkingSpeed.Value)
	}
	return 0
}

func stallsOn(t inventory.Occupancy, size geo.Measure, p *profile.Profile) float64 {
	switch {
	case t.Stalls.OK:
		return t.Stalls.V
	case size.AreaM2 > 0:
		return size.AreaM2 / p.Targets.AreaPerStall.Value
	case size.LengthM > 0:
		return size.LengthM / p.Targets.LengthPerStall.Value
	}
	return float64(size.Points)
}
