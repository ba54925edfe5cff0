package api

import (
	"slices"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// named makes members of one type from names with spaces between.
func named(schema func() object, names string) []member {
	var out []member
	for _, name := range strings.Fields(names) {
		out = append(out, member{name, schema()})
	}
	return out
}

// explanationSchema is that of one tree's sum, as question.Explanation lists it.
func explanationSchema() object {
	part := withMember(structure(slices.Concat(
		[]member{{"part", words("whole tree", "crown", "limb")}},
		named(text, "zone likelihood rule why rating_people rating_property rating_busiest_hour"),
		named(boolean, "inferred stale"),
		named(number, "zone_radius_m chance share_struck people people_in_vehicles people_sheltered vehicles busiest_people occupied_share busiest_vehicles vehicles_meeting people_meeting windy_people_open windy_people_in_vehicles windy_people_sheltered windy_vehicles harm_people_index harm_property_index"),
		named(whole, "busiest_hour busiest_vehicles_hour"),
		[]member{{"targets", listOf(structure(slices.Concat(
			named(whole, "target_id points"),
			named(text, "source_id name"),
			[]member{{"kind", words(inventory.TargetKinds...)}},
			named(number, "area_m2 length_m people people_sheltered vehicles"),
		)...).with(member{"additionalProperties", false}))}},
	)...), slices.Concat(
		[]member{{"cut_id", whole()}, {"cut_kind", words(inventory.CutKinds...)}},
		named(whole, "shoots"),
		named(number, "shoots_length_m shoots_base_diameter_m sail_area_m2 lever_arm_m moment_nm bending_stress_mpa"),
		named(boolean, "shoots_length_estimated shoots_base_diameter_estimated"),
	)...).with(member{"additionalProperties", false})
	return withMember(structure(slices.Concat(
		[]member{{"tree_id", whole()}},
		named(text, "site tag source_id species reason height_from crown_radius_from rating rating_people rating_property rating_busiest_hour chance_over profile profile_digest slope cautions"),
		named(number, "longitude latitude height_m height_se_m crown_radius_m crown_radius_se_m harm_index harm_people_index harm_property_index weight_in_vehicle weight_sheltered weight_property"),
		[]member{
			{"parts", listOf(part)},
			{"work", listOf(structure(slices.Concat(
				named(whole, "job_id visit"), named(text, "work state done_by"), []member{{"done_on", object{{"type", "string"}, {"format", "date"}}}},
				named(number, "harm_index_before harm_index_predicted"), []member{{"harm_index_after", number().with(member{"nullable", true})}},
			)...))},
			{"as_of", object{{"type", "string"}, {"format", "date"}}},
			{"mechanics_assumptions", listOf(text())},
			{"links", listOf(ref("schemas", "link"))},
		},
	)...), member{"height_note", text()}).with(member{"additionalProperties", false})
}
