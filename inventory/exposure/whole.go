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
	d, err := b.density(t)
	if err != nil {
		return Whole{}, err
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
	z := ZoneExposure{weeks: make([]Count, h.weeks)}
	z.keep(h.weeks, &d, ordinary)
	w := Whole{Count: over(h.mean, &d, ordinary)}
	if w.Count.Persons() > 0 {
		w.Persons = h.hourByHour(&z, ofPersons)
	}
	if w.Vehicles > 0 {
		w.VehicleWeek = h.hourByHour(&z, ofVehicles)
	}
	return w, nil
}
