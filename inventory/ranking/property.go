package ranking

import (
	"math"

	"github.com/underbough/underbough/inventory"
)

// Property is one named value of a row: nil, bool, int, float64, string,
// []string or []float64. Names carry the unit.
type Property struct {
	Name  string
	Value any
}

// Properties lists all that a row says, in the order it is shown. Every name is
// there whether or not it has a value.
func (r *Row) Properties() []Property {
	n := len(r.Over)
	over, lengths, areas, points := make([]string, n), make([]float64, n), make([]float64, n), make([]int, n)
	for i, u := range r.Over {
		over[i], lengths[i], areas[i], points[i] = string(u.Kind), round(u.LengthM, 2), round(u.AreaM2, 2), u.Points
	}
	within := make([]string, len(r.Within))
	for i, k := range r.Within {
		within[i] = string(k)
	}
	kinds := []string{}
	seen := map[inventory.CutKind]bool{}
	for _, c := range r.Cuts {
		if !seen[c.Kind] {
			seen[c.Kind] = true
			kinds = append(kinds, string(c.Kind))
		}
	}
	return []Property{
		{"rank", r.Rank},
		{"tag", text(r.Tag)},
		{"source_id", text(r.SourceID)},
		{"species", text(r.Species)},
		{"common_name", text(r.CommonName)},
		{"dbh_cm", option(r.DBH, 100)},
		{"height_m", round(r.Height, 2)},
		{"height_estimated", r.HeightEstimated},
		{"crown_radius_m", round(r.CrownRadius, 2)},
		{"crown_radius_estimated", r.CrownEstimated},
		{"over", over},
		{"over_length_m", lengths},
		{"over_area_m2", areas},
		{"over_points", points},
		{"within", within},
		{"people", figures(r.Count.Persons())},
		{"people_in_vehicles", figures(r.Count.InVehicles)},
		{"people_sheltered", figures(r.Count.Sheltered)},
		{"vehicles", figures(r.Count.Vehicles)},
		{"person_hours_year", figures(r.PersonHours())},
		{"busiest_people", figures(r.Week.Busiest)},
		{"busiest_hour", r.Week.BusiestHour},
		{"occupied_share", figures(r.Week.Occupied)},
		{"cut_kinds", kinds},
		{"cuts", text(r.CutSummary())},
		{"last_topped", year(r.LastTopped())},
		{"part", r.Part},
		{"part_people", figures(r.PartPeople)},
		{"part_vehicles", figures(r.PartVehicles)},
		{"likelihood", r.Likelihood},
		{"inferred", r.Inferred()},
		{"rule", r.Rule},
		{"stale", r.Stale},
		{"harm_index", figures(r.HarmIndex())},
		{"harm_people_index", figures(r.HarmPeople * 1000)},
		{"harm_vehicles_index", figures(r.HarmProperty * 1000)},
		{"rating", r.Rating},
		{"reason", r.Reason()},
	}
}

func text(s string) any {
	if s == "" {
		return nil
	}
	return s
}

func option(v inventory.Opt[float64], factor float64) any {
	if !v.OK {
		return nil
	}
	return round(v.V*factor, 2)
}

func year(v inventory.Opt[int]) any {
	if !v.OK {
		return nil
	}
	return v.V
}

func round(v float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	return math.Round(v*p) / p
}

// figures keeps five digits that mean something.
func figures(v float64) float64 {
	if v == 0 || math.IsNaN(v) {
		return 0
	}
	return round(v, 4-int(math.Floor(math.Log10(math.Abs(v)))))
}
