package importers

import (
	"slices"

	"github.com/underbough/underbough/inventory"
)

// Quantity is what a field measures; it decides which units it can come in.
type Quantity uint8

// The quantities.
const (
	Words   Quantity = iota // text as it stands
	Choice                  // one of a list of words
	Length                  // metres inside
	Number                  // a plain figure
	Whole                   // a count
	Share                   // 0 to 1 inside
	Bearing                 // degrees clockwise from north
	Speed                   // metres a second inside
	Year
	Day
	YesNo
	YearOrYes // a year, or yes where only the fact is known
	Angle     // degrees from the vertical
	Outline   // a polygon or several, as GeoJSON or well-known text
	Clock     // a day and a time of day, one of the two, or an hour
)

// String names what is measured, in plain words.
func (q Quantity) String() string {
	return [...]string{"text", "one of its words", "length", "number", "whole number", "share", "bearing", "speed", "year", "day", "yes or no", "year, or yes", "angle", "outline", "time"}[q]
}

// Field is one thing a record of a role can say.
type Field struct {
	Name     string // what a mapping calls it
	Column   string // the column it is kept in; empty where it makes a row of its own
	Quantity Quantity
	Choices  []string
	// Min and Max are the limits of the possible, in the unit kept. Zero is "not
	// measured" for a Length with Min above zero.
	Min, Max float64
	// Most is how far a mapping can raise Max; zero is not at all.
	Most float64
	// Also lists other names that files use, without their unit.
	Also []string
}

// Fields lists the fields of a role.
func Fields(role inventory.Role) []Field { return slices.Clone(fieldsOf(role)) }

// Units are the names of the units that the field can come in, the one served
// first; none for what has no unit.
func (f Field) Units() []string { return unitNames(f.Quantity) }

// NeedsUnit reports whether a figure of this field means nothing without its unit.
func (f Field) NeedsUnit() bool { return needsUnit(f.Quantity) }

// Required lists what records of a role cannot do without: of each group at least
// one field.
func Required(role inventory.Role) [][]string {
	tree := []string{"tree_source_id", "tree_tag"}
	switch role {
	case inventory.RoleTargets:
		return [][]string{{"kind"}}
	case inventory.RoleCuts:
		return [][]string{tree, {"kind"}}
	case inventory.RoleVisits:
		return [][]string{tree, {"visited_on"}}
	case inventory.RoleCrowns:
		return [][]string{tree}
	case inventory.RoleCounts:
		return [][]string{{"target_source_id", "target_name"}, {"counted_at", "date"}, {countPeople, countVehicles, "count"}}
	}
	return nil
}

// Located reports whether records of a role need a geometry.
func Located(role inventory.Role) bool { return slices.Contains(located, role) }

// fieldsOf returns the fields of a role, in the order they are converted.
func fieldsOf(role inventory.Role) []Field {
	switch role {
	case inventory.RoleTrees:
		return treeFields
	case inventory.RoleTargets:
		return targetFields
	case inventory.RoleCuts:
		return append(cutFields[:len(cutFields):len(cutFields)], refFields...)
	case inventory.RoleCounts:
		return countFields
	case inventory.RoleCrowns:
		return crownFields
	default:
		return append(visitFields[:len(visitFields):len(visitFields)], refFields...)
	}
}

func choices[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = string(v)
	}
	return out
}

var likelihoods = []string{"improbable", "possible", "probable", "imminent"}

var treeFields = []Field{
	{Name: "source_id", Column: "source_id", Also: []string{"id", "tree_id", "globalid", "objectid", "uuid", "fid"}},
	{Name: "tag", Column: "tag", Also: []string{"tag_no", "tag_number", "tree_tag", "tree_no", "tree_number"}},
	{Name: "species", Column: "species", Also: []string{"scientific", "scientific_name", "botanical", "botanical_name", "latin_name", "species_name"}},
	{Name: "common_name", Column: "common_name", Also: []string{"common"}},
	{Name: "status", Column: "status", Quantity: Choice, Choices: choices(inventory.TreeStatuses), Also: []string{"tree_status"}},
	{Name: "dbh", Column: "dbh_m", Quantity: Length, Min: 1e-9, Max: 3, Most: 14, Also: []string{"diameter", "trunk_diameter", "stem_diameter", "diameter_at_breast_height"}},
	{Name: "stems", Column: "stems", Quantity: Whole, Min: 1, Max: 100, Also: []string{"trunks", "stem_count"}},
	{Name: "height", Column: "height_m", Quantity: Length, Min: 1e-9, Max: 116, Most: 129, Also: []string{"tree_height", "total_height"}},
	{Name: "crown_radius", Column: "crown_radius_m", Quantity: Length, Min: 1e-9, Max: 40, Most: 49},
	{Name: "crown_diameter", Quantity: Length, Min: 1e-9, Max: 80, Most: 98, Also: []string{"crown_spread", "spread", "crown_width", "canopy_spread"}},
	{Name: "crown_n", Column: "crown_north_m", Quantity: Length, Max: 40, Most: 49, Also: []string{"crown_north", "crown_radius_n", "crown_radius_north"}},
	{Name: "crown_e", Column: "crown_east_m", Quantity: Length, Max: 40, Most: 49, Also: []string{"crown_east", "crown_radius_e", "crown_radius_east"}},
	{Name: "crown_s", Column: "crown_south_m", Quantity: Length, Max: 40, Most: 49, Also: []string{"crown_south", "crown_radius_s", "crown_radius_south"}},
	{Name: "crown_w", Column: "crown_west_m", Quantity: Length, Max: 40, Most: 49, Also: []string{"crown_west", "crown_radius_w", "crown_radius_west"}},
	{Name: "condition", Column: "condition", Also: []string{"health", "tree_condition"}},
	{Name: "planted_year", Column: "planted_year", Quantity: Year, Min: 1000, Max: 2200, Also: []string{"plant_year", "year_planted"}},
	{Name: "lean", Column: "lean_deg", Quantity: Angle, Max: 90, Also: []string{"lean_angle"}},
	{Name: "lean_bearing", Column: "lean_bearing_deg", Quantity: Bearing, Max: 360, Also: []string{"lean_direction", "lean_azimuth"}},
	{Name: "brittle", Column: "brittle", Quantity: YesNo, Also: []string{"brittle_wood"}},
	{Name: "crown", Column: "crown", Quantity: Outline, Also: outlineNames},
	{Name: "topped_year", Quantity: YearOrYes, Min: 1500, Max: 2200, Also: []string{"topped", "year_topped"}},
	{Name: "headed_year", Quantity: YearOrYes, Min: 1500, Max: 2200, Also: []string{"headed"}},
	{Name: "lion_tailed_year", Quantity: YearOrYes, Min: 1500, Max: 2200, Also: []string{"lion_tailed"}},
}

var cutFields = []Field{
	{Name: "source_id", Column: "source_id", Also: []string{"id", "cut_id"}},
	{Name: "kind", Column: "kind", Quantity: Choice, Choices: choices(inventory.CutKinds), Also: []string{"cut", "cut_kind", "cut_type", "type"}},
	{Name: "made_year", Column: "made_year", Quantity: Year, Min: 1500, Max: 2200, Also: []string{"year", "cut_year", "year_made"}},
	{Name: "made_on", Column: "made_on", Quantity: Day, Also: []string{"date", "cut_date"}},
	{Name: "count", Column: "count", Quantity: Whole, Min: 1, Max: 100000, Also: []string{"cuts", "number"}},
	{Name: "diameter", Column: "diameter_m", Quantity: Length, Min: 1e-9, Max: 3, Most: 14, Also: []string{"cut_diameter"}},
	{Name: "lateral_diameter", Column: "lateral_diameter_m", Quantity: Length, Max: 3, Most: 14, Also: []string{"lateral"}},
	{Name: "height", Column: "height_m", Quantity: Length, Max: 116, Most: 129, Also: []string{"cut_height"}},
	{Name: "bearing", Column: "bearing_deg", Quantity: Bearing, Max: 360, Also: []string{"azimuth", "direction"}},
	{Name: "reach", Column: "reach_m", Quantity: Length, Max: 40, Most: 129},
	{Name: "stub_length", Column: "stub_length_m", Quantity: Length, Max: 20, Most: 129},
	{Name: "bare_share", Column: "bare_share", Quantity: Share, Max: 1, Also: []string{"bare"}},
	{Name: "closure", Column: "closure", Quantity: Share, Max: 1, Also: []string{"callus"}},
	{Name: "decay", Column: "decay", Quantity: YesNo},
	{Name: "regrowth_length", Column: "regrowth_length_m", Quantity: Length, Max: 40, Most: 129, Also: []string{"regrowth", "shoot_length"}},
	{Name: "regrowth_count", Column: "regrowth_count", Quantity: Whole, Max: 100000, Also: []string{"shoots", "shoot_count"}},
	{Name: "regrowth_diameter", Column: "regrowth_diameter_m", Quantity: Length, Max: 2, Most: 14, Also: []string{"shoot_diameter"}},
}

var visitFields = []Field{
	{Name: "source_id", Column: "source_id", Also: []string{"id", "visit_id"}},
	{Name: "visited_on", Column: "visited_on", Quantity: Day, Also: []string{"date", "visit_date", "inspected", "inspection_date"}},
	{Name: "visited_by", Column: "visited_by", Also: []string{"by", "inspector", "crew"}},
	{Name: "condition", Column: "condition", Also: []string{"health"}},
	{Name: "whole_tree", Column: "whole_tree", Quantity: Choice, Choices: likelihoods, Also: []string{"likelihood_whole_tree"}},
	{Name: "crown", Column: "crown", Quantity: Choice, Choices: likelihoods, Also: []string{"likelihood_crown"}},
	{Name: "limb", Column: "limb", Quantity: Choice, Choices: likelihoods, Also: []string{"likelihood_limb", "likelihood"}},
	{Name: "note", Column: "note", Also: []string{"notes", "comment", "comments", "remarks"}},
	{Name: "dbh", Column: "dbh_m", Quantity: Length, Min: 1e-9, Max: 3, Most: 14, Also: []string{"diameter"}},
	{Name: "height", Column: "height_m", Quantity: Length, Min: 1e-9, Max: 116, Most: 129},
	{Name: "crown_radius", Column: "crown_radius_m", Quantity: Length, Min: 1e-9, Max: 40, Most: 49},
	{Name: "stem_diameter", Column: "stem_diameter_m", Quantity: Length, Min: 1e-9, Max: 3, Most: 14},
	{Name: "decay_diameter", Column: "decay_diameter_m", Quantity: Length, Max: 3, Most: 14, Also: []string{"cavity_diameter", "hollow_diameter"}},
	{Name: "sound_wall", Column: "sound_wall_m", Quantity: Length, Max: 3, Most: 14, Also: []string{"wall_thickness", "shell", "residual_wall"}},
	{Name: "opening_share", Column: "opening_share", Quantity: Share, Max: 1, Also: []string{"opening"}},
	{Name: "other_points", Column: "other_points", Quantity: Whole, Max: 2},
	{Name: "next_visit_on", Column: "next_visit_on", Quantity: Day, Also: []string{"next_visit", "next_inspection", "due"}},
}

// refFields name the tree that a cut, a visit or a crown belongs to.
var refFields = []Field{
	{Name: "tree_source_id", Also: []string{"tree_id"}},
	{Name: "tree_tag", Also: []string{"tag", "tree", "tree_no", "tree_number"}},
}

// crownFields are those of a file whose geometries are crowns. An id of such a
// file is that of the tree: whoever draws a crown has no other.
var crownFields = []Field{
	{Name: "tree_source_id", Also: []string{"tree_id", "source_id", "id"}},
	{Name: "tree_tag", Also: []string{"tag", "tree", "tree_no", "tree_number"}},
}

var countFields = []Field{
	{Name: "target_source_id", Also: []string{"target_id", "source_id"}},
	{Name: "target_layer", Also: []string{"layer"}},
	{Name: "target_name", Also: []string{"target", "name", "location", "street_name"}},
	{Name: "counted_at", Quantity: Clock, Also: []string{"timestamp", "datetime", "date_time", "time", "start", "start_time", "hour_beginning"}},
	{Name: "date", Quantity: Clock, Also: []string{"day", "count_date"}},
	{Name: "hour", Quantity: Clock, Also: []string{"hour_of_day"}},
	{Name: "people", Column: "people", Quantity: Number, Max: 1e6, Most: 1e9, Also: []string{"pedestrians", "peds", "persons", "people_count", "count_people", "pedestrian_count"}},
	{Name: "vehicles", Column: "vehicles", Quantity: Number, Max: 1e6, Most: 1e9, Also: []string{"cars", "vehicle_count", "count_vehicles", "traffic"}},
	{Name: "count", Quantity: Number, Max: 1e6, Most: 1e9, Also: []string{"counts", "total", "volume"}},
	{Name: "what", Quantity: Choice, Choices: []string{countPeople, countVehicles}, Also: []string{"counted", "mode", "kind"}},
}

var targetFields = []Field{
	{Name: "source_id", Column: "source_id", Also: []string{"id", "globalid", "objectid", "uuid", "fid"}},
	{Name: "name", Column: "name", Also: []string{"label", "street_name"}},
	{Name: "kind", Column: "kind", Quantity: Choice, Choices: choices(inventory.TargetKinds)},
	{Name: "people_per_hour", Column: "people_per_hour", Quantity: Number, Max: 1e6, Most: 1e9, Also: []string{"pedestrians_per_hour"}},
	{Name: "people_present", Column: "people_present", Quantity: Number, Max: 1e6, Most: 1e9},
	{Name: "dwell_minutes", Column: "dwell_minutes", Quantity: Number, Max: 100000, Most: 1e9},
	{Name: "vehicles_per_day", Column: "vehicles_per_day", Quantity: Number, Max: 1e6, Most: 1e9, Also: []string{"aadt", "adt"}},
	{Name: "speed", Column: "speed_mps", Quantity: Speed, Min: 1e-9, Max: 100, Also: []string{"speed_limit"}},
	{Name: "stalls", Column: "stalls", Quantity: Number, Max: 1e6, Most: 1e9, Also: []string{"spaces", "parking_spaces"}},
	{Name: "share_occupied", Column: "share_occupied", Quantity: Share, Max: 1},
	{Name: "turnover_per_day", Column: "turnover_per_day", Quantity: Number, Max: 1000, Most: 1e6},
	{Name: "hours", Column: "hours"},
	{Name: "sheltered", Column: "sheltered", Quantity: YesNo},
}
