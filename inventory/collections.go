package inventory

func words[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = string(w)
	}
	return out
}

var (
	likelihoods = likelihoodWords[1:]
	ratings     = []string{"low", "moderate", "high", "extreme"}
	origins     = []string{"measured", "species", "genus", "group", "general"}
	partWords   = []string{"whole tree", "crown", "limb"}
)

// Collections lists what is served, with the properties in the order they are
// served in.
var Collections = []Collection{
	{ID: "sites", Title: "Sites", Note: "Sites of this client; the geometry is the boundary, where one is recorded.", Properties: []Property{
		{Name: "name"},
		{Name: "time_zone"},
		{Name: "generation", Type: Integer, Note: "of the exposures in force; 0 before any run"},
		{Name: "computed_at", Type: Timestamp, Derived: true},
		{Name: "profile", Derived: true, Note: "the assumptions the latest computation was made under"},
	}},
	{ID: "trees", Title: "Trees", Note: "Trees with their measures and what the latest computation found under them.", Properties: treeProperties},
	{ID: "cuts", Title: "Cuts", Note: "Recorded pruning cuts; the geometry is that of the tree.", Properties: cutProperties},
	{ID: "visits", Title: "Visits", Note: "What was seen on a day, and how likely parts were judged to fail; the geometry is that of the tree.", Properties: visitProperties},
	{ID: "targets", Title: "Targets", Note: "Places that can be hit, with the people and vehicles on them as recorded.", Properties: targetProperties},
	{ID: "counts", Title: "Counts", Note: "People and vehicles counted in an hour at a target; the geometry is the target's.", Properties: countProperties},
	{ID: "zones", Title: "Zones", Note: "The ground that each part of a standing tree can reach, drawn as a polygon from the inventory as it stands. Ids: 4 × tree + 0 for the whole tree, + 1 for the crown; 4 × cut + 2 for the limb that carries the cut.", Properties: zoneProperties, Computed: true},
	{ID: "overlaps", Title: "Overlaps", Note: "What each part of a standing tree would land on, measured from the inventory as it stands; the geometry is the tree's point. Ids: the zone's and the target's, joined.", Properties: overlapProperties, Computed: true},
}

var treeProperties = []Property{
	{Name: "site"},
	{Name: "tag"},
	{Name: "source_id"},
	{Name: "species"},
	{Name: "common_name"},
	{Name: "status", Values: words(TreeStatuses)},
	{Name: "dbh_cm", Type: Number, Decimals: 1},
	{Name: "stems", Type: Integer},
	{Name: "height_m", Type: Number, Decimals: 2},
	{Name: "crown_radius_m", Type: Number, Decimals: 2},
	{Name: "height_from", Values: origins, Derived: true, Note: "where the height that was computed with comes from"},
	{Name: "crown_radius_from", Values: origins, Derived: true, Note: "where the crown radius that was computed with comes from"},
	{Name: "condition"},
	{Name: "planted_year", Type: Integer},
	{Name: "lean_deg", Type: Number, Decimals: 1, Note: "of the stem from the vertical"},
	{Name: "lean_bearing_deg", Type: Number, Decimals: 1, Note: "where the stem leans to"},
	{Name: "brittle", Type: Boolean, Note: "its wood shatters in a fall"},
	{Name: "crown_surveyed", Type: Boolean, Note: "the crown's outline was surveyed"},
	{Name: "cut_kinds", Type: TextList, Values: words(CutKinds), Note: "of all recorded cuts"},
	{Name: "last_topped", Type: Integer, Note: "year of the latest dated topping"},
	{Name: "over", Type: TextList, Values: words(TargetKinds), Derived: true, Note: "kinds of target under the crown or a limb, the busiest first"},
	{Name: "over_length_m", Type: Number, Decimals: 2, Derived: true},
	{Name: "over_area_m2", Type: Number, Decimals: 2, Derived: true},
	{Name: "within", Type: TextList, Values: words(TargetKinds), Derived: true, Note: "kinds of target in reach of the whole tree"},
	{Name: "people", Type: Number, Decimals: 6, Derived: true, Note: "in the open and in vehicles, mean of the week"},
	{Name: "vehicles", Type: Number, Decimals: 6, Derived: true, Note: "mean of the week"},
	{Name: "person_hours_year", Type: Number, Decimals: 1, Derived: true},
	{Name: "busiest_people", Type: Number, Decimals: 6, Derived: true},
	{Name: "busiest_hour", Type: Integer, Derived: true, Note: "of the week, 0 = Monday 00:00"},
	{Name: "likelihood", Values: likelihoods, Derived: true, Note: "of failure, of the part that weighs most"},
	{Name: "inferred", Type: Boolean, Derived: true, Note: "by a rule, not by a person"},
	{Name: "rule", Derived: true},
	{Name: "harm_index", Type: Number, Decimals: 6, Derived: true, Note: "orders trees; predicts nothing"},
	{Name: "rating", Values: ratings, Derived: true},
	{Name: "extra", Type: Object, Note: "columns of the source that nothing was mapped to"},
	{Name: "version", Type: Integer},
	{Name: "changed_at", Type: Timestamp},
}

var cutProperties = []Property{
	{Name: "site"},
	{Name: "tree_id", Type: Integer},
	{Name: "tag"},
	{Name: "source_id"},
	{Name: "kind", Values: words(CutKinds)},
	{Name: "given_kind", Values: words(CutKinds), Note: "what the record called it, where the lateral rule classed it otherwise"},
	{Name: "made_year", Type: Integer},
	{Name: "made_on", Type: Date},
	{Name: "count", Type: Integer},
	{Name: "diameter_cm", Type: Number, Decimals: 1},
	{Name: "lateral_diameter_cm", Type: Number, Decimals: 1},
	{Name: "height_m", Type: Number, Decimals: 2},
	{Name: "bearing_deg", Type: Number, Decimals: 1},
	{Name: "reach_m", Type: Number, Decimals: 2},
	{Name: "stub_length_m", Type: Number, Decimals: 2},
	{Name: "closure", Type: Number, Decimals: 2, Note: "share of the wound closed by callus"},
	{Name: "decay", Type: Boolean},
	{Name: "regrowth_length_m", Type: Number, Decimals: 2},
	{Name: "regrowth_count", Type: Integer},
	{Name: "regrowth_diameter_cm", Type: Number, Decimals: 1},
	{Name: "bare_share", Type: Number, Decimals: 2, Note: "share of the limb's length that was stripped, from the trunk outwards"},
	{Name: "extra", Type: Object},
	{Name: "version", Type: Integer},
	{Name: "changed_at", Type: Timestamp},
}

var visitProperties = []Property{
	{Name: "site"},
	{Name: "tree_id", Type: Integer},
	{Name: "tag"},
	{Name: "source_id"},
	{Name: "visited_on", Type: Date},
	{Name: "visited_by"},
	{Name: "condition"},
	{Name: "whole_tree", Values: likelihoods, Note: "likelihood of failure as judged, as in crown and limb"},
	{Name: "crown", Values: likelihoods},
	{Name: "limb", Values: likelihoods},
	{Name: "note"},
	{Name: "dbh_cm", Type: Number, Decimals: 1},
	{Name: "height_m", Type: Number, Decimals: 2},
	{Name: "crown_radius_m", Type: Number, Decimals: 2},
	{Name: "stem_diameter_cm", Type: Number, Decimals: 1, Note: "inside the bark, where decay was measured"},
	{Name: "decay_diameter_cm", Type: Number, Decimals: 1, Note: "of the decayed or missing wood there"},
	{Name: "sound_wall_cm", Type: Number, Decimals: 1, Note: "the thinnest sound wall there"},
	{Name: "opening_share", Type: Number, Decimals: 2, Note: "share of the girth that is open there"},
	{Name: "other_points", Type: Integer, Note: "what the visitor adds in a point rating"},
	{Name: "extra", Type: Object},
	{Name: "version", Type: Integer},
	{Name: "changed_at", Type: Timestamp},
}

var countProperties = []Property{
	{Name: "site"},
	{Name: "target_id", Type: Integer},
	{Name: "name", Note: "of the target"},
	{Name: "kind", Values: words(TargetKinds)},
	{Name: "counted_at", Note: "the hour's begin by the site's clock, such as 2026-03-02T08:00"},
	{Name: "people", Type: Number, Decimals: 2},
	{Name: "vehicles", Type: Number, Decimals: 2},
	{Name: "extra", Type: Object},
	{Name: "version", Type: Integer},
	{Name: "changed_at", Type: Timestamp},
}

var targetProperties = []Property{
	{Name: "site"},
	{Name: "source_id"},
	{Name: "name"},
	{Name: "kind", Values: words(TargetKinds)},
	{Name: "people_per_hour", Type: Number, Decimals: 3},
	{Name: "people_present", Type: Number, Decimals: 3},
	{Name: "dwell_minutes", Type: Number, Decimals: 2},
	{Name: "vehicles_per_day", Type: Number, Decimals: 1},
	{Name: "speed_mps", Type: Number, Decimals: 2},
	{Name: "stalls", Type: Number, Decimals: 1},
	{Name: "share_occupied", Type: Number, Decimals: 3},
	{Name: "turnover_per_day", Type: Number, Decimals: 2},
	{Name: "hours", Note: "the profile's week of hours"},
	{Name: "sheltered", Type: Boolean},
	{Name: "repair", Note: "what was wrong with the geometry as read, where it was mended"},
	{Name: "extra", Type: Object},
	{Name: "version", Type: Integer},
	{Name: "changed_at", Type: Timestamp},
}

var zoneProperties = []Property{
	{Name: "site"},
	{Name: "tree_id", Type: Integer},
	{Name: "tag"},
	{Name: "part", Values: partWords},
	{Name: "cut_id", Type: Integer, Note: "the cut that the limb carries"},
	{Name: "radius_m", Type: Number, Decimals: 2},
	{Name: "bearing_deg", Type: Number, Decimals: 1, Note: "centre of a sector; null for a disc"},
	{Name: "width_deg", Type: Number, Decimals: 1, Note: "360 for a disc"},
	{Name: "height_estimated", Type: Boolean},
	{Name: "crown_radius_estimated", Type: Boolean},
	{Name: "likelihood", Values: likelihoods, Note: "of failure, of this part"},
	{Name: "inferred", Type: Boolean},
	{Name: "rule"},
}

var overlapProperties = []Property{
	{Name: "site"},
	{Name: "tree_id", Type: Integer},
	{Name: "tag"},
	{Name: "target_id", Type: Integer},
	{Name: "kind", Values: words(TargetKinds)},
	{Name: "part", Values: partWords},
	{Name: "cut_id", Type: Integer},
	{Name: "length_m", Type: Number, Decimals: 3},
	{Name: "area_m2", Type: Number, Decimals: 3},
	{Name: "points", Type: Integer},
	{Name: "people", Type: Number, Decimals: 6, Note: "in the open and in vehicles, mean of the week"},
	{Name: "vehicles", Type: Number, Decimals: 6, Note: "mean of the week"},
}
