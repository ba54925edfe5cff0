package mechanics

import (
	"fmt"
	"math"
)

// DragForce is F = ½·ρ·C·A·U² in newtons: air density in kg/m³, drag
// coefficient, area in m², wind speed in m/s.
func DragForce(density, coefficient, area, speed float64) float64 {
	return density / 2 * coefficient * area * speed * speed
}

const pascalsPerMPa = 1e6

// BendingStress is σ = 32·M/(π·d³) at the surface of a round solid section, in
// MPa: moment in N·m, diameter in metres.
func BendingStress(moment, diameter float64) (float64, error) {
	return HollowBendingStress(moment, diameter, 0)
}

// HollowBendingStress is that of a section with a centred round hollow of
// diameter inner: the solid section's over 1 − (inner/diameter)⁴.
func HollowBendingStress(moment, diameter, inner float64) (float64, error) {
	if !(moment >= 0) {
		return 0, fmt.Errorf("bending moment %v N·m: expected 0 or more", moment)
	}
	if !(diameter > 0) {
		return 0, fmt.Errorf("diameter %v m: expected more than 0", diameter)
	}
	if !(inner >= 0 && inner < diameter) {
		return 0, fmt.Errorf("hollow of %v m: expected 0 to less than the diameter, %v m", inner, diameter)
	}
	q := inner / diameter
	return 32 * moment / (math.Pi * diameter * diameter * diameter) / (1 - q*q*q*q) / pascalsPerMPa, nil
}
