package postgres

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
)

// featureSQL gathers a statement and its parameters.
type featureSQL struct {
	text strings.Builder
	args []any

	query  inventory.FeatureQuery
	table  *featureTable
	source source
	client string // its parameter
	sites  siteStates
	needs  map[string]bool // aliases of joins
	ranks  bool            // a condition or the order speaks of ranks
	read   []reading       // the properties that are read, in the order of their columns
	site   int             // column of what is in force at the feature's site; 0 for none
	keys   int             // column of the first key of the order
	// above and upTo are parameters that bound the key, where only a part is read.
	above, upTo string
}

// reading is a property that is read.
type reading struct {
	at     int // place in the collection's properties
	column int // in the statement; several may read one
	origin origin
}

// arg adds a parameter and returns its name.
func (s *featureSQL) arg(v any) string {
	s.args = append(s.args, v)
	return fmt.Sprintf("$%d", len(s.args))
}

func newFeatureSQL(ctx context.Context, q inventory.FeatureQuery, sites siteStates) (*featureSQL, error) {
	table, err := tableOf(q.Collection)
	if err != nil {
		return nil, err
	}
	s := &featureSQL{query: q, table: table, source: source{client: q.Client, at: instantOf(ctx)}, sites: sites, needs: make(map[string]bool)}
	s.client = s.arg(q.Client)
	for i := range q.Collection.Properties {
		if q.Picks(i) {
			s.read = append(s.read, reading{at: i, origin: table.origin(q.Collection.Properties[i].Name)})
		}
	}
	return s, nil
}

// adHoc reports whether the statement is to be planned anew for each request:
// where in space it looks decides how it is best found, and the planner must see
// that. Of all else it knows enough, and planning takes longer than finding.
func (s *featureSQL) adHoc() bool {
	q := &s.query
	return len(q.Boxes) > 0 || q.Filter != nil && filter.Places(q.Filter)
}

// bound looks up where a page of the whole collection ends before anything is
// joined, so that the other tables are read from where it begins to there rather
// than row by row.
func (s *featureSQL) bound() {
	q, t := &s.query, s.table
	if s.above != "" || t.alias != "t" || q.Limit < 2 || q.ID.OK || q.Filter != nil || len(q.Boxes) > 0 || q.During.OK || len(q.Order) > 0 || s.source.at.OK {
		return
	}
	after := int64(math.MinInt64)
	if q.After.OK {
		after = q.After.V.IDs[0]
	}
	s.above, s.upTo = s.arg(after), "(SELECT id FROM page_end)"
	fmt.Fprintf(&s.text, `WITH page_end AS MATERIALIZED (SELECT coalesce((SELECT %[1]s FROM %[2]s WHERE %[3]s.client_id = %[4]s AND %[1]s > %[5]s ORDER BY %[1]s OFFSET %[6]s LIMIT 1), %[7]d) AS id) `,
		t.key, s.source.from(t.table, t.alias), t.alias, s.client, s.above, s.arg(int64(q.Limit-1)), int64(math.MaxInt64))
}

// readsRanks reports whether the rank is among what is read.
func (s *featureSQL) readsRanks() bool {
	return slices.ContainsFunc(s.read, func(r reading) bool { return r.origin.form == rankedForm })
}

// need notes that joins are wanted, and what they rest on.
func (s *featureSQL) need(aliases string) {
	for _, alias := range strings.Fields(aliases) {
		s.needs[alias] = true
	}
}

// columns are what is read of a feature: identity, geometry, the properties read
// and what is in force at the site; wanted is what they need.
func (s *featureSQL) columns() (columns []string, wanted string) {
	q, t := &s.query, s.table
	columns = []string{t.key + "::bigint", s.geometry()}
	wanted = aliasOf(t.geometry)
	for i := range s.read {
		r := &s.read[i]
		wanted += " " + r.origin.needs
		if r.column = slices.Index(columns[2:], r.origin.sql) + 2; r.column < 2 {
			r.column = len(columns)
			columns = append(columns, r.origin.sql)
		}
	}
	// One feature is read by what was in force lately, and says if that still is.
	if t.alias == "t" && (q.ID.OK || s.readsRanks()) {
		s.site = len(columns)
		columns = append(columns, "t.site_id")
		if q.ID.OK {
			wanted += " s"
			columns = append(columns, "s.generation", "s.revision")
		}
	}
	return columns, wanted
}

// page writes the statement for a page of features: identity, geometry, the
// properties read, what is in force at the site, and the keys of the order.
func (s *featureSQL) page() error {
	q, t := &s.query, s.table
	columns, wanted := s.columns()
	s.bound()
	where, err := s.where()
	if err != nil {
		return err
	}
	order, after, keys, err := s.order()
	if err != nil {
		return err
	}
	if len(keys) == 0 {
		s.need(wanted)
	}
	s.keys = len(columns)
	limit := ""
	if q.Limit > 0 {
		limit = " LIMIT " + s.arg(q.Limit)
	}
	if len(keys) == 0 {
		s.text.WriteString("SELECT " + strings.Join(columns, ", ") + s.from() + where + after + order + limit)
		return nil
	}
	// Which features are on the page is settled first, from what decides it alone:
	// all else is looked up for these few.
	inner := []string{t.key + " AS id"}
	for i, k := range keys {
		inner = append(inner, fmt.Sprintf("(%s)::text AS k%d", k, i))
		columns = append(columns, fmt.Sprintf("p.k%d", i))
	}
	page := "SELECT x.*, row_number() OVER () AS place FROM (SELECT " + strings.Join(inner, ", ") + s.from() + where + after + order + limit + ") x"
	s.needs, s.ranks = make(map[string]bool), false
	s.need(wanted)
	s.text.WriteString("SELECT " + strings.Join(columns, ", ") + s.from() + " JOIN (" + page + ") p ON p.id = " + t.key +
		" WHERE " + t.alias + ".client_id = " + s.client + " ORDER BY p.place")
	return nil
}

func (s *featureSQL) count(limit int) error {
	where, err := s.where()
	if err != nil {
		return err
	}
	most := ""
	if limit > 0 {
		most = " LIMIT " + s.arg(limit+1)
	}
	s.text.WriteString("SELECT count(*) FROM (SELECT 1" + s.from() + where + most + ") counted")
	return nil
}

func (s *featureSQL) extent() error {
	s.need(aliasOf(s.table.geometry))
	where, err := s.where()
	if err != nil {
		return err
	}
	s.text.WriteString(`SELECT ST_XMin(b), ST_YMin(b), ST_XMax(b), ST_YMax(b) FROM (SELECT ST_Extent(` + s.table.geometry + `) b` + s.from() + where + `) x`)
	return nil
}

func (s *featureSQL) span() error {
	s.need(s.table.timeNeeds)
	where, err := s.where()
	if err != nil {
		return err
	}
	s.text.WriteString("SELECT min(" + s.table.begin + "), max(" + s.table.end + ")" + s.from() + where)
	return nil
}

func aliasOf(sql string) string {
	alias, _, _ := strings.Cut(sql, ".")
	return alias
}

// geometry is the geometry that is served, in the reference system wanted.
func (s *featureSQL) geometry() string {
	g := s.table.geometry
	if s.query.SRID != 0 && s.query.SRID != 4326 {
		return "ST_Transform(" + g + ", " + s.arg(s.query.SRID) + "::int)"
	}
	return g
}

// from writes the tables; it comes last, when all needs are known.
func (s *featureSQL) from() string {
	t := s.table
	var b strings.Builder
	b.WriteString(" FROM " + s.source.from(t.table, t.alias))
	for i := len(t.joins) - 1; i >= 0; i-- { // needs of needs
		if s.needs[t.joins[i].alias] {
			s.need(t.joins[i].needs)
		}
	}
	for _, j := range t.joins {
		if !s.needs[j.alias] {
			continue
		}
		table, on := s.joined(j)
		if s.above != "" && t.alias == "t" && j.alias != "s" {
			on += s.within(j.alias + ".tree_id") // which the planner does not conclude
		}
		if j.inner {
			b.WriteString(" JOIN ")
		} else {
			b.WriteString(" LEFT JOIN ")
		}
		b.WriteString(table + " ON " + on)
	}
	return b.String()
}

func (s *featureSQL) joined(j join) (table, on string) {
	on = j.on
	if strings.Contains(on, "%[1]s") {
		on = fmt.Sprintf(on, s.table.alias)
	}
	switch {
	case j.table == "exposures":
		var more string
		table, more = s.sites.exposuresFrom(s.ranks)
		return table, on + more
	case j.table == "runs" && s.source.at.OK:
		return "runs r", "false" // what is in force now was not then
	case j.table == "runs":
		return "runs r", on
	case j.table == "cut_marks" && s.source.at.OK:
		return `(SELECT client_id, tree_id, bit_or(cut_bit(kind)) AS kinds, max(coalesce(made_year, extract(year FROM made_on))) FILTER (WHERE kind = 'topping')::smallint AS last_topped,
			max(regrowth_length_m) AS regrowth_m FROM ` + s.source.from("cuts", "c") + ` GROUP BY client_id, tree_id) m`, on
	case j.table == "visit_marks" && s.source.at.OK:
		return `(SELECT DISTINCT ON (client_id, tree_id) client_id, tree_id, visited_on AS last_visit, next_visit_on AS next_visit
			FROM ` + s.source.from("visits", "v") + ` ORDER BY client_id, tree_id, visited_on DESC, visit_id DESC) w`, on
	case j.table == "cut_marks", j.table == "visit_marks":
		return j.table + " " + j.alias, on
	}
	return s.source.from(j.table, j.alias), on
}

// where writes the conditions of a query but for its page.
func (s *featureSQL) where() (string, error) {
	q, t := &s.query, s.table
	var b strings.Builder
	b.WriteString(" WHERE " + t.alias + ".client_id = " + s.client)
	if q.ID.OK {
		b.WriteString(" AND " + t.key + " = " + s.arg(q.ID.V))
	}
	if s.above != "" {
		b.WriteString(s.within(t.key))
	}
	if len(q.Boxes) > 0 {
		s.need(aliasOf(t.geometry))
		b.WriteString(s.boxes(t.geometry, t.points, q.Boxes))
	}
	if q.During.OK {
		s.need(t.timeNeeds)
		begin, end := "("+t.begin+")", "("+t.end+")"
		if !q.During.V.To.IsZero() {
			b.WriteString(" AND (" + begin + " IS NULL OR " + begin + " <= " + s.arg(q.During.V.To) + ")")
		}
		if !q.During.V.From.IsZero() {
			b.WriteString(" AND (" + end + " IS NULL OR " + end + " >= " + s.arg(q.During.V.From) + ")")
		}
	}
	if q.Filter == nil {
		return b.String(), nil
	}
	for _, key := range []string{"tree_id", "target_id"} {
		// Numbers are compared as such; a key is looked up as one.
		if numbers, ok := filter.Numbers(q.Filter, key); ok && s.keyed(key) {
			b.WriteString(" AND " + t.alias + "." + key + " = ANY(" + s.arg(wholes(numbers)) + "::bigint[])")
		}
	}
	conditions, err := compileFilter(s, q.Filter, s.column)
	for _, c := range conditions {
		b.WriteString(" AND (" + c + ")")
	}
	return b.String(), err
}

// keyed reports whether a property is a key of the collection's own table.
func (s *featureSQL) keyed(property string) bool {
	_, ok := s.query.Collection.Property(property)
	return ok && s.table.origin(property).sql == s.table.alias+"."+property
}

// wholes are the whole numbers among some; a key equals no others.
func wholes(numbers []float64) []int64 {
	out := []int64{}
	for _, n := range numbers {
		if n == math.Trunc(n) && math.Abs(n) < 1<<53 {
			out = append(out, int64(n))
		}
	}
	return out
}

// within bounds a key to the part that is read.
func (s *featureSQL) within(key string) string {
	return " AND " + key + " > " + s.above + " AND " + key + " <= " + s.upTo
}

// column finds what a filter speaks of and notes what it needs.
func (s *featureSQL) column(name string) (column, bool) {
	col, needs, ok := s.table.column(s.query.Collection, name)
	if ok {
		s.need(needs)
		s.ranks = s.ranks || s.table.origin(name).form == rankedForm
	}
	return col, ok
}

// boxes keeps what meets any of the boxes. The index answers && with boxes of
// single precision, so each match is looked at again. What has no geometry
// meets every box (OGC API - Features, fc-bbox-response).
func (s *featureSQL) boxes(geometry string, points bool, boxes []orb.Bound) string {
	if len(boxes) == 0 {
		return ""
	}
	var any []string
	for _, b := range boxes {
		w, so, e, n := s.arg(b.Min[0]), s.arg(b.Min[1]), s.arg(b.Max[0]), s.arg(b.Max[1])
		envelope := fmt.Sprintf("ST_MakeEnvelope(%s, %s, %s, %s, 4326)", w, so, e, n)
		if points {
			any = append(any, fmt.Sprintf("(%[1]s && %[2]s AND ST_X(%[1]s) BETWEEN %[3]s AND %[4]s AND ST_Y(%[1]s) BETWEEN %[5]s AND %[6]s)",
				geometry, envelope, w, e, so, n))
		} else {
			any = append(any, fmt.Sprintf("ST_Intersects(%s, %s)", geometry, envelope))
		}
	}
	if !points {
		any = append(any, geometry+" IS NULL")
	}
	return " AND (" + strings.Join(any, " OR ") + ")"
}

// order writes ORDER BY, the condition that goes on after a cursor, and the keys
// before the identity. Nulls come last either way.
func (s *featureSQL) order() (order, after string, keys []string, err error) {
	q := &s.query
	var terms, casts []string
	for _, k := range q.Order {
		p, ok := q.Collection.Property(k.Property)
		if !ok || !p.Sortable() {
			return "", "", nil, inventory.Errorf(inventory.Invalid, "%s cannot be sorted by %q", q.Collection.ID, k.Property)
		}
		col, _ := s.column(k.Property)
		collate := ""
		if col.typ == filter.TextType {
			collate = ` COLLATE "C"`
		}
		keys, casts = append(keys, col.sql+collate), append(casts, castOf[p.Type]+collate)
		direction := ""
		if k.Descending {
			direction = " DESC"
		}
		terms = append(terms, "("+col.sql+")"+collate+direction+" NULLS LAST")
	}
	if q.After.OK {
		after = " AND (" + s.after(keys, casts) + ")"
	}
	return " ORDER BY " + strings.Join(slices.Concat(terms, []string{s.table.key}), ", "), after, keys, nil
}

// after writes that a feature comes after the cursor: greater in one key and
// equal in all before it.
func (s *featureSQL) after(keys, casts []string) string {
	q := &s.query
	var any []string
	equal := ""
	for i, k := range keys {
		if i >= len(q.After.V.Keys) || q.After.V.Keys[i] == nil {
			equal += "(" + k + ") IS NULL AND "
			continue
		}
		v := s.arg(*q.After.V.Keys[i]) + "::text::" + casts[i]
		sign := ">"
		if q.Order[i].Descending {
			sign = "<"
		}
		any = append(any, equal+"(("+k+") "+sign+" ("+v+") OR ("+k+") IS NULL)")
		equal += "(" + k + ") = (" + v + ") AND "
	}
	any = append(any, equal+s.table.key+" > "+s.arg(q.After.V.IDs[0]))
	return strings.Join(any, " OR ")
}
