package postgres

import (
	"fmt"
	"time"

	"github.com/underbough/underbough/inventory/filter"
)

// instant is one end of a temporal operand.
type instant struct {
	expr filter.Expr // nil where the interval is open
	sql  string      // where it is open: ±infinity
	typ  filter.Type
	day  *filter.Date // where it is a literal date
}

// instantOf makes an instant of an expression.
func (c *filterSQL) instantOf(e filter.Expr) instant {
	i := instant{expr: e, typ: c.typeOf(e)}
	i.day, _ = e.(*filter.Date)
	return i
}

// is compiles an instant as a date or a timestamp. A day that is a property's
// begins at midnight UTC, whatever the session's time zone.
func (c *filterSQL) is(i instant, as filter.Type) (string, error) {
	if i.expr == nil {
		return i.sql, nil
	}
	if i.typ == filter.DateType && as == filter.TimestampType {
		s, err := c.value(i.expr, filter.DateType)
		return "(" + s + "::timestamp AT TIME ZONE 'UTC')", err
	}
	return c.value(i.expr, as)
}

// instants compares two values that are dates or timestamps.
func (c *filterSQL) instants(a filter.Expr, op string, b filter.Expr) (string, error) {
	return c.compare(c.instantOf(a), op, c.instantOf(b))
}

// mirrored are the operators for sides that are swapped.
var mirrored = map[string]string{"=": "=", "<>": "<>", "<": ">", ">": "<", "<=": ">=", ">=": "<="}

// compare compares two instants. Dates compare as days, timestamps as instants. A
// literal date beside a timestamp is the whole of that day, in UTC: what is no
// later than a day may be at noon of it. The day that a property holds is taken
// for its midnight beside a timestamp.
func (c *filterSQL) compare(a instant, op string, b instant) (string, error) {
	isDate := func(i instant) bool { return i.expr != nil && i.typ == filter.DateType }
	switch {
	case isDate(a) && isDate(b):
		return c.binary(a, op, b, filter.DateType)
	case b.day != nil && !isDate(a):
		return c.withDay(a, op, b.day.Value)
	case a.day != nil && !isDate(b):
		return c.withDay(b, mirrored[op], a.day.Value)
	}
	return c.binary(a, op, b, filter.TimestampType)
}

func (c *filterSQL) binary(a instant, op string, b instant, as filter.Type) (string, error) {
	left, err := c.is(a, as)
	if err != nil {
		return "", err
	}
	right, err := c.is(b, as)
	return fmt.Sprintf("(%s %s %s)", left, comparisons[op], right), err
}

// withDay compares a timestamp with the whole of a day.
func (c *filterSQL) withDay(a instant, op string, day time.Time) (string, error) {
	s, err := c.is(a, filter.TimestampType)
	if err != nil {
		return "", err
	}
	start := func() string { return c.arg(day) + "::timestamptz" }
	next := func() string { return c.arg(day.AddDate(0, 0, 1)) + "::timestamptz" }
	switch op {
	case "<":
		return fmt.Sprintf("(%s < %s)", s, start()), nil
	case "<=":
		return fmt.Sprintf("(%s < %s)", s, next()), nil
	case ">":
		return fmt.Sprintf("(%s >= %s)", s, next()), nil
	case ">=":
		return fmt.Sprintf("(%s >= %s)", s, start()), nil
	case "=":
		return fmt.Sprintf("(%s >= %s AND %s < %s)", s, start(), s, next()), nil
	}
	return fmt.Sprintf("(%s < %s OR %s >= %s)", s, start(), s, next()), nil
}

// relation is a comparison that a temporal function asks for: which end of the
// first operand, how, which end of the second.
type relation struct {
	a  int // 0 for the start, 1 for the end
	op string
	b  int
}

// relations are what each temporal function asks for, all at once: the relations
// of W3C/OGC Time Ontology in OWL, to which the standard refers. Intervals are
// closed at both ends; an instant starts and ends at itself.
var relations = map[string][]relation{
	"t_after":        {{0, ">", 1}},
	"t_before":       {{1, "<", 0}},
	"t_intersects":   {{0, "<=", 1}, {1, ">=", 0}},
	"t_equals":       {{0, "=", 0}, {1, "=", 1}},
	"t_contains":     {{0, "<", 0}, {1, ">", 1}},
	"t_during":       {{0, ">", 0}, {1, "<", 1}},
	"t_finishedBy":   {{0, "<", 0}, {1, "=", 1}},
	"t_finishes":     {{0, ">", 0}, {1, "=", 1}},
	"t_meets":        {{1, "=", 0}},
	"t_metBy":        {{0, "=", 1}},
	"t_overlappedBy": {{0, ">", 0}, {0, "<", 1}, {1, ">", 1}},
	"t_overlaps":     {{0, "<", 0}, {1, ">", 0}, {1, "<", 1}},
	"t_startedBy":    {{0, "=", 0}, {1, ">", 1}},
	"t_starts":       {{0, "=", 0}, {1, "<", 1}},
}

// temporal compiles a temporal function.
func (c *filterSQL) temporal(e *filter.Op) (string, error) {
	name, not := e.Name, ""
	if name == "t_disjoint" { // by definition not to intersect
		name, not = "t_intersects", "NOT "
	}
	a, b := c.ends(e.Args[0]), c.ends(e.Args[1])
	sql := ""
	for i, r := range relations[name] {
		s, err := c.compare(a[r.a], r.op, b[r.b])
		if err != nil {
			return "", err
		}
		if i > 0 {
			sql += " AND "
		}
		sql += s
	}
	if sql == "" {
		return "", unchecked(e)
	}
	return "(" + not + "(" + sql + "))", nil
}

// ends are the start and the end of a temporal operand.
func (c *filterSQL) ends(e filter.Expr) [2]instant {
	interval, ok := e.(*filter.Interval)
	if !ok {
		return [2]instant{c.instantOf(e), c.instantOf(e)}
	}
	ends := [2]instant{{sql: "'-infinity'::timestamptz"}, {sql: "'infinity'::timestamptz"}}
	if interval.Start != nil {
		ends[0] = c.instantOf(interval.Start)
	}
	if interval.End != nil {
		ends[1] = c.instantOf(interval.End)
	}
	return ends
}
