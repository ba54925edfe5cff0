package ranking

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// Property is one named value of a row: nil, bool, int, float64, string,
// []string or []float64. Names carry the unit.
type Property struct {
	Name  string
	Value any
}

// Cell writes the value for a spreadsheet: lists with spaces between, nothing for
// what is missing. A text that a spreadsheet would take for a formula is quoted.
func (p Property) Cell() string {
	switch v := p.Value.(type) {
	case nil:
		return ""
	case string:
		if v != "" && strings.ContainsRune("=+-@\t\r", rune(v[0])) {
			return "'" + v
		}
		return v
	case []string:
		return strings.Join(v, " ")
	case []any: // as a kept row is read again
		words := make([]string, len(v))
		for i := range v {
			words[i] = Property{Value: v[i]}.Cell()
		}
		return strings.Join(words, " ")
	case []float64, []int:
		return strings.Trim(fmt.Sprint(v), "[]")
	case float64:
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return fmt.Sprint(p.Value)
}

// Properties lists all that a row says, in the order it is shown. Every name is
// there whether or not it has a value.
func (r *Row) Properties() []Property {
	n := len(r.Over)
	over, lengths, areas, points := make([]string, n), make([]float64, n), make([]float64, n), make([]int, n)
	for i, u := range r.Over {
		over[i], lengths[i], areas[i], points[i] = string(u.Kind), round(u.LengthM, 2), round(u.AreaM2, 2), u.Points
	}
	within := []string{}
	for _, k := range r.Within.List() {
		within = append(within, string(k))
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
		{"height_from", r.HeightFrom.String()},
		{"crown_radius_m", round(r.CrownRadius, 2)},
		{"crown_radius_from", r.CrownFrom.String()},
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
		{"busiest_vehicles", figures(r.BusiestVehicles)},
		{"occupied_share", figures(r.Week.Occupied)},
		{"cut_kinds", kinds},
		{"cuts", text(r.CutSummary())},
		{"last_topped", year(r.LastTopped())},
		{"vehicles_meeting", figures(r.Meeting)},
		{"part", r.Part.String()},
		{"part_people", figures(r.PartPeople)},
		{"part_vehicles", figures(r.PartVehicles)},
		{"likelihood", r.Likelihood.String()},
		{"inferred", r.Inferred()},
		{"rule", r.Rule.String()},
		{"stale", r.Stale},
		{"harm_index", figures(r.HarmIndex())},
		{"harm_people_index", figures(r.HarmPeople * 1000)},
		{"harm_property_index", figures(r.HarmProperty * 1000)},
		{"rating", r.Score.Rating.String()},
		{"rating_people", r.Score.People.String()},
		{"rating_property", r.Score.Property.String()},
		{"rating_busiest_hour", r.Score.Busiest.String()},
		{"rank_low", doubt(r, func(d Doubt) any { return d.Low })},
		{"rank_high", doubt(r, func(d Doubt) any { return d.High })},
		{"top_share", doubt(r, func(d Doubt) any { return round(d.Top, 3) })},
		{"reason", r.Reason()},
	}
}

// doubt is a figure of how sure the place is; nil where that was not asked.
func doubt(r *Row, of func(Doubt) any) any {
	if !r.Doubt.OK {
		return nil
	}
	return of(r.Doubt.V)
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

// Rounded keeps five digits that mean something, as every figure of a ranking
// does.
func Rounded(v float64) float64 { return figures(v) }

// figures keeps five digits that mean something.
func figures(v float64) float64 {
	if v == 0 || math.IsNaN(v) {
		return 0
	}
	return round(v, 4-int(math.Floor(math.Log10(math.Abs(v)))))
}
