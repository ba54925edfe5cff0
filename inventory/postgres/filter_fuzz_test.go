package postgres_test

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/twpayne/go-geom"

	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/postgres"
)

// alphabet is all that the SQL of a filter consists of, beside the constant SQL
// of foldings: the SQL of columns, parameters, operators, and the words below.
var alphabet = regexp.MustCompile(`^(?:[\s(),=<>+*/\[\]&@:.-]+|\$\d+|C_[a-z]+|\d+(?:e-6)?\b|'(?:-?infinity|UTC|\\)'|"C"|` +
	`\b(?:AND|OR|NOT|NULL|IS|ANY|ARRAY|BETWEEN|LIKE|ESCAPE|COLLATE|SELECT|FROM|AS|AT|TIME|ZONE|CASE|WHEN|THEN|ELSE|END|NULLIF|true|false|` +
	`text|float8|bool|date|timestamptz|timestamp|bytea|bigint|numeric|geography|geometry|power|trunc|mod|l|r|g|both_sides|literal|` +
	`least|greatest|cosd|abs|ST_\w+)\b)*$`)

var fuzzColumns = columnsOf{
	"name": {SQL: "C_name", Type: filter.TextType}, "n": {SQL: "C_n", Type: filter.NumberType}, "flag": {SQL: "C_flag", Type: filter.BoolType},
	"day": {SQL: "C_day", Type: filter.DateType}, "instant": {SQL: "C_instant", Type: filter.TimestampType}, "over": {SQL: "C_over", Type: filter.ListType},
	"words": {SQL: "C_words", Type: filter.ListType, Bits: "C_bits", Words: []string{"footway", "parking"}}, "geometry": {SQL: "C_geometry", Type: filter.GeometryType},
	"zone": {SQL: "C_zone", Type: filter.GeometryType, Indexed: "C_geometry", ReachM: 30}, "nothing": {Type: filter.UnknownType},
}

// No literal of a filter gets into the SQL: it is made of fixed words alone, and
// it is the same for the same filter with other literals, each of which is a
// parameter. It grows with the filter and not by its powers.
func FuzzCompile(f *testing.F) {
	for _, s := range []string{
		`name = 'a\' OR 1=1 --' AND n > 1 + 2 * n ^ 2 % 3 div 4 - 5 / n`,
		`NOT (flag AND name LIKE '%''%' OR nothing IS NULL) OR n NOT BETWEEN 1 AND 2 OR name IN ('a', name, CASEI(ACCENTI('b')))`,
		`day > DATE('2026-01-01') AND instant <> DATE('2026-01-01') AND day IN (TIMESTAMP('2026-01-01T00:00:00Z'), day)`,
		`T_DURING(INTERVAL(day, '..'), INTERVAL('2026-01-01', '2026-01-01T00:00:00Z')) AND T_EQUALS(instant, day) AND INTERVAL(day, instant) IS NULL`,
		`A_CONTAINS(words, ('footway', 'x')) AND A_EQUALS(over, (name, 'x')) AND A_OVERLAPS((1, n), (2)) AND A_CONTAINEDBY((), words)`,
		`S_INTERSECTS(zone, BBOX(170,0,-170,10)) AND S_WITHIN(geometry, POLYGON((0 0, 1 0, 1 1, 0 0))) AND within_m(zone, POINT(1 2), 5)`,
		`S_TOUCHES(geometry, GEOMETRYCOLLECTION(POINT(1 2), POINT(3 4))) OR distance_m(geometry, zone) < 7`,
		`((name = 'a') = (flag = TRUE)) IN (TRUE, flag) AND name BETWEEN 'a' AND 'b'`,
	} {
		f.Add([]byte(s), false, uint8(0))
		f.Add([]byte(s), false, uint8(1))
	}
	f.Add([]byte(`{"op":"=","args":[{"property":"name"},"x' OR TRUE --"]}`), true, uint8(2))
	f.Fuzz(func(t *testing.T, b []byte, isJSON bool, crs uint8) {
		var e filter.Expr
		var err error
		if isJSON {
			e, err = filter.ParseJSON(b)
		} else {
			e, err = filter.ParseText(string(b))
		}
		if err != nil {
			return
		}
		e = filter.InCRS(e, []int{0, 4326, 3857}[crs%3], crs > 2)
		if filter.Check(e, fuzzColumns) != nil {
			return
		}
		sql := compiled(t, e)
		if rest := unfolded(sql); !alphabet.MatchString(rest) {
			t.Fatalf("%s\nbecomes %s", filter.Text(e), rest)
		}
		if most := 4000 * (1 + bytes.Count(filter.JSON(e), []byte{','})); len(sql) > most {
			t.Fatalf("%d bytes of SQL from %s", len(sql), filter.Text(e))
		}
		const marker = "ж_marker"
		other := otherLiterals(e, marker)
		if filter.Check(other, fuzzColumns) != nil {
			return
		}
		if again := compiled(t, other); again != sql {
			t.Fatalf("%s\nbecomes %s\nwith other literals %s", filter.Text(e), sql, again)
		} else if strings.Contains(again, marker) {
			t.Fatalf("a literal in %s", again)
		}
	})
}

// unfolded is SQL without the constant text about what is folded.
func unfolded(sql string) string {
	for _, folding := range postgres.FoldingSQL {
		before, after, _ := strings.Cut(folding, "%s")
		sql = strings.ReplaceAll(strings.ReplaceAll(sql, before, " "), after, " ")
	}
	return sql
}

func compiled(t *testing.T, e filter.Expr) string {
	t.Helper()
	conjuncts, args, err := postgres.CompileFilter(e, fuzzColumns)
	if err != nil {
		t.Fatalf("%s: %v", filter.Text(e), err)
	}
	sql := strings.Join(conjuncts, " AND ")
	if !strings.Contains(sql, "$"+fmt.Sprint(len(args))) && len(args) > 0 || strings.Contains(sql, "$"+fmt.Sprint(len(args)+1)+"::") {
		t.Fatalf("%d parameters for %s", len(args), sql)
	}
	return sql
}

// otherLiterals is the same filter with other literals of the same kinds.
func otherLiterals(e filter.Expr, marker string) filter.Expr {
	all := func(list []filter.Expr) (out []filter.Expr) {
		for _, a := range list {
			out = append(out, otherLiterals(a, marker))
		}
		return out
	}
	switch e := e.(type) {
	case *filter.String:
		return &filter.String{Value: marker}
	case *filter.Number:
		return &filter.Number{Value: 4711.25}
	case *filter.Bool:
		return &filter.Bool{Value: !e.Value}
	case *filter.Date:
		return &filter.Date{Value: e.Value.AddDate(0, 0, 1)}
	case *filter.Timestamp:
		return &filter.Timestamp{Value: e.Value.AddDate(0, 0, 1)}
	case *filter.Geometry:
		if p, ok := e.Geometry.(*geom.Point); ok {
			return &filter.Geometry{Geometry: geom.NewPoint(geom.XY).MustSetCoords(geom.Coord{12.5, 34.5}).SetSRID(p.SRID())}
		}
	case *filter.Op:
		return &filter.Op{Name: e.Name, Args: all(e.Args)}
	case *filter.Call:
		return &filter.Call{Name: e.Name, Args: all(e.Args)}
	case *filter.Array:
		return &filter.Array{Items: all(e.Items)}
	case *filter.Interval:
		out := &filter.Interval{}
		if e.Start != nil {
			out.Start = otherLiterals(e.Start, marker)
		}
		if e.End != nil {
			out.End = otherLiterals(e.End, marker)
		}
		return out
	}
	return e
}
