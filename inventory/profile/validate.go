package profile

import (
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// validate checks what the YAML decoder cannot: that every number is there and
// sourced, that names refer to something, and that thresholds are in order.
func (p *Profile) validate() error {
	if p.Name == "" || p.Version < 1 {
		return fmt.Errorf("name and version (1 or more) must be given")
	}
	if len(p.Weeks) > MaxWeeks {
		return fmt.Errorf("%d weeks are given, at most %d can be", len(p.Weeks), MaxWeeks)
	}
	for _, part := range []struct {
		name string
		of   any
	}{{"sizing", p.Sizing}, {"screening", p.Screening}, {"rating", p.Rating}, {"mechanics", p.Mechanics}, {"calibration", p.Calibration}, {"weights", p.Weights}, {"occupancy", p.Occupancy}, {"doubt", p.Doubt}} {
		if err := numbersGiven(part.name, reflect.ValueOf(part.of)); err != nil {
			return err
		}
	}
	for _, validate := range []func() error{p.Screening.validate, p.Rating.validate, p.Mechanics.validate, p.Calibration.validate} {
		if err := validate(); err != nil {
			return err
		}
	}
	if err := p.Calendar.validate(p.Weeks); err != nil {
		return fmt.Errorf("calendar.%v", err)
	}
	t := p.Targets
	t.Kinds = nil
	if err := numbersGiven("targets", reflect.ValueOf(t)); err != nil {
		return err
	}
	for kind := range p.Targets.Kinds {
		if kind.KindIndex() < 0 {
			return fmt.Errorf("targets.kinds.%s: no such kind of target, expected one of %v", kind, inventory.TargetKinds)
		}
	}
	for _, kind := range inventory.TargetKinds {
		k, ok := p.Targets.Kinds[kind]
		if !ok {
			return fmt.Errorf("targets.kinds.%s is missing", kind)
		}
		if err := numbersInRange(fmt.Sprintf("targets.kinds.%s", kind), reflect.ValueOf(k)); err != nil {
			return err
		}
		if _, ok := p.Weeks[k.Week]; !ok {
			return fmt.Errorf("targets.kinds.%s.week: no week named %q, expected one of %v", kind, k.Week, p.WeekNames())
		}
		if _, ok := p.Weeks[k.VehiclesWeek]; !ok && k.VehiclesWeek != "" {
			return fmt.Errorf("targets.kinds.%s.vehicles_week: no week named %q, expected one of %v", kind, k.VehiclesWeek, p.WeekNames())
		}
	}
	if s := &p.Sizing; s.MinCrownRadius.Value > s.MaxCrownRadius.Value {
		return fmt.Errorf("sizing.min_crown_radius_m: %v is above max_crown_radius_m, %v", s.MinCrownRadius.Value, s.MaxCrownRadius.Value)
	}
	if err := p.Doubt.validate(); err != nil {
		return err
	}
	o := p.Occupancy
	if !(o.Constant.Value > o.Frequent.Value && o.Frequent.Value > o.Occasional.Value) {
		return fmt.Errorf("occupancy: constant must be above frequent and frequent above occasional")
	}
	return nil
}

// numbersGiven walks a struct and asks every Number in it for its source.
func numbersGiven(path string, v reflect.Value) error {
	return NumbersGiven(path, v, func(path string, value float64) error { return limitOf(path).check(path, value) })
}

// NumbersGiven walks a struct, its lists and its maps of words, and asks every
// Number in it for its source and a check for its value. Names are those of the
// YAML.
func NumbersGiven(path string, v reflect.Value, check func(path string, value float64) error) error {
	if n, ok := v.Interface().(Number); ok {
		if !n.Set() {
			return fmt.Errorf("%s is missing or has no source (write 'assumption' where there is none)", path)
		}
		return check(path, n.Value)
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if err := NumbersGiven(path+"."+v.Type().Field(i).Tag.Get("yaml"), v.Field(i), check); err != nil {
				return err
			}
		}
	case reflect.Slice:
		for i := range v.Len() {
			if err := NumbersGiven(path+"."+strconv.Itoa(i), v.Index(i), check); err != nil {
				return err
			}
		}
	case reflect.Map:
		keys := v.MapKeys()
		slices.SortFunc(keys, func(a, b reflect.Value) int { return strings.Compare(a.String(), b.String()) })
		for _, k := range keys {
			if err := NumbersGiven(path+"."+k.String(), v.MapIndex(k), check); err != nil {
				return err
			}
		}
	}
	return nil
}

// numbersInRange checks the numbers of a kind of target, each of which may be
// missing.
func numbersInRange(path string, v reflect.Value) error {
	for i := range v.NumField() {
		n, ok := v.Field(i).Interface().(Number)
		if !ok || n == (Number{}) {
			continue
		}
		if err := numbersGiven(path+"."+v.Type().Field(i).Tag.Get("yaml"), v.Field(i)); err != nil {
			return err
		}
	}
	return nil
}
