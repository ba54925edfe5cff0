package inventory

import "math"

func words[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = string(w)
	}
	return out
}

// The ends of bounds: neither, both, or only the lower one is allowed itself.

func between(low, high float64) *Bounds { return &Bounds{low, high, true, true} }

func within(low, high float64) *Bounds { return &Bounds{Low: low, High: high} }

func upTo(low, high float64) *Bounds { return &Bounds{Low: low, High: high, Below: true} }

var (
	likelihoods = likelihoodWords[1:]
	ratings     = []string{"low", "moderate", "high", "extreme"}
	origins     = []string{"measured", "species", "genus", "group", "general"}
	partWords   = []string{"whole tree", "crown", "limb"}
)

var (
	point    = []string{"Point"}
	anyShape = []string{"Point", "LineString", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon", "GeometryCollection"}
)

// treeShapes stand beside the stem.
var treeShapes = []Shape{
	{"crown", "the crown as surveyed, or else a disc of the crown radius that was computed with"},
	{"zone", "the ground that the whole tree can reach: a disc of its height, half as much again where it is dead or brittle; null before any run"},
}

// Collections lists what is served, with the properties in the order they are
// served in.
var Collections = []Collection{
	{ID: "sites", Title: "Sites", Note: "Sites of this client; the geometry is the boundary, where one is recorded.", Geometries: []string{"MultiPolygon"}, Time: "changed_at", Editable: true, Properties: []Property{
		{Name: "name", Required: true},
		{Name: "time_zone", Note: "IANA name; the hours of the week are in it"},
		{Name: "epsg", Type: Integer, Note: "projected reference system of the site besides the usual ones; null for the UTM zone of its trees"},
		{Name: "generation", Type: Integer, Fixed: true, Note: "of the exposures in force; 0 before any run"},
		{Name: "computed_at", Type: Timestamp, Derived: true, Fixed: true},
		{Name: "version", Type: Integer, Fixed: true},
		{Name: "changed_at", Type: Timestamp, Fixed: true},
		{Name: "profile", Derived: true, Fixed: true, Note: "the assumptions the latest computation was made under"},
	}},
	{ID: "trees", Title: "Trees", Note: "Trees with their measures and what the latest computation found under them.", Properties: treeProperties, Geometries: point, Shapes: treeShapes, Time: "changed_at", Editable: true},
	{ID: "cuts", Title: "Cuts", Note: "Recorded pruning cuts; the geometry is that of the tree.", Properties: cutProperties, Geometries: point, Time: "made_on", Editable: true},
	{ID: "visits", Title: "Visits", Note: "What was seen on a day, and how likely parts were judged to fail; the geometry is that of the tree.", Properties: visitProperties, Geometries: point, Time: "visited_on", Editable: true},
	{ID: "targets", Title: "Targets", Note: "Places that can be hit, with the people and vehicles on them as recorded.", Properties: targetProperties, Geometries: anyShape, Time: "changed_at", Editable: true},
	{ID: "counts", Title: "Counts", Note: "People and vehicles counted in an hour at a target; the geometry is the target's.", Properties: countProperties, Geometries: anyShape, Time: "counted_at", Editable: true},
	{ID: "jobs", Title: "Jobs", Note: "Work on trees: a visit each, as planned, agreed to, done and checked; the geometry is the tree's point when the job was made.", Properties: jobProperties, Geometries: point, Time: "changed_at"},
	{ID: "zones", Title: "Zones", Note: "The ground that each part of a standing tree can reach, drawn as a polygon from the inventory as it stands. Ids: 4 × tree + 0 for the whole tree, + 1 for the crown; 4 × cut + 2 for the limb that carries the cut.", Properties: zoneProperties, Geometries: []string{"Polygon", "MultiPolygon"}, Computed: true},
	{ID: "overlaps", Title: "Overlaps", Note: "What each part of a standing tree would land on, measured from the inventory as it stands; the geometry is the tree's point. Ids: the zone's and the target's, joined.", Properties: overlapProperties, Geometries: point, Computed: true},
}

var treeProperties = []Property{
	{Name: "site"},
	{Name: "tag"},
	{Name: "source_id"},
	{Name: "species"},
	{Name: "common_name"},
	{Name: "status", Values: words(TreeStatuses), Default: string(Alive)},
	{Name: "dbh_cm", Type: Number, Decimals: 1, Bounds: between(0, 1500)},
	{Name: "stems", Type: Integer, Bounds: within(1, 32767)},
	{Name: "height_m", Type: Number, Decimals: 2, Bounds: between(0, 130)},
	{Name: "crown_radius_m", Type: Number, Decimals: 2, Bounds: between(0, 50)},
	{Name: "crown_north_m", Type: Number, Decimals: 2, Bounds: upTo(0, 50), Note: "from the stem to the crown's edge in the north"},
	{Name: "crown_east_m", Type: Number, Decimals: 2, Bounds: upTo(0, 50)},
	{Name: "crown_south_m", Type: Number, Decimals: 2, Bounds: upTo(0, 50)},
	{Name: "crown_west_m", Type: Number, Decimals: 2, Bounds: upTo(0, 50)},
	{Name: "height_from", Values: origins, Derived: true, Fixed: true, Note: "where the height that was computed with comes from"},
	{Name: "crown_radius_from", Values: origins, Derived: true, Fixed: true, Note: "where the crown radius that was computed with comes from"},
	{Name: "condition"},
	{Name: "planted_year", Type: Integer, Bounds: within(1000, 2200)},
	{Name: "lean_deg", Type: Number, Decimals: 1, Bounds: within(0, 90), Note: "of the stem from the vertical"},
	{Name: "lean_bearing_deg", Type: Number, Decimals: 1, Bounds: upTo(0, 360), Note: "where the stem leans to"},
	{Name: "brittle", Type: Boolean, Note: "its wood shatters in a fall"},
	{Name: "crown_surveyed", Type: Boolean, Fixed: true, Note: "the crown's outline was surveyed"},
	{Name: "cut_kinds", Type: TextList, Values: words(CutKinds), Fixed: true, Note: "of all recorded cuts"},
	{Name: "last_topped", Type: Integer, Fixed: true, Note: "year of the latest dated topping"},
	{Name: "regrowth_m", Type: Number, Decimals: 2, Fixed: true, Note: "the longest recorded on any cut"},
	{Name: "last_visit", Type: Date, Fixed: true},
	{Name: "next_visit", Type: Date, Fixed: true, Note: "as the latest visit that names a day asked for"},
	{Name: "over", Type: TextList, Values: words(TargetKinds), Derived: true, Fixed: true, Note: "kinds of target under the crown or a limb, the busiest first"},
	{Name: "over_length_m", Type: Number, Decimals: 2, Derived: true, Fixed: true},
	{Name: "over_area_m2", Type: Number, Decimals: 2, Derived: true, Fixed: true},
	{Name: "within", Type: TextList, Values: words(TargetKinds), Derived: true, Fixed: true, Note: "kinds of target in reach of the whole tree"},
	{Name: "people", Type: Number, Decimals: 6, Derived: true, Fixed: true, Note: "in the open and in vehicles, mean of the week"},
	{Name: "vehicles", Type: Number, Decimals: 6, Derived: true, Fixed: true, Note: "mean of the week"},
	{Name: "person_hours_year", Type: Number, Decimals: 1, Derived: true, Fixed: true},
	{Name: "busiest_people", Type: Number, Decimals: 6, Derived: true, Fixed: true},
	{Name: "busiest_hour", Type: Integer, Derived: true, Fixed: true, Note: "of the week, 0 = Monday 00:00"},
	{Name: "likelihood", Values: likelihoods, Derived: true, Fixed: true, Note: "of failure, of the part that weighs most"},
	{Name: "inferred", Type: Boolean, Derived: true, Fixed: true, Note: "by a rule, not by a person"},
	{Name: "rule", Derived: true, Fixed: true},
	{Name: "harm_index", Type: Number, Decimals: 6, Derived: true, Fixed: true, Note: "orders trees; predicts nothing"},
	{Name: "rank", Type: Integer, Derived: true, Fixed: true, Note: "place by harm index among the standing trees of the site; equals share one"},
	{Name: "rating", Values: ratings, Derived: true, Fixed: true},
	{Name: "extra", Type: Object, Note: "columns of the source that nothing was mapped to"},
	{Name: "version", Type: Integer, Fixed: true},
	{Name: "changed_at", Type: Timestamp, Fixed: true},
}

var cutProperties = []Property{
	{Name: "site", Fixed: true},
	{Name: "tree_id", Type: Integer, Required: true},
	{Name: "tag", Fixed: true},
	{Name: "source_id"},
	{Name: "kind", Values: words(CutKinds)},
	{Name: "given_kind", Values: words(CutKinds), Fixed: true, Note: "what the record called it, where the lateral rule classed it otherwise"},
	{Name: "made_year", Type: Integer, Bounds: within(1500, 2200)},
	{Name: "made_on", Type: Date},
	{Name: "count", Type: Integer, Bounds: within(1, math.MaxInt32)},
	{Name: "diameter_cm", Type: Number, Decimals: 1, Bounds: between(0, 1500)},
	{Name: "lateral_diameter_cm", Type: Number, Decimals: 1, Bounds: upTo(0, 1500)},
	{Name: "height_m", Type: Number, Decimals: 2, Bounds: upTo(0, 130)},
	{Name: "bearing_deg", Type: Number, Decimals: 1, Bounds: upTo(0, 360)},
	{Name: "reach_m", Type: Number, Decimals: 2, Bounds: upTo(0, 100)},
	{Name: "stub_length_m", Type: Number, Decimals: 2, Bounds: upTo(0, 50)},
	{Name: "closure", Type: Number, Decimals: 2, Bounds: within(0, 1), Note: "share of the wound closed by callus"},
	{Name: "decay", Type: Boolean},
	{Name: "regrowth_length_m", Type: Number, Decimals: 2, Bounds: upTo(0, 130)},
	{Name: "regrowth_count", Type: Integer, Bounds: within(0, math.MaxInt32)},
	{Name: "regrowth_diameter_cm", Type: Number, Decimals: 1, Bounds: upTo(0, 1500)},
	{Name: "bare_share", Type: Number, Decimals: 2, Bounds: within(0, 1), Note: "share of the limb's length that was stripped, from the trunk outwards"},
	{Name: "gone_on", Type: Date, Fixed: true, Note: "the day that the wood with the cut was taken off; it then carries nothing more"},
	{Name: "job_id", Type: Integer, Fixed: true, Note: "the job that it was made by"},
	{Name: "extra", Type: Object},
	{Name: "version", Type: Integer, Fixed: true},
	{Name: "changed_at", Type: Timestamp, Fixed: true},
}

var visitProperties = []Property{
	{Name: "site", Fixed: true},
	{Name: "tree_id", Type: Integer, Required: true},
	{Name: "tag", Fixed: true},
	{Name: "source_id"},
	{Name: "visited_on", Type: Date, Required: true},
	{Name: "visited_by"},
	{Name: "condition"},
	{Name: "whole_tree", Values: likelihoods, Note: "likelihood of failure as judged, as in crown and limb"},
	{Name: "crown", Values: likelihoods},
	{Name: "limb", Values: likelihoods},
	{Name: "note"},
	{Name: "next_visit_on", Type: Date, Note: "when the visitor asked for the next visit"},
	{Name: "dbh_cm", Type: Number, Decimals: 1, Bounds: between(0, 1500)},
	{Name: "height_m", Type: Number, Decimals: 2, Bounds: between(0, 130)},
	{Name: "crown_radius_m", Type: Number, Decimals: 2, Bounds: between(0, 50)},
	{Name: "stem_diameter_cm", Type: Number, Decimals: 1, Bounds: between(0, 1500), Note: "inside the bark, where decay was measured"},
	{Name: "decay_diameter_cm", Type: Number, Decimals: 1, Bounds: upTo(0, 1500), Note: "of the decayed or missing wood there"},
	{Name: "sound_wall_cm", Type: Number, Decimals: 1, Bounds: upTo(0, 1500), Note: "the thinnest sound wall there"},
	{Name: "opening_share", Type: Number, Decimals: 2, Bounds: within(0, 1), Note: "share of the girth that is open there"},
	{Name: "other_points", Type: Integer, Bounds: within(0, 2), Note: "what the visitor adds in a point rating"},
	{Name: "job_id", Type: Integer, Fixed: true, Note: "the job that the visit was made for"},
	{Name: "extra", Type: Object},
	{Name: "version", Type: Integer, Fixed: true},
	{Name: "changed_at", Type: Timestamp, Fixed: true},
}

// works are the kinds of work, in the words of package practice.
var works = []string{"restoration", "rebalancing", "reduction", "cleaning", "structural", "second opinion"}

var jobProperties = []Property{
	{Name: "site", Fixed: true},
	{Name: "tree_id", Type: Integer, Fixed: true},
	{Name: "tag", Fixed: true},
	{Name: "programme_id", Type: Integer, Fixed: true, Note: "null for a job made by hand"},
	{Name: "visit", Type: Integer, Fixed: true, Note: "of the tree's specification, from 1"},
	{Name: "year", Type: Integer, Fixed: true, Note: "that it is planned for"},
	{Name: "package", Fixed: true, Note: "street or area that is worked in together"},
	{Name: "work", Values: works, Fixed: true},
	{Name: "state", Values: words(JobStates), Fixed: true},
	{Name: "must", Type: Boolean, Fixed: true, Note: "had to be done, whatever else was"},
	{Name: "urgent", Type: Boolean, Fixed: true, Note: "a hazard that cannot wait for windows"},
	{Name: "gates_open", Type: Integer, Fixed: true, Note: "permits and the like that are not settled yet"},
	{Name: "hours", Type: Number, Decimals: 2, Fixed: true, Note: "crew-hours, estimated"},
	{Name: "cost", Type: Number, Decimals: 2, Fixed: true, Note: "units of money, estimated"},
	{Name: "dose", Type: Number, Decimals: 3, Fixed: true, Note: "share of the live crown at the most"},
	{Name: "open_days", Fixed: true, Note: "on which no window closes the work"},
	{Name: "quietest", Fixed: true, Note: "working hours with the fewest people beneath"},
	{Name: "harm_index_before", Type: Number, Decimals: 6, Fixed: true, Note: "of the tree when the job was made"},
	{Name: "harm_index_predicted", Type: Number, Decimals: 6, Fixed: true, Note: "what the client's assumption leaves of it"},
	{Name: "harm_index_after", Type: Number, Decimals: 6, Fixed: true, Note: "as computed once the work was done"},
	{Name: "done_on", Type: Date, Fixed: true},
	{Name: "done_by", Fixed: true},
	{Name: "defects", Type: Integer, Fixed: true, Note: "that the rules found in the work as recorded"},
	{Name: "version", Type: Integer, Fixed: true},
	{Name: "changed_at", Type: Timestamp, Fixed: true},
}

var countProperties = []Property{
	{Name: "site", Fixed: true},
	{Name: "target_id", Type: Integer, Required: true},
	{Name: "name", Fixed: true, Note: "of the target"},
	{Name: "kind", Values: words(TargetKinds), Fixed: true},
	{Name: "counted_at", Required: true, Note: "the hour's begin by the site's clock, such as 2026-03-02T08:00"},
	{Name: "people", Type: Number, Decimals: 2, Bounds: upTo(0, 1e9)},
	{Name: "vehicles", Type: Number, Decimals: 2, Bounds: upTo(0, 1e9)},
	{Name: "extra", Type: Object},
	{Name: "version", Type: Integer, Fixed: true},
	{Name: "changed_at", Type: Timestamp, Fixed: true},
}

var targetProperties = []Property{
	{Name: "site"},
	{Name: "source_id"},
	{Name: "name"},
	{Name: "kind", Values: words(TargetKinds), Required: true},
	{Name: "people_per_hour", Type: Number, Decimals: 3, Bounds: upTo(0, 1e9)},
	{Name: "people_present", Type: Number, Decimals: 3, Bounds: upTo(0, 1e9)},
	{Name: "dwell_minutes", Type: Number, Decimals: 2, Bounds: upTo(0, 1e9)},
	{Name: "vehicles_per_day", Type: Number, Decimals: 1, Bounds: upTo(0, 1e9)},
	{Name: "speed_mps", Type: Number, Decimals: 2, Bounds: between(0, 1000)},
	{Name: "stalls", Type: Number, Decimals: 1, Bounds: upTo(0, 1e9)},
	{Name: "share_occupied", Type: Number, Decimals: 3, Bounds: within(0, 1)},
	{Name: "turnover_per_day", Type: Number, Decimals: 2, Bounds: upTo(0, 1e9)},
	{Name: "hours", Note: "the profile's week of hours"},
	{Name: "sheltered", Type: Boolean},
	{Name: "repair", Fixed: true, Note: "what was wrong with the geometry as read, where it was mended"},
	{Name: "extra", Type: Object},
	{Name: "version", Type: Integer, Fixed: true},
	{Name: "changed_at", Type: Timestamp, Fixed: true},
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
