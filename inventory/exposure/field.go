package exposure

import (
	"fmt"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// density is what one unit of a target (metre, square metre or point) carries.
type density struct {
	id    inventory.TargetID
	week  int32 // of the people, place in hours
	drive int32 // of the vehicles, place in hours
	kind  uint8 // place in inventory.TargetKinds
	shape geo.Shape
	// What a unit carries in the mean of an ordinary week.
	per Count
	// Vehicles on their way to the zone that are too close to stop, once for
	// each zone the target is met in, in the mean of an ordinary week.
	approach float64
}

// Field is the targets of a site, or of a part of it, ready to be measured
// under many trees. It is immutable and safe for concurrent use.
type Field struct {
	index      *geo.Index
	targets    []density
	hours      hours
	names      []string // of the profile's weeks, by place in hours
	perVehicle float64  // persons
}

// FieldBuilder collects targets.
type FieldBuilder struct {
	profile *profile.Profile
	hours   hours
	places  map[string]int32 // of the profile's weeks in hours
	pieces  *geo.Builder
	targets []density
}

// NewFieldBuilder starts a field that takes its defaults from p.
func NewFieldBuilder(p *profile.Profile) *FieldBuilder {
	b := &FieldBuilder{profile: p, hours: newHours(p), places: make(map[string]int32), pieces: geo.NewBuilder()}
	for i, name := range p.WeekNames() {
		b.places[name] = int32(i)
	}
	return b
}

// Add adds a target. It fails where a count cannot be one. Hours that the profile
// does not have are passed over for those of the target's kind.
func (b *FieldBuilder) Add(t inventory.Target) error {
	d, err := b.density(&t)
	if err != nil {
		return err
	}
	b.pieces.Add(int32(len(b.targets)), t.Geometry)
	b.targets = append(b.targets, d)
	return nil
}

// density spreads what is on a target evenly over it: over its area where it
// has one, else over its length, else over its points.
func (b *FieldBuilder) density(t *inventory.Target) (density, error) {
	kind := t.Kind.KindIndex()
	if kind < 0 {
		return density{}, inventory.Errorf(inventory.Invalid, "target %d: kind %q: expected one of %v", t.ID, t.Kind, inventory.TargetKinds)
	}
	d := density{id: t.ID, kind: uint8(kind)}
	size := geo.Size(t.Geometry)
	occupancy, err := b.occupancy(&d, t, size)
	if err != nil {
		return density{}, err
	}
	var units float64
	switch {
	case size.AreaM2 > 0:
		d.shape, units = geo.ShapeArea, size.AreaM2
	case size.LengthM > 0:
		d.shape, units = geo.ShapeLine, size.LengthM
	case size.Points > 0:
		d.shape, units = geo.ShapePoint, float64(size.Points)
	default:
		return d, nil
	}
	d.per = On(occupancy, t.Kind, size, edgeLength(t.Geometry), b.profile).times(1 / units)
	d.approach = approaching(&occupancy, t.Kind, b.profile)
	return d, nil
}

// occupancy returns what is known of a target with what was counted on it in
// place of the flow given, and sets the weeks that its people and its vehicles
// keep.
//
// Vehicles counted at parking are those that come in: they bring the people on
// foot, and say nothing of how long the vehicles stay.
func (b *FieldBuilder) occupancy(d *density, t *inventory.Target, size geo.Measure) (inventory.Occupancy, error) {
	o := t.Occupancy
	kind := b.profile.Targets.Kinds[t.Kind]
	people, vehicles := kind.Week, kind.VehiclesWeek
	if vehicles == "" {
		vehicles = people
	}
	if _, known := b.places[t.Hours]; known {
		// A word that this profile lacks leaves the target its kind's week: it must
		// not keep a whole site from being ranked. Whoever asks is told.
		people, vehicles = t.Hours, t.Hours
	}
	d.week, d.drive = b.places[people], b.places[vehicles]
	flow, week, counted, err := b.counted(t, "vehicles counted", t.VehiclesCounted, vehicles)
	if err != nil {
		return o, err
	}
	stalls := stallsOn(o, size, b.profile)
	switch {
	case !counted:
	case t.Kind != inventory.Parking:
		o.VehiclesPerDay, d.drive = inventory.Some(flow*hoursPerDay), week
	case stalls > 0 && !o.PeoplePerHour.OK && !o.PeoplePresent.OK:
		o.TurnoverPerDay, d.week = inventory.Some(flow*hoursPerDay/stalls), week
	}
	flow, week, counted, err = b.counted(t, "people counted", t.PeopleCounted, people)
	if counted {
		o.PeoplePerHour, o.PeoplePresent, d.week = inventory.Some(flow), inventory.Opt[float64]{}, week
	}
	return o, err
}

// counted completes a count and gives its week a place in hours.
func (b *FieldBuilder) counted(t *inventory.Target, field string, c *inventory.CountedWeek, like string) (flow float64, week int32, ok bool, err error) {
	if c == nil {
		return 0, 0, false, nil
	}
	if err := checkCounted(t, field, c); err != nil {
		return 0, 0, false, err
	}
	kept := b.profile.Weeks[like]
	flow, shape, ok := Complete(c, &kept)
	if !ok {
		return 0, 0, false, nil
	}
	return flow, b.hours.add(shape, b.profile), true, nil
}

// Build finishes the field.
func (b *FieldBuilder) Build() *Field {
	return &Field{index: b.pieces.Build(), targets: b.targets, hours: b.hours, names: b.profile.WeekNames(), perVehicle: b.profile.Targets.PersonsPerVehicle.Value}
}

// Len returns the number of targets.
func (f *Field) Len() int { return len(f.targets) }

// edgeLength returns the length of all rings of the polygons of g, metres.
func edgeLength(g orb.Geometry) float64 {
	sum := 0.0
	switch g := g.(type) {
	case orb.Polygon:
		for _, ring := range g {
			for i := 1; i < len(ring); i++ {
				sum += geo.DistanceM(ring[i-1], ring[i])
			}
		}
	case orb.MultiPolygon:
		for _, p := range g {
			sum += edgeLength(p)
		}
	case orb.Collection:
		for _, part := range g {
			sum += edgeLength(part)
		}
	case nil, orb.Point, orb.MultiPoint, orb.LineString, orb.MultiLineString:
	default:
		panic(fmt.Sprintf("edge length of a %T", g))
	}
	return sum
}
