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
			LEFT JOIN exposures e ON e.client_id = t.client_id AND e.site_id = t.site_id AND e.generation = s.generation AND e.tree_id = t.tree_id`,
		client: "t.client_id", id: "t.tree_id", geometry: "t.geometry", points: true, alias: "t",
		columns: map[string]string{
			"site":              "s.name",
			"dbh_cm":            "t.dbh_m * 100",
			"cut_kinds":         "ARRAY(SELECT DISTINCT c.kind FROM cuts c WHERE c.client_id = t.client_id AND c.tree_id = t.tree_id ORDER BY c.kind)",
			"last_topped":       "(SELECT max(coalesce(c.made_year, extract(year FROM c.made_on))) FROM cuts c WHERE c.client_id = t.client_id AND c.tree_id = t.tree_id AND c.kind = 'topping')",
			"over":              "e.over",
			"over_length_m":     "CASE WHEN e.tree_id IS NOT NULL THEN coalesce((SELECT sum(x) FROM unnest(e.over_length_m) x), 0) END",
			"over_area_m2":      "CASE WHEN e.tree_id IS NOT NULL THEN coalesce((SELECT sum(x) FROM unnest(e.over_area_m2) x), 0) END",
			"within":            "e.within",
			"people":            "e.people::float8 + e.people_in_vehicles",
			"vehicles":          "e.vehicles",
			"person_hours_year": fmt.Sprintf("(e.people::float8 + e.people_in_vehicles) * %d", ranking.HoursPerYear),
			"busiest_people":    "e.busiest_people",
			"busiest_hour":      "e.busiest_hour",
			"likelihood":        "e.likelihood",
			"inferred":          "e.rule <> 'judged'",
			"rule":              "e.rule",
			"harm_index":        "e.harm * 1000",
			"rating":            "e.rating",
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
	"targets": {
		from:   `targets g JOIN sites s ON s.client_id = g.client_id AND s.site_id = g.site_id`,
		client: "g.client_id", id: "g.target_id", geometry: "g.geometry", alias: "g",
		columns: map[string]string{"site": "s.name"},
	},
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
