package exposure

import (
	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
)

// Whole returns what is on the whole of a target, mean over the season, whether
// or not any tree reaches it.
func (b *FieldBuilder) Whole(t *inventory.Target) (Count, error) {
	d, err := b.density(t)
	if err != nil {
		return Count{}, err
	}
	size := geo.Size(t.Geometry)
	units := size.AreaM2
	switch d.shape {
	case geo.ShapeLine:
		units = size.LengthM
	case geo.ShapePoint:
		units = float64(size.Points)
	}
	return over(b.hours.mean, &d, d.per.times(units)), nil
}
