package postgres

import (
	"fmt"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/risk"
)

// featureTable says where a collection is stored and what SQL each of its
// properties is. All of it is constant text: what a request brings is only
// ever a parameter.
type featureTable struct {
	// table is the one that a feature is a row of, by its alias; other tables are
	// joined where a property needs them.
	table, alias string
	key          string // of the feature within its client
	geometry     string
	points       bool // every geometry is a point
	joins        []join
	// columns are by property; one that is missing is the column of the
	// property's own name.
	columns map[string]origin
	shapes  map[string]shape
	// begin and end of a feature's time, for datetime; they may be null.
	begin, end string
	timeNeeds  string
}

// join is a table that some properties need, under an alias; on says how, given
// that all before it in the list are there if it needs them.
type join struct {
	alias, table, on string
	needs            string // another join's alias, or none
	inner            bool
}

// origin is where a property is read from and how.
type origin struct {
	sql   string
	needs string  // aliases of joins, with spaces between
	times float64 // what is read, to be the figure that is served; 0 for as it is
	form  form
	words []string // by code, of codedForm and bitsForm
	// filter is the SQL in filters, where it is not sql; bits that of a bit set.
	filter, bits string
}

// shape is a geometry beside the one that is served.
type shape struct {
	sql, needs string
	reachM     float64
}

// form is how a column's binary value becomes a property's.
type form uint8

const (
	plainForm    form = iota // as the property's type says
	codedForm                // a number that stands for a word
	bitsForm                 // a bit for each word of a list
	amountKinds              // exposures.amounts: the kinds in their order
	amountLength             // their metres together
	amountArea               // their square metres together
	rankedForm               // a tree's harm, to be looked up among all
)

var (
	siteJoin = join{alias: "s", table: "sites", on: "s.client_id = %[1]s.client_id AND s.site_id = %[1]s.site_id", inner: true}
	treeJoin = join{alias: "t", table: "trees", on: "t.client_id = %[1]s.client_id AND t.tree_id = %[1]s.tree_id", inner: true}
)

var siteName = origin{sql: "s.name", needs: "s"}

// The words that codes stand for, by code.
var (
	originWords     = wordsOf(5, func(i int) string { return exposure.Origin(i).String() })
	likelihoodWords = wordsOf(5, func(i int) string { return inventory.Likelihood(i).String() })
	ruleWords       = wordsOf(len(risk.Rules()), func(i int) string { return risk.Rule(i).String() })
	ratingWords     = wordsOf(int(risk.GradeOfPoints(12))+1, gradeWord)
	targetWords     = texts(inventory.TargetKinds)
	cutWords        = texts(inventory.CutKinds)
)

func wordsOf(n int, word func(int) string) []string {
	out := make([]string, n)
	for i := range out {
		out[i] = word(i)
	}
	return out
}

// gradeWord leaves the codes between the two methods without a word.
func gradeWord(code int) string {
	if g := risk.Grade(code); g <= risk.Grade(risk.RatingExtreme) || g >= risk.GradeOfPoints(0) {
		return g.String()
	}
	return ""
}

func coding(sql string, words []string) origin {
	return origin{sql: sql, needs: "e", form: codedForm, words: words, filter: wordSQL(sql, words)}
}

// wordSQL is the word that a code stands for.
func wordSQL(code string, words []string) string {
	quoted := make([]string, len(words))
	for i, w := range words {
		quoted[i] = "'" + strings.ReplaceAll(w, "'", "''") + "'"
	}
	return "nullif((ARRAY[" + strings.Join(quoted, ",") + "])[" + code + " + 1], '')"
}

const peopleSQL = "e.people::float8 + e.people_in_vehicles"

var featureTables = map[string]*featureTable{
	"sites": {
		table: "sites", alias: "s", key: "s.site_id", geometry: "s.boundary",
		joins: []join{{alias: "r", table: "runs", on: "r.client_id = s.client_id AND r.site_id = s.site_id AND r.generation = s.generation"}},
		columns: map[string]origin{
			"computed_at": {sql: "r.computed_at", needs: "r"},
			"profile":     {sql: "r.profile_name", needs: "r"},
		},
		begin: "s.changed_at", end: "s.changed_at",
	},
	"trees": {
		table: "trees", alias: "t", key: "t.tree_id", geometry: "t.geometry", points: true,
		joins: []join{
			siteJoin,
			{alias: "e", table: "exposures", on: "e.client_id = t.client_id AND e.tree_id = t.tree_id"},
			{alias: "m", table: "cut_marks", on: "m.client_id = t.client_id AND m.tree_id = t.tree_id"},
			{alias: "w", table: "visit_marks", on: "w.client_id = t.client_id AND w.tree_id = t.tree_id"},
		},
		columns: map[string]origin{
			"site":              siteName,
			"dbh_cm":            {sql: "t.dbh_m", times: 100},
			"crown_surveyed":    {sql: "t.crown IS NOT NULL"},
			"height_from":       coding("e.height_from", originWords),
			"crown_radius_from": coding("e.crown_from", originWords),
			"cut_kinds":         {sql: "coalesce(m.kinds, 0)", needs: "m", form: bitsForm, words: cutWords, filter: "cut_kinds_of(coalesce(m.kinds, 0))", bits: "coalesce(m.kinds, 0)"},
			"last_topped":       {sql: "m.last_topped", needs: "m"},
			"regrowth_m":        {sql: "m.regrowth_m", needs: "m"},
			"last_visit":        {sql: "w.last_visit", needs: "w"},
			"next_visit":        {sql: "w.next_visit", needs: "w"},
			"over":              {sql: "e.amounts", needs: "e", form: amountKinds, filter: "CASE WHEN e.tree_id IS NOT NULL THEN kinds(e.over) END", bits: "e.over", words: targetWords},
			"over_length_m":     {sql: "e.amounts", needs: "e", form: amountLength, filter: "CASE WHEN e.tree_id IS NOT NULL THEN coalesce((SELECT sum(length_m) FROM amounts(e.amounts)), 0) END"},
			"over_area_m2":      {sql: "e.amounts", needs: "e", form: amountArea, filter: "CASE WHEN e.tree_id IS NOT NULL THEN coalesce((SELECT sum(area_m2) FROM amounts(e.amounts)), 0) END"},
			"within":            {sql: "e.within", needs: "e", form: bitsForm, filter: "CASE WHEN e.tree_id IS NOT NULL THEN kinds(e.within) END", bits: "e.within", words: targetWords},
			"people":            {sql: peopleSQL, needs: "e"},
			"vehicles":          {sql: "e.vehicles", needs: "e"},
			"person_hours_year": {sql: peopleSQL, needs: "e", times: ranking.HoursPerYear},
			"busiest_people":    {sql: "e.busiest_people", needs: "e"},
			"busiest_hour":      {sql: "e.busiest_hour", needs: "e"},
			"likelihood":        coding("e.likelihood", likelihoodWords),
			"inferred":          {sql: "e.rule <> 0", needs: "e"},
			"rule":              coding("e.rule", ruleWords),
			"harm_index":        {sql: "e.harm", needs: "e", times: 1000},
			"rank":              {sql: "e.harm", needs: "e", form: rankedForm, filter: "e.rank"},
			"rating":            coding("e.rating", ratingWords),
		},
		shapes: map[string]shape{
			"crown": {sql: "coalesce(t.crown, ground(t.geometry, e.crown_radius_m, 0, 360))", needs: "e", reachM: 60},
			"zone":  {sql: "ground(t.geometry, e.ground_m, e.ground_bearing_deg, e.ground_width_deg)", needs: "e", reachM: 250},
		},
		begin: "t.changed_at", end: "t.changed_at",
	},
	"cuts": {
		table: "cuts", alias: "c", key: "c.cut_id", geometry: "t.geometry", points: true,
		joins: []join{siteJoin, treeJoin},
		columns: map[string]origin{
			"site":                 siteName,
			"tag":                  {sql: "t.tag", needs: "t"},
			"diameter_cm":          {sql: "c.diameter_m", times: 100},
			"lateral_diameter_cm":  {sql: "c.lateral_diameter_m", times: 100},
			"regrowth_diameter_cm": {sql: "c.regrowth_diameter_m", times: 100},
		},
		begin: dayBegin("coalesce(c.made_on, make_date(c.made_year, 1, 1))"), end: dayEnd("coalesce(c.made_on, make_date(c.made_year, 12, 31))"),
	},
	"visits": {
		table: "visits", alias: "v", key: "v.visit_id", geometry: "t.geometry", points: true,
		joins: []join{siteJoin, treeJoin},
		columns: map[string]origin{
			"site":              siteName,
			"tag":               {sql: "t.tag", needs: "t"},
			"dbh_cm":            {sql: "v.dbh_m", times: 100},
			"stem_diameter_cm":  {sql: "v.stem_diameter_m", times: 100},
			"decay_diameter_cm": {sql: "v.decay_diameter_m", times: 100},
			"sound_wall_cm":     {sql: "v.sound_wall_m", times: 100},
		},
		begin: dayBegin("v.visited_on"), end: dayEnd("v.visited_on"),
	},
	"counts": {
		table: "counts", alias: "n", key: "n.count_id", geometry: "g.geometry",
		joins: []join{siteJoin, {alias: "g", table: "targets", on: "g.client_id = n.client_id AND g.target_id = n.target_id", inner: true}},
		columns: map[string]origin{
			"site":       siteName,
			"name":       {sql: "g.name", needs: "g"},
			"kind":       {sql: "g.kind", needs: "g"},
			"counted_at": {sql: `to_char(n.counted_at, 'YYYY-MM-DD"T"HH24:MI')`},
		},
		begin: "n.counted_at AT TIME ZONE s.time_zone", end: "(n.counted_at + interval '1 hour' - interval '1 microsecond') AT TIME ZONE s.time_zone", timeNeeds: "s",
	},
	"jobs": {
		table: "jobs", alias: "j", key: "j.job_id", geometry: "j.geometry", points: true,
		joins: []join{siteJoin},
		columns: map[string]origin{
			"site":                 siteName,
			"open_days":            {sql: "nullif(j.open_days, '')"},
			"quietest":             {sql: "nullif(j.quietest, '')"},
			"gates_open":           {sql: "(SELECT count(*) FROM jsonb_array_elements(j.gates) k WHERE NOT (k->>'cleared')::boolean)"},
			"harm_index_before":    {sql: "j.harm_before", times: 1000},
			"harm_index_predicted": {sql: "j.harm_predicted", times: 1000},
			"harm_index_after":     {sql: "j.harm_after", times: 1000},
		},
		begin: "j.changed_at", end: "j.changed_at",
	},
	"targets": {
		table: "targets", alias: "g", key: "g.target_id", geometry: "g.geometry",
		joins:   []join{siteJoin},
		columns: map[string]origin{"site": siteName},
		begin:   "g.changed_at", end: "g.changed_at",
	},
}

// Days are whole days of UTC, as the dates of a request are.

func dayBegin(date string) string { return "(" + date + ")::timestamp AT TIME ZONE 'UTC'" }

func dayEnd(date string) string {
	return "(" + date + " + 1)::timestamp AT TIME ZONE 'UTC' - interval '1 microsecond'"
}

// source returns where a property is read from.
func (t *featureTable) origin(name string) origin {
	if s, ok := t.columns[name]; ok {
		return s
	}
	return origin{sql: t.alias + "." + name}
}

// castOf is the type that a property's SQL is brought to in filters.
var castOf = map[inventory.PropertyType]string{
	inventory.Text:      "text",
	inventory.Integer:   "float8",
	inventory.Number:    "float8",
	inventory.Boolean:   "boolean",
	inventory.Date:      "date",
	inventory.Timestamp: "timestamptz",
	inventory.TextList:  "text[]",
}

// filterSQL is what a property is compared as: the figure that is served, not
// the digits behind it.
func (s *origin) filterSQL(p *inventory.Property) string {
	sql := s.sql
	if s.filter != "" {
		sql = s.filter
	}
	if s.times != 0 {
		sql = fmt.Sprintf("(%s) * %g", sql, s.times)
	}
	sql = "(" + sql + ")::" + castOf[p.Type]
	switch p.Type {
	case inventory.Number:
		return roundedSQL(sql, p.Decimals)
	case inventory.Timestamp:
		return "date_trunc('milliseconds', " + sql + ")"
	}
	return sql
}

// roundedSQL rounds a figure to decimals as inventory.Round does.
func roundedSQL(sql string, decimals int) string {
	return fmt.Sprintf("round(%s * 1e%d) / 1e%d", sql, decimals, decimals)
}

// column is a property, or a geometry, in filters.
func (t *featureTable) column(c *inventory.Collection, name string) (col column, needs string, ok bool) {
	if name == inventory.GeometryProperty {
		alias, _, _ := strings.Cut(t.geometry, ".")
		return column{sql: t.geometry, typ: filter.GeometryType}, alias, true
	}
	if s, ok := t.shapes[name]; ok {
		return column{sql: s.sql, typ: filter.GeometryType, indexed: t.geometry, reachM: s.reachM}, s.needs, true
	}
	p, found := c.Property(name)
	if !found {
		return col, "", false
	}
	typ, filterable := p.FilterType()
	s := t.origin(name)
	return column{sql: s.filterSQL(p), typ: typ, bits: s.bits, words: s.words}, s.needs, filterable
}
