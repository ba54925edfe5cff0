package appraisal

import (
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
)

// Method is how the value comes about.
type Method string

// The methods. They go by the edition of the plant appraisal guide that has them.
const (
	// TrunkFormula is the 10th edition's: basic cost × condition × functional
	// limits × external limits.
	TrunkFormula Method = "trunk formula technique, 10th edition"
	// TrunkFormula9 is the 9th edition's: basic cost × species × condition ×
	// location, where a replacement's installed cost is part of the basic cost.
	TrunkFormula9 Method = "trunk formula method, 9th edition"
)

// Step is one step of the calculation, in the order it is made.
type Step struct {
	Name  string  `json:"name"`
	How   string  `json:"how"` // the figures and what is done with them
	Value float64 `json:"value"`
	Unit  string  `json:"unit,omitempty"` // the currency, currency/cm², cm²; empty for a share
}

// Appraisal is a tree's value and all that it rests on. Diameters are metres,
// money is in units of Currency, ratings are shares from 0 to 1.
type Appraisal struct {
	Tree   inventory.TreeID `json:"tree_id"`
	Method Method           `json:"method"`

	// Diameter is the tree's, several stems combined (inventory.CombinedDiameter).
	Diameter float64 `json:"diameter_m"`

	// The nursery tree that its cost by cross-section comes from; TrunkFormula.
	NurseryCost     float64 `json:"nursery_cost,omitempty"`
	NurseryDiameter float64 `json:"nursery_diameter_m,omitempty"`
	// Health, structure and form make up the condition; TrunkFormula.
	Health    inventory.Opt[float64] `json:"health,omitzero"`
	Structure inventory.Opt[float64] `json:"structure,omitzero"`
	Form      inventory.Opt[float64] `json:"form,omitzero"`
	// Functional limits are the tree's and its place's, external ones come from
	// without, such as a pest or a law; TrunkFormula.
	Functional inventory.Opt[float64] `json:"functional_limits,omitzero"`
	External   inventory.Opt[float64] `json:"external_limits,omitzero"`

	// The largest tree that can be planted in its place; TrunkFormula9.
	InstalledCost       float64 `json:"installed_cost,omitempty"`
	ReplacementDiameter float64 `json:"replacement_diameter_m,omitempty"`
	UnitCost            float64 `json:"unit_cost_per_cm2,omitempty"` // of a cm² of cross-section
	// The three ratings of TrunkFormula9.
	Species   inventory.Opt[float64] `json:"species_rating,omitzero"`
	Condition inventory.Opt[float64] `json:"condition_rating,omitzero"`
	Location  inventory.Opt[float64] `json:"location_rating,omitzero"`

	By       string    `json:"by"` // who gave the ratings
	On       time.Time `json:"on"` // the day they did
	Currency string    `json:"currency,omitempty"`

	Value float64 `json:"value"` // not rounded
	Steps []Step  `json:"steps"`
}

// Appraise works out Value and Steps from the rest. The error names the first
// field at fault.
func (a *Appraisal) Appraise() error {
	a.Value, a.Steps = 0, nil
	if err := a.check(); err != nil {
		return err
	}
	if a.Method == TrunkFormula9 {
		a.ninth()
	} else {
		a.tenth()
	}
	if !(a.Value < mostValue) {
		unlikely := a.Value
		a.Value, a.Steps = 0, nil
		return fault("value", "comes to %v: check the costs and diameters, which are in metres", unlikely)
	}
	return nil
}

// tenth: METHOD section 7, after Buckeye Arborist, March/April 2022, pages 20 and 21.
func (a *Appraisal) tenth() {
	nursery, subject := CrossSection(a.NurseryDiameter), CrossSection(a.Diameter)
	unit := a.NurseryCost / nursery
	basic := subject * unit
	condition := (a.Health.V + a.Structure.V + a.Form.V) / 3
	a.Value = basic * condition * a.Functional.V * a.External.V
	a.step("unit cost", unit, a.money("/cm²"), "nursery tree "+figure(a.NurseryCost)+" ÷ its cross-section "+figure(nursery)+" cm²")
	a.step("cross-section", subject, "cm²", "π/4 × ("+figure(a.Diameter*100)+" cm)²")
	a.step("basic cost", basic, a.money(""), "cross-section × unit cost")
	a.step("condition", condition, "", "mean of health "+figure(a.Health.V)+", structure "+figure(a.Structure.V)+", form "+figure(a.Form.V))
	a.step("after condition", basic*condition, a.money(""), "basic cost × condition "+figure(condition))
	a.step("after functional limits", basic*condition*a.Functional.V, a.money(""), "× functional limits "+figure(a.Functional.V))
	a.step("value", a.Value, a.money(""), "× external limits "+figure(a.External.V))
}

// ninth: METHOD section 7, after McPherson 2007.
func (a *Appraisal) ninth() {
	subject, replacement := CrossSection(a.Diameter), CrossSection(a.ReplacementDiameter)
	basic := a.InstalledCost + a.UnitCost*(subject-replacement)
	a.Value = basic * a.Species.V * a.Condition.V * a.Location.V
	a.step("cross-section", subject, "cm²", "π/4 × ("+figure(a.Diameter*100)+" cm)²")
	a.step("cross-section of the replacement", replacement, "cm²", "π/4 × ("+figure(a.ReplacementDiameter*100)+" cm)²")
	a.step("basic cost", basic, a.money(""), "installed cost "+figure(a.InstalledCost)+" + "+figure(a.UnitCost)+"/cm² × ("+figure(subject)+" - "+figure(replacement)+") cm²")
	a.step("value", a.Value, a.money(""), "basic cost × species "+figure(a.Species.V)+" × condition "+figure(a.Condition.V)+" × location "+figure(a.Location.V))
}

func (a *Appraisal) step(name string, value float64, unit, how string) {
	a.Steps = append(a.Steps, Step{Name: name, How: how, Value: value, Unit: unit})
}

func (a *Appraisal) money(per string) string {
	if a.Currency == "" {
		return "units of money" + per
	}
	return a.Currency + per
}

// CrossSection is that of a stem by its diameter in metres, in cm².
func CrossSection(diameter float64) float64 { return math.Pi / 4 * diameter * diameter * 1e4 }

// figure writes a figure of a step with four decimals at the most.
func figure(v float64) string {
	text := strconv.FormatFloat(v, 'f', 4, 64)
	return strings.TrimRight(strings.TrimRight(text, "0"), ".")
}
