package appraisal

import (
	"math"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
)

// Shade is the ground that a crown covers: what stands in its shade when the sun
// is overhead. Where two crowns meet, the ground beneath counts for each.
type Shade struct {
	Crown     float64 `json:"crown_m2"`         // the whole crown
	Parking   float64 `json:"parking_m2"`       // parking drawn as areas
	ParkingAt float64 `json:"parking_length_m"` // metres of parking drawn as lines
	Walks     float64 `json:"walks_m2"`         // walks and plazas drawn as areas
	WalksAt   float64 `json:"walks_length_m"`   // metres of walks drawn as lines, whose width is not known
}

// ShadeOf is the shade of one tree. under is what its crown covers by place in
// inventory.TargetKinds (exposure.ZoneExposure.ByKind of the crown's zone), and
// crown its area in m² (CrownArea).
func ShadeOf(crown float64, under []exposure.Amount) Shade {
	at := func(k inventory.TargetKind) exposure.Amount {
		if i := k.KindIndex(); i < len(under) {
			return under[i]
		}
		return exposure.Amount{}
	}
	parking, walk, plaza := at(inventory.Parking), at(inventory.Walkway), at(inventory.Plaza)
	return Shade{
		Crown: crown, Parking: parking.AreaM2, ParkingAt: parking.LengthM,
		Walks: walk.AreaM2 + plaza.AreaM2, WalksAt: walk.LengthM + plaza.LengthM,
	}
}

// Add sums the shade of several trees.
func (s *Shade) Add(o Shade) {
	s.Crown += o.Crown
	s.Parking += o.Parking
	s.ParkingAt += o.ParkingAt
	s.Walks += o.Walks
	s.WalksAt += o.WalksAt
}

// CrownArea is that of a tree's crown in m²: of the surveyed outline where there
// is one, else of a disc of the radius given in metres.
func CrownArea(t *inventory.Tree, radius float64) float64 {
	if t.Crown != nil {
		if area := geo.Size(t.Crown).AreaM2; area > 0 {
			return area
		}
	}
	return math.Pi * radius * radius
}
