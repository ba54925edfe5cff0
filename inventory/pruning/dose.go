package pruning

import (
	"math"

	"github.com/underbough/underbough/inventory"
)

// Dose estimates the share of the live crown that goes with the branches
// removed: leaf mass is roughly linear in the area of a branch's section
// (Grabosky, Gilman and Harchick 2007), so it is the sum of their squared
// diameters over that of all first-order branches, the removed among them. All
// diameters are in one unit.
func Dose(removed, all []float64) (float64, error) {
	part, err := squares("removed", removed)
	if err != nil {
		return 0, err
	}
	whole, err := squares("all", all)
	if err != nil {
		return 0, err
	}
	if whole == 0 {
		return 0, inventory.Errorf(inventory.Invalid, "diameters of all branches: expected one above 0 at least")
	}
	if part > whole*(1+1e-9) {
		return 0, inventory.Errorf(inventory.Invalid, "the removed branches come to more than all: expected all to hold the removed ones too")
	}
	return min(part/whole, 1), nil
}

func squares(what string, diameters []float64) (float64, error) {
	sum := 0.0
	for _, d := range diameters {
		if !(d >= 0) || math.IsInf(d, 0) {
			return 0, inventory.Errorf(inventory.Invalid, "diameters of %s branches: %v, expected 0 or more", what, d)
		}
		sum += d * d
	}
	return sum, nil
}

// LiveCrownRatio is the share of a tree's height that carries live crown, from
// its height and that of the lowest live foliage, metres.
func LiveCrownRatio(height, lowest float64) (float64, error) {
	if !(height > 0) || math.IsInf(height, 0) || !(lowest >= 0 && lowest <= height) {
		return 0, inventory.Errorf(inventory.Invalid, "live crown from %v m up on a tree of %v m: expected a height above 0 and foliage within it", lowest, height)
	}
	return (height - lowest) / height, nil
}
