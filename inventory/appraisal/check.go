package appraisal

import (
	"math"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// Limits of what is entered: the diameters that a tree is stored with, and money
// that no tree is worth.
const (
	mostDiameter = 15.0 // metres
	mostMoney    = 1e9
	mostValue    = 1e12
)

// check reports the first field that cannot be reckoned with.
func (a *Appraisal) check() error {
	if strings.TrimSpace(a.By) == "" {
		return fault("by", "is empty: give who rated the tree")
	}
	if a.On.IsZero() {
		return fault("on", "is empty: give the day on which the tree was rated")
	}
	if err := diameter("diameter_m", a.Diameter); err != nil {
		return err
	}
	switch a.Method {
	case TrunkFormula:
		return a.checkTenth()
	case TrunkFormula9:
		return a.checkNinth()
	}
	return fault("method", "is %q: expected %q or %q", a.Method, TrunkFormula, TrunkFormula9)
}

func (a *Appraisal) checkTenth() error {
	if err := money("nursery_cost", a.NurseryCost); err != nil {
		return err
	}
	if err := diameter("nursery_diameter_m", a.NurseryDiameter); err != nil {
		return err
	}
	return ratings([]rating{{"health", a.Health}, {"structure", a.Structure}, {"form", a.Form}, {"functional_limits", a.Functional}, {"external_limits", a.External}})
}

func (a *Appraisal) checkNinth() error {
	if err := money("installed_cost", a.InstalledCost); err != nil {
		return err
	}
	if err := money("unit_cost_per_cm2", a.UnitCost); err != nil {
		return err
	}
	if err := diameter("replacement_diameter_m", a.ReplacementDiameter); err != nil {
		return err
	}
	if a.ReplacementDiameter > a.Diameter {
		// The formula would take money off the replacement's own cost.
		return fault("replacement_diameter_m", "is %v, thicker than the tree (%v m): such a tree is appraised by what its replacement costs", a.ReplacementDiameter, a.Diameter)
	}
	return ratings([]rating{{"species_rating", a.Species}, {"condition_rating", a.Condition}, {"location_rating", a.Location}})
}

type rating struct {
	name  string
	given inventory.Opt[float64]
}

func ratings(list []rating) error {
	for _, r := range list {
		if !r.given.OK {
			return fault(r.name, "is missing: a person enters it, 0 to 1; nothing else stands for it")
		}
		if !(r.given.V >= 0 && r.given.V <= 1) {
			return fault(r.name, "is %v: expected a share from 0 to 1 (80 %% is 0.8)", r.given.V)
		}
	}
	return nil
}

func diameter(name string, v float64) error {
	if !(v > 0 && v < mostDiameter) {
		return fault(name, "is %v: expected metres above 0 and below %v", v, mostDiameter)
	}
	return nil
}

func money(name string, v float64) error {
	if !(v > 0 && v <= mostMoney) || math.IsInf(v, 0) {
		return fault(name, "is %v: expected an amount of money above 0 and up to %v", v, mostMoney)
	}
	return nil
}

func fault(field, format string, args ...any) error {
	return inventory.Errorf(inventory.Invalid, "appraisal: "+field+" "+format, args...)
}
