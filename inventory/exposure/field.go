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
	kind  uint8 // place in inventory.TargetKinds
	week  uint8 // place in Field.weeks
	shape geo.Shape
	per   Count
}

// Field is the targets of a site, or of a part of it, ready to be measured
// under many trees. It is immutable and safe for concurrent use.
type Field struct {
	index   *geo.Index
	targets []density
	hours   hours
}

// FieldBuilder collects targets.
type FieldBuilder struct {
	profile *profile.Profile
	weeks   map[string]uint8
	pieces  *geo.Builder
	targets []density
}

// NewFieldBuilder starts a field that takes its defaults from p.
func NewFieldBuilder(p *profile.Profile) *FieldBuilder {
	b := &FieldBuilder{profile: p, weeks: make(map[string]uint8), pieces: geo.NewBuilder()}
	for i, name := range p.WeekNames() {
		b.weeks[name] = uint8(i)
	}
	return b
}

// Add adds a target. It fails where the target names a week that the profile
// does not have.
func (b *FieldBuilder) Add(t inventory.Target) error {
	d, err := b.density(t)
	if err != nil {
		return err
	}
	b.pieces.Add(int32(len(b.targets)), t.Geometry)
	b.targets = append(b.targets, d)
	return nil
}

// density spreads what is on a target evenly over it: over its area where it
// has one, else over its length, else over its points.
func (b *FieldBuilder) density(t inventory.Target) (density, error) {
	kind := t.Kind.KindIndex()
	if kind < 0 {
		return density{}, inventory.Errorf(inventory.Invalid, "target %d: kind %q: expected one of %v", t.ID, t.Kind, inventory.TargetKinds)
	}
	name := t.Hours
	if name == "" {
		name = b.profile.Targets.Kinds[t.Kind].Week
	}
	week, ok := b.weeks[name]
	if !ok {
		return density{}, inventory.Errorf(inventory.Invalid, "target %d: hours %q: the profile has no such week, expected one of %v", t.ID, name, b.profile.WeekNames())
	}
	size := geo.Size(t.Geometry)
	d := density{id: t.ID, kind: uint8(kind), week: week}
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
	d.per = On(t.Occupancy, t.Kind, size, edgeLength(t.Geometry), b.profile).times(1 / units)
	return d, nil
}

// Build finishes the field.
func (b *FieldBuilder) Build() *Field {
	return &Field{index: b.pieces.Build(), targets: b.targets, hours: newHours(b.profile)}
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
