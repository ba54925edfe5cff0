package exposure

import (
	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
)

// Whole is what is on the whole of a target, whether or not any tree reaches it.
type Whole struct {
	Count                   // mean over the season
	Persons     WeekSummary // in the open and in vehicles
	VehicleWeek WeekSummary
}

// Whole works out what is on the whole of a target.
func (b *FieldBuilder) Whole(t *inventory.Target) (Whole, error) {
	w, _, err := b.whole(t)
	return w, err
}

// WholeWeek is Whole with the ordinary week hour by hour, and with the weeks that
// its persons keep: the latter's places are those of week.
func (b *FieldBuilder) WholeWeek(t *inventory.Target) (w Whole, hours Hours, shares []WeekShare, err error) {
	w, z, err := b.whole(t)
	if err != nil {
		return w, hours, nil, err
	}
	return w, b.hours.open(&z), z.shares(nil), nil
}

// Week returns the week at a place that the shares of a target name, which is the
// target that was last asked about.
func (b *FieldBuilder) Week(at int, t *inventory.Target) KeptWeek {
	k := KeptWeek{Factors: b.hours.shapes[at]}
	if at < b.hours.weeks {
		k.Name = b.profile.WeekNames()[at]
	} else {
		k.Counted = inventory.Some(t.ID)
	}
	return k
}

func (b *FieldBuilder) whole(t *inventory.Target) (w Whole, z ZoneExposure, err error) {
	d, err := b.density(t)
	if err != nil {
		return w, z, err
	}
	size := geo.Size(t.Geometry)
	units := size.AreaM2
	switch d.shape {
	case geo.ShapeLine:
		units = size.LengthM
	case geo.ShapePoint:
		units = float64(size.Points)
	}
	h := &b.hours
	ordinary := d.per.times(units)
	z = ZoneExposure{weeks: make([]Count, h.weeks)}
	z.keep(h.weeks, &d, ordinary)
	w = Whole{Count: over(h.mean, &d, ordinary)}
	if w.Count.Persons() > 0 {
		w.Persons = h.hourByHour(&z, ofPersons)
	}
	if w.Vehicles > 0 {
		w.VehicleWeek = h.hourByHour(&z, ofVehicles)
	}
	return w, z, nil
}
