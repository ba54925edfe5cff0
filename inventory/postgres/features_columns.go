package postgres

import (
	"fmt"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

// featureTable says where a collection is stored and what SQL each of its
// properties is. All of it is constant text: what a request brings is only
// ever a parameter.
type featureTable struct {
	from     string
	client   string // the client's id, the head of the key
	id       string
	geometry string
	points   bool // every geometry is a point
	// columns are by property; one that is missing has the property's own name
	// in alias's table.
	alias   string
	columns map[string]string
}

var featureTables = map[string]*featureTable{
	"sites": {
		from:   `sites s LEFT JOIN runs r ON r.client_id = s.client_id AND r.site_id = s.site_id AND r.generation = s.generation`,
		client: "s.client_id", id: "s.site_id", geometry: "s.boundary", alias: "s",
		columns: map[string]string{
			"computed_at": "r.computed_at",
			"profile":     "r.profile_name",
		},
	},
	"trees": {
		from: `trees t JOIN sites s ON s.client_id = t.client_id AND s.site_id = t.site_id
			LEFT JOIN exposures e ON e.client_id = t.client_id AND e.generation = s.generation AND e.tree_id = t.tree_id`,
		client: "t.client_id", id: "t.tree_id", geometry: "t.geometry", points: true, alias: "t",
		columns: map[string]string{
			"site":              "s.name",
			"dbh_cm":            "t.dbh_m * 100",
			"crown_surveyed":    "t.crown IS NOT NULL",
			"height_from":       wordOf("origin", "e.height_from"),
			"crown_radius_from": wordOf("origin", "e.crown_from"),
			"cut_kinds":         "ARRAY(SELECT DISTINCT c.kind FROM cuts c WHERE c.client_id = t.client_id AND c.tree_id = t.tree_id ORDER BY c.kind)",
			"last_topped":       "(SELECT max(coalesce(c.made_year, extract(year FROM c.made_on))) FROM cuts c WHERE c.client_id = t.client_id AND c.tree_id = t.tree_id AND c.kind = 'topping')",
			"over":              "CASE WHEN e.tree_id IS NOT NULL THEN coalesce((SELECT array_agg(kind ORDER BY place) FROM amounts(e.amounts)), '{}') END",
			"over_length_m":     "CASE WHEN e.tree_id IS NOT NULL THEN coalesce((SELECT sum(length_m) FROM amounts(e.amounts)), 0) END",
			"over_area_m2":      "CASE WHEN e.tree_id IS NOT NULL THEN coalesce((SELECT sum(area_m2) FROM amounts(e.amounts)), 0) END",
			"within":            "kinds(e.within)",
			"people":            "e.people::float8 + e.people_in_vehicles",
			"vehicles":          "e.vehicles",
			"person_hours_year": fmt.Sprintf("(e.people::float8 + e.people_in_vehicles) * %d", ranking.HoursPerYear),
			"busiest_people":    "e.busiest_people",
			"busiest_hour":      "e.busiest_hour",
			"likelihood":        wordOf("likelihood", "e.likelihood"),
			"inferred":          "e.rule <> 0",
			"rule":              wordOf("rule", "e.rule"),
			"harm_index":        "e.harm * 1000",
			"rating":            wordOf("rating", "e.rating"),
		},
	},
	"cuts": {
		from: `cuts c JOIN trees t ON t.client_id = c.client_id AND t.tree_id = c.tree_id
			JOIN sites s ON s.client_id = t.client_id AND s.site_id = t.site_id`,
		client: "c.client_id", id: "c.cut_id", geometry: "t.geometry", points: true, alias: "c",
		columns: map[string]string{
			"site":                 "s.name",
			"tag":                  "t.tag",
			"diameter_cm":          "c.diameter_m * 100",
			"lateral_diameter_cm":  "c.lateral_diameter_m * 100",
			"regrowth_diameter_cm": "c.regrowth_diameter_m * 100",
		},
	},
	"visits": {
		from: `visits v JOIN trees t ON t.client_id = v.client_id AND t.tree_id = v.tree_id
			JOIN sites s ON s.client_id = t.client_id AND s.site_id = t.site_id`,
		client: "v.client_id", id: "v.visit_id", geometry: "t.geometry", points: true, alias: "v",
		columns: map[string]string{
			"site":              "s.name",
			"tag":               "t.tag",
			"dbh_cm":            "v.dbh_m * 100",
			"stem_diameter_cm":  "v.stem_diameter_m * 100",
			"decay_diameter_cm": "v.decay_diameter_m * 100",
			"sound_wall_cm":     "v.sound_wall_m * 100",
		},
	},
	"counts": {
		from: `counts n JOIN targets g ON g.client_id = n.client_id AND g.target_id = n.target_id
			JOIN sites s ON s.client_id = g.client_id AND s.site_id = g.site_id`,
		client: "n.client_id", id: "n.count_id", geometry: "g.geometry", alias: "n",
		columns: map[string]string{
			"site":       "s.name",
			"name":       "g.name",
			"kind":       "g.kind",
			"counted_at": `to_char(n.counted_at, 'YYYY-MM-DD"T"HH24:MI')`,
		},
	},
	"targets": {
		from:   `targets g JOIN sites s ON s.client_id = g.client_id AND s.site_id = g.site_id`,
		client: "g.client_id", id: "g.target_id", geometry: "g.geometry", alias: "g",
		columns: map[string]string{"site": "s.name"},
	},
}

// wordOf is the word that a code stands for in a list of the table of words.
func wordOf(list, code string) string {
	return fmt.Sprintf("(SELECT w.word FROM words w WHERE w.list = '%s' AND w.code = %s)", list, code)
}

// casts bring each property to the one wire type that featureRow decodes.
var casts = map[inventory.PropertyType]string{
	inventory.Text:      "text",
	inventory.Integer:   "bigint",
	inventory.Number:    "float8",
	inventory.Boolean:   "bool",
	inventory.Date:      "date",
	inventory.Timestamp: "timestamptz",
	inventory.TextList:  "text[]",
	inventory.Object:    "text",
}

// expression is the SQL of a property.
func (t *featureTable) expression(name string) string {
	if sql, ok := t.columns[name]; ok {
		return sql
	}
	return t.alias + "." + name
}
