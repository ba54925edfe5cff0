package appraisal_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/appraisal"
)

const inch = 0.0254

func rated(v float64) inventory.Opt[float64] { return inventory.Some(v) }

// tenth is METHOD TV-TFT (Buckeye Arborist, March/April 2022, pages 20 and 21): a
// nursery tree of 3 in for $200, a tree of 30 in, condition 0.80, functional
// limits 0.75.
func tenth() appraisal.Appraisal {
	return appraisal.Appraisal{
		Tree: 7, Method: appraisal.TrunkFormula, NurseryCost: 200, NurseryDiameter: 3 * inch, Diameter: 30 * inch,
		Health: rated(0.9), Structure: rated(0.7), Form: rated(0.8), Functional: rated(0.75), External: rated(1),
		By: "an appraiser", On: time.Date(2026, 5, 4, 0, 0, 0, 0, time.UTC), Currency: "USD",
	}
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %v, expected %v", what, got, want)
	}
}

// METHOD TV-TFT: unit cost $28.294 a square inch, 706.86 in², basic cost $20,000,
// $16,000 after the condition, $12,000; × external limits 0.90: $10,800.
func TestTrunkFormula(t *testing.T) {
	a := tenth()
	if err := a.Appraise(); err != nil {
		t.Fatal(err)
	}
	near(t, "value", a.Value, 12000, 1e-8)
	const cm2 = 6.4516 // a square inch
	for _, want := range []struct {
		step       string
		value, off float64
	}{
		{"unit cost", 28.294 / cm2, 0.0005 / cm2}, {"cross-section", 706.86 * cm2, 0.005 * cm2}, {"basic cost", 20000, 1e-8},
		{"condition", 0.8, 1e-15}, {"after condition", 16000, 1e-8}, {"after functional limits", 12000, 1e-8}, {"value", 12000, 1e-8},
	} {
		found := false
		for _, s := range a.Steps {
			if s.Name == want.step {
				found = true
				near(t, want.step, s.Value, want.value, want.off)
				if s.How == "" {
					t.Errorf("step %s does not say how", s.Name)
				}
			}
		}
		if !found {
			t.Errorf("no step %s in %+v", want.step, a.Steps)
		}
	}
	a.External = rated(0.9)
	if err := a.Appraise(); err != nil || len(a.Steps) != 7 {
		t.Fatalf("again: %v, %d steps", err, len(a.Steps))
	}
	near(t, "with external limits", a.Value, 10800, 1e-8)
}

// Several stems count by their combined cross-section. METHOD section 10: stems of
// 20, 15 and 10 cm are one of 26.93 cm.
func TestSeveralStems(t *testing.T) {
	d := inventory.CombinedDiameter(0.20, 0.15, 0.10)
	near(t, "combined", d, 0.2693, 0.00005)
	near(t, "cross-section", appraisal.CrossSection(d), appraisal.CrossSection(0.20)+appraisal.CrossSection(0.15)+appraisal.CrossSection(0.10), 1e-9)
}

// METHOD TV-TFM (McPherson 2007, table 2): the printed basic cost and value of three
// rows. The replacement's cross-section, 14.05 cm², is inferred. The print has whole
// cm², so that its basic costs hold to within $6; these come to within $2.10.
func TestTrunkFormula9(t *testing.T) {
	diameter := func(cm2 float64) float64 { return math.Sqrt(cm2*4/math.Pi) / 100 }
	for _, row := range []struct{ cm2, condition, basic, value float64 }{{347, 0.56, 4319, 1451}, {462, 0.56, 5693, 1913}, {388, 0.64, 4812, 1848}} {
		a := appraisal.Appraisal{
			Method: appraisal.TrunkFormula9, Diameter: diameter(row.cm2), InstalledCost: 345, UnitCost: 11.94, ReplacementDiameter: diameter(14.05),
			Species: rated(0.9), Condition: rated(row.condition), Location: rated(0.667), By: "an appraiser", On: time.Date(2006, 1, 1, 0, 0, 0, 0, time.UTC),
		}
		if err := a.Appraise(); err != nil {
			t.Fatal(err)
		}
		near(t, "basic cost", a.Steps[2].Value, row.basic, 2.1)
		near(t, "value", a.Value, row.value, 2)
	}
}

func TestRefused(t *testing.T) {
	for _, c := range []struct {
		field string
		spoil func(*appraisal.Appraisal)
		says  string
	}{
		{"by", func(a *appraisal.Appraisal) { a.By = " " }, "who rated"},
		{"on", func(a *appraisal.Appraisal) { a.On = time.Time{} }, "day"},
		{"method", func(a *appraisal.Appraisal) { a.Method = "guess" }, "guess"},
		{"diameter_m", func(a *appraisal.Appraisal) { a.Diameter = 0 }, "above 0"},
		{"diameter_m", func(a *appraisal.Appraisal) { a.Diameter = 30 }, "below 15"},
		{"diameter_m", func(a *appraisal.Appraisal) { a.Diameter = math.NaN() }, "NaN"},
		{"nursery_cost", func(a *appraisal.Appraisal) { a.NurseryCost = 0 }, "money"},
		{"nursery_cost", func(a *appraisal.Appraisal) { a.NurseryCost = math.Inf(1) }, "money"},
		{"nursery_diameter_m", func(a *appraisal.Appraisal) { a.NurseryDiameter = -1 }, "-1"},
		{"value", func(a *appraisal.Appraisal) { a.NurseryDiameter = 1e-6 }, "in metres"},
		{"health", func(a *appraisal.Appraisal) { a.Health = inventory.Opt[float64]{} }, "a person enters it"},
		{"structure", func(a *appraisal.Appraisal) { a.Structure = rated(80) }, "80 % is 0.8"},
		{"form", func(a *appraisal.Appraisal) { a.Form = rated(-0.1) }, "0 to 1"},
		{"functional_limits", func(a *appraisal.Appraisal) { a.Functional = rated(math.NaN()) }, "0 to 1"},
		{"external_limits", func(a *appraisal.Appraisal) { a.External = inventory.Opt[float64]{} }, "missing"},
		{"installed_cost", func(a *appraisal.Appraisal) { a.Method = appraisal.TrunkFormula9 }, "money"},
		{"unit_cost_per_cm2", func(a *appraisal.Appraisal) { a.Method, a.InstalledCost = appraisal.TrunkFormula9, 345 }, "money"},
		{"replacement_diameter_m", func(a *appraisal.Appraisal) {
			a.Method, a.InstalledCost, a.UnitCost, a.ReplacementDiameter = appraisal.TrunkFormula9, 345, 12, 1
		}, "thicker than the tree"},
		{"species_rating", func(a *appraisal.Appraisal) {
			a.Method, a.InstalledCost, a.UnitCost, a.ReplacementDiameter = appraisal.TrunkFormula9, 345, 12, 0.05
		}, "missing"},
	} {
		a := tenth()
		c.spoil(&a)
		err := a.Appraise()
		if err == nil || inventory.KindOf(err) != inventory.Invalid || !strings.HasPrefix(err.Error(), "appraisal: "+c.field+" ") || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, expected to name the field and to say %q", c.field, err, c.says)
		}
		if a.Value != 0 || a.Steps != nil {
			t.Errorf("%s: refused, and yet worth %v", c.field, a.Value)
		}
	}
}

// What is kept as JSON comes back, with a rating of 0 apart from none.
func TestJSON(t *testing.T) {
	a := tenth()
	a.Form = rated(0)
	if err := a.Appraise(); err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	var back appraisal.Appraisal
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	if !back.Form.OK || back.Species.OK || back.Value != a.Value || len(back.Steps) != len(a.Steps) || !back.On.Equal(a.On) {
		t.Errorf("%s came back as %+v", text, back)
	}
}
