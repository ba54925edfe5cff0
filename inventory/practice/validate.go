package practice

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// validate checks what the YAML decoder cannot: that every number is there and
// sourced, that words are known, and that limits are in order.
func (p *Practice) validate() error {
	if p.Name == "" || p.Version < 1 {
		return fmt.Errorf("name and version (1 or more) must be given")
	}
	for _, part := range []struct {
		name string
		of   any
	}{{"pruning", p.Pruning}, {"restoration", p.Restoration}, {"cycle", p.Cycle}, {"work_hours", p.WorkHours}, {"rates", p.Rates}, {"effect", p.Effect}} {
		if err := profile.NumbersGiven(part.name, reflect.ValueOf(part.of), check); err != nil {
			return err
		}
	}
	for _, validate := range []func() error{p.Pruning.validate, p.Restoration.validate, p.Cycle.validate, p.Windows.validate, p.WorkHours.validate, p.Rates.validate, p.Effect.validate} {
		if err := validate(); err != nil {
			return err
		}
	}
	return nil
}

// check reports a figure that is none or out of its limits. Shares and doses are
// told by their names.
func check(path string, v float64) error {
	most := 1e6
	if strings.Contains(path, "share") || strings.Contains(path, "dose") || strings.HasPrefix(path, "effect.takes_off.") || strings.HasSuffix(path, "ratio_least") || strings.HasSuffix(path, "give_up_loss") {
		most = 1
	}
	if strings.HasSuffix(path, "over_extended_share") {
		most = 10
	}
	if strings.HasSuffix(path, "_years") {
		most = 100
	}
	if math.IsNaN(v) || v < 0 || v > most {
		return fmt.Errorf("%s: %v, expected a number from 0 to %v", path, v, most)
	}
	return nil
}

func (p *Pruning) validate() error {
	if p.LateralShare.Value > p.LateralSharePreferred.Value {
		return fmt.Errorf("pruning.lateral_share: %v is above lateral_share_preferred, %v", p.LateralShare.Value, p.LateralSharePreferred.Value)
	}
	if err := p.withinPublished(); err != nil {
		return err
	}
	if p.WoundCaution.Value > p.WoundMost.Value {
		return fmt.Errorf("pruning.wound_caution_m: %v is above wound_most_m, %v", p.WoundCaution.Value, p.WoundMost.Value)
	}
	if p.StressedPercent.Value > 100 {
		return fmt.Errorf("pruning.stressed_percent: %v, expected 0 to 100", p.StressedPercent.Value)
	}
	if !(p.GreenDensity.Value > 0 && p.GreenDensity.Value < 2000) {
		return fmt.Errorf("pruning.green_density_kgpm3: %v, expected kilograms in a cubic metre, above 0 and below 2000", p.GreenDensity.Value)
	}
	if p.LimbTaper.Value > 5 {
		return fmt.Errorf("pruning.limb_taper: %v, expected a power from 0 (no taper) to 5", p.LimbTaper.Value)
	}
	if p.YoungDBH.Value >= p.MatureDBH.Value {
		return fmt.Errorf("pruning.young_dbh_m: %v must be below mature_dbh_m, %v", p.YoungDBH.Value, p.MatureDBH.Value)
	}
	return nil
}

// The published limits that no practice goes beyond: a cut to a lateral under a
// third is a heading cut (UF/IFAS, reduction cuts), and over a quarter of the live
// crown in a season is improper pruning (published restatements of the pruning
// standard; a city code).
const (
	leastLateral = 1.0/3 - 1e-6
	mostDose     = 0.25
)

func (p *Pruning) withinPublished() error {
	if p.LateralShare.Value < leastLateral {
		return fmt.Errorf("pruning.lateral_share: %v, expected a third (0.3333333333) or more: to a smaller lateral it is a heading cut", p.LateralShare.Value)
	}
	for _, d := range []struct {
		name string
		v    float64
	}{
		{"dose.young", p.Dose.Young.Value}, {"dose.established", p.Dose.Established.Value}, {"dose.mature", p.Dose.Mature.Value}, {"dose.stressed", p.Dose.Stressed.Value}, {"dose.topped_lately", p.Dose.ToppedLately.Value},
		{"work_dose.rebalancing", p.WorkDose.Rebalancing.Value}, {"work_dose.reduction", p.WorkDose.Reduction.Value}, {"work_dose.cleaning", p.WorkDose.Cleaning.Value}, {"work_dose.structural", p.WorkDose.Structural.Value},
		{"dose_trigger_share", p.DoseTrigger.Value},
	} {
		if d.v > mostDose {
			return fmt.Errorf("pruning.%s: %v, expected no more than %v of the live crown: the published cap of a season", d.name, d.v, mostDose)
		}
	}
	if n := p.DoseNever.Value; n < mostDose || n > 0.5 {
		return fmt.Errorf("pruning.dose_never_share: %v, expected %v to 0.5", n, mostDose)
	}
	if y := p.OverDoseYears.Value; y != math.Trunc(y) || y > 20 {
		return fmt.Errorf("pruning.over_dose_years: %v, expected whole years to 20", y)
	}
	return nil
}

func (r *RestorationRules) validate() error {
	if len(r.Visits) == 0 || len(r.Visits) > 12 {
		return fmt.Errorf("restoration.visits: %d are given, expected 1 to 12", len(r.Visits))
	}
	if b := r.Between.Value; b < 1 || b != math.Trunc(b) {
		return fmt.Errorf("restoration.between_years: %v, expected whole years from 1", b)
	}
	for i, v := range r.Visits {
		if v.Dose.Value > mostDose {
			return fmt.Errorf("restoration.visits.%d.dose: %v, expected no more than %v of the live crown: the published cap of a season", i, v.Dose.Value, mostDose)
		}
		if i > 0 && v.AfterYears.Value-r.Visits[i-1].AfterYears.Value < r.Between.Value {
			return fmt.Errorf("restoration.visits.%d.after_years: %v is less than between_years, %v, after the visit before", i, v.AfterYears.Value, r.Between.Value)
		}
		if y := v.AfterYears.Value; y != math.Trunc(y) || i == 0 && y != 0 || i > 0 && y <= r.Visits[i-1].AfterYears.Value {
			return fmt.Errorf("restoration.visits.%d.after_years: %v, expected whole years, 0 for the first visit and more for each later one", i, y)
		}
	}
	for _, y := range []Number{r.InnerGrowthYears, r.ShootsKeptLeast, r.ShootsKeptMost} {
		if y.Value != math.Trunc(y.Value) {
			return fmt.Errorf("restoration: %v (%s): expected a whole number", y.Value, y.Source)
		}
	}
	if r.ShootsKeptLeast.Value > r.ShootsKeptMost.Value || r.ShootsKeptMost.Value < 1 {
		return fmt.Errorf("restoration.shoots_kept_least: expected a number up to shoots_kept_most, and that 1 or more")
	}
	if y := r.LookYears.Value; y < 1 || y != math.Trunc(y) {
		return fmt.Errorf("restoration.look_years: %v, expected whole years from 1", y)
	}
	for _, k := range r.GiveUpOver {
		if k.KindIndex() < 0 {
			return fmt.Errorf("restoration.give_up_over: no kind of target %q, expected some of %v", k, inventory.TargetKinds)
		}
	}
	if r.ShootsRemoved.Value+r.ShootsShortened.Value > 1 {
		return fmt.Errorf("restoration.shoots_removed_share and shoots_shortened_share come to more than 1")
	}
	return nil
}

func (c *Cycle) validate() error {
	for _, y := range []struct {
		name string
		v    float64
	}{{"young_years", c.Young.Value}, {"established_years", c.Established.Value}, {"mature_years", c.Mature.Value}, {"stressed_years", c.Stressed.Value}, {"inspect_years", c.InspectYears.Value}} {
		if y.v < 1 || y.v != math.Trunc(y.v) {
			return fmt.Errorf("cycle.%s: %v, expected whole years from 1", y.name, y.v)
		}
	}
	return nil
}

func (w *Windows) validate() error {
	for i := range w.List {
		if err := w.List[i].validate(); err != nil {
			return fmt.Errorf("windows.list.%d: %w", i, err)
		}
	}
	for i, d := range w.Drought {
		from, errFrom := time.Parse(time.DateOnly, d.From)
		to, errTo := time.Parse(time.DateOnly, d.To)
		if errFrom != nil || errTo != nil || to.Before(from) {
			return fmt.Errorf("windows.drought.%d: from %q to %q: expected two days YYYY-MM-DD in order", i, d.From, d.To)
		}
		if d.Source == "" {
			return fmt.Errorf("windows.drought.%d: source is missing: who declared it", i)
		}
	}
	return nil
}

func (w *Window) validate() error {
	if w.Name == "" {
		return fmt.Errorf("name is missing")
	}
	if w.Source == "" || w.Reason == "" {
		return fmt.Errorf("reason or source is missing (write 'assumption' where there is none)")
	}
	for _, end := range []struct{ name, text string }{{"from", w.From}, {"to", w.To}} {
		if _, err := ParseYearDay(end.text); err != nil {
			return fmt.Errorf("%s: %v", end.name, err)
		}
	}
	if !slices.Contains([]string{"allowed", "survey", "blocked"}, w.Urgent) {
		return fmt.Errorf("urgent: %q: expected allowed, survey or blocked", w.Urgent)
	}
	for _, k := range w.Over {
		if k.KindIndex() < 0 {
			return fmt.Errorf("over: no kind of target %q, expected some of %v", k, inventory.TargetKinds)
		}
	}
	return nil
}

func (r *Rates) validate() error {
	for i, c := range r.Classes {
		if !(c > 0) || i > 0 && c <= r.Classes[i-1] || c > 15 {
			return fmt.Errorf("rates.classes_m: %v: expected metres above 0, each above the one before", r.Classes)
		}
	}
	for _, m := range []struct {
		name string
		of   Minutes
	}{{"light_minutes", r.Light}, {"heavy_minutes", r.Heavy}} {
		if len(m.of.Values) != len(r.Classes)+1 {
			return fmt.Errorf("rates.%s: %d figures, expected %d: one for each class and one above the last", m.name, len(m.of.Values), len(r.Classes)+1)
		}
		if m.of.Source == "" {
			return fmt.Errorf("rates.%s has no source (write 'assumption' where there is none)", m.name)
		}
		for _, v := range m.of.Values {
			if !(v >= 0 && v <= 1e4) {
				return fmt.Errorf("rates.%s: %v: expected minutes from 0 to 10000", m.name, v)
			}
		}
	}
	for kind := range r.TrafficHours {
		if kind.KindIndex() < 0 {
			return fmt.Errorf("rates.traffic_hours.%s: no such kind of target, expected some of %v", kind, inventory.TargetKinds)
		}
	}
	return eachWork("rates.work", r.Work)
}

func (e *Effect) validate() error {
	if y := e.Lasts.Value; y < 1 || y != math.Trunc(y) {
		return fmt.Errorf("effect.lasts_years: %v, expected whole years from 1", y)
	}
	return eachWork("effect.takes_off", e.TakesOff)
}

func eachWork(path string, m map[Work]Number) error {
	for w := range m {
		if !slices.Contains(Works, w) {
			return fmt.Errorf("%s.%s: no such kind of work, expected %v", path, w, Works)
		}
	}
	for _, w := range Works {
		if _, ok := m[w]; !ok {
			return fmt.Errorf("%s.%s is missing", path, w)
		}
	}
	return nil
}
