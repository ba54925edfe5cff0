package filter_test

import (
	"errors"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/filter"
)

// What is wrong is named, with what was found and expected, at its column.
func TestErrorsOfText(t *testing.T) {
	for _, c := range []struct {
		text   string
		column int
		says   string
	}{
		{``, 1, "found the end: expected a property, a value or a predicate"},
		{`   `, 4, "found the end"},
		{`height_m >`, 11, "found the end"},
		{`height_m > 5 5`, 14, "found the number 5: expected the end or an operator"},
		{`height_m == 5`, 11, `found "="`},
		{`height_m != 5`, 10, "unequal is written <>"},
		{`species = "Ulmus`, 11, `does not end: expected a closing "`},
		{`species = 'Ulmus`, 11, "does not end: expected a closing '"},
		{`Straße = 'ß' AND §`, 18, `"§"`}, // characters, not bytes
		{`(height_m > 5`, 14, `expected ")" to close the bracket at column 1`},
		{`height_m > 5)`, 13, `found ")"`},
		{`height_m BETWEEN 1 OR 2`, 20, "expected AND between the bounds of BETWEEN"},
		{`height_m IN 5`, 13, `expected "(" after IN`},
		{`height_m IN ()`, 1, "after IN"},
		{`height_m IN (1,)`, 13, "ends with a comma"},
		{`height_m IS 5`, 13, "expected NULL or NOT NULL"},
		{`height_m NOT 5`, 14, "expected LIKE, BETWEEN or IN after NOT"},
		{`1 = 1 = 1`, 7, "after another of its kind"},
		{`2 ^ 3 ^ 4 = 1`, 7, "after another of its kind"},
		{`a = NOT b`, 5, "found NOT behind an operator"},
		{`and = 5`, 1, `a property of that name is written "and"`},
		{`d = DATE('2026-02-30')`, 10, "is no date"},
		{`d = DATE('2026-2-3')`, 10, "is no date"},
		{`d = TIMESTAMP('2026-02-03T00:00:00+01:00')`, 15, "expected one in UTC"},
		{`d = TIMESTAMP('2026-02-03')`, 15, "is no timestamp"},
		{`T_AFTER(d, INTERVAL('2026-01-01'))`, 33, "between the ends"},
		{`T_AFTER(d, INTERVAL('2026-01-01', 'now'))`, 35, "is no end of an interval"},
		{`T_AFTER(d)`, 1, "T_AFTER has 1 operand: expected 2"},
		{`S_INTERSECTS(g, POINT(1))`, 24, "a position has two or three"},
		{`S_INTERSECTS(g, POINT(1 2 3 4))`, 23, "more than three numbers"},
		{`S_INTERSECTS(g, POINT EMPTY)`, 23, "an empty geometry"},
		{`S_INTERSECTS(g, LINESTRING(1 2))`, 17, "a line of 1 position"},
		{`S_INTERSECTS(g, POLYGON((0 0, 1 0, 1 1)))`, 17, "a ring of 3 positions"},
		{`S_INTERSECTS(g, POLYGON((0 0, 1 0, 1 1, 0 1)))`, 17, "expected the last position to be the first"},
		{`S_INTERSECTS(g, LINESTRING(1 2, 1 2 3))`, 17, "a position of 3 numbers among others of 2"},
		{`S_INTERSECTS(g, BBOX(1,2,3))`, 17, "BBOX has 3 numbers: expected 4 or 6"},
		{`A_CONTAINS(over, 'x')`, 1, "expected a list in brackets"},
		{`x = 1e999`, 5, "too large"},
		{`x = 1; DROP TABLE trees`, 6, `found ";"`},
		{"x = 'a\x00b'", 5, "code 0"},
		{`"" = 1`, 1, "an empty name"},
		{`CASEI(a, b) = 'x'`, 1, "CASEI has 2 operands: expected 1"},
	} {
		_, err := filter.ParseText(c.text)
		wantError(t, c.text, err, c.says)
		var e *filter.Error
		if errors.As(err, &e) && e.Column != c.column {
			t.Errorf("%s: column %d, expected %d (%v)", c.text, e.Column, c.column, err)
		}
	}
	if _, err := filter.ParseText("x = '\xff'"); err == nil || !strings.Contains(err.Error(), "UTF-8") {
		t.Errorf("a text that is not UTF-8: %v", err)
	}
}

func wantError(t *testing.T, what string, err error, says string) {
	t.Helper()
	var e *filter.Error
	if !errors.As(err, &e) || !strings.Contains(err.Error(), says) {
		t.Errorf("%s: %v, expected an *Error that says %q", what, err, says)
	}
}

func TestErrorsOfJSON(t *testing.T) {
	for _, c := range []struct{ json, path, says string }{
		{``, "", "ends early"},
		{`{"op":"=","args":[{"property":"x"},`, "/args", "ends early"},
		{`[1]`, "", "found a list: expected a predicate"},
		{`null`, "", "found null"},
		{`{"op":"=","args":[{"property":"x"},null]}`, "/args/1", "found null: to test for it use the op isNull"},
		{`{"op":"=","args":[{"property":"x"}]}`, "", "= has 1 operand: expected 2"},
		{`{"op":"and","args":[{"op":"isNull","args":[]},true]}`, "/args/0", "IS NULL has 0 operands"},
		{`{"op":"T_AFTER","args":[]}`, "", `write "t_after"`},
		{`{"op":"AND","args":[true,true]}`, "", "a word of the language"},
		{`{"op":"drop table","args":[]}`, "", "expected an operator or the name of a function"},
		{`{"op":"=","args":[1,1],"x":1}`, "/x", `found a member "x"`},
		{`{"property":""}`, "", "an empty property name"},
		{`{"property":5}`, "/property", "found a number: expected a string"},
		{`{"date":"2026-13-01"}`, "", "is no date"},
		{`{"op":"=","args":[1,{"timestamp":"2026-01-01"}]}`, "/args/1", "is no timestamp"},
		{`{"op":"in","args":[{"property":"x"},[]]}`, "", "after IN"},
		{`{"op":"in","args":[{"property":"x"},1]}`, "", "after IN"},
		{`{"op":"=","args":[[1],1]}`, "", "expected a single value"},
		{`{"op":"s_within","args":[{"type":"Point","coordinates":[1]},{"property":"g"}]}`, "/args/0", "lists 1 deep"},
		{`{"op":"s_within","args":[{"type":"Polygon","coordinates":[[[0,0],[1,0],[1,1]]]},{"property":"g"}]}`, "/args/0", "a ring of 3 positions"},
		{`{"op":"s_within","args":[{"type":"Circle","coordinates":[1,2]},{"property":"g"}]}`, "/args/0", "expected a geometry such as Point"},
		{`{"type":"Point","coordinates":[1,2],"crs":{}}`, "/crs", `found a member "crs"`},
		{`{"bbox":[1,2,3]}`, "", "bbox has 3 numbers"},
		{`{"op":"=","args":[1,1]} 5`, "", "found more behind the filter"},
		{`{"op":"=","op":"<","args":[1,1]}`, "/op", "duplicate"},
		{`{"op":"=","args":[1,"\u0000"]}`, "/args/1", "code 0"},
		{`{"op":"=","args":[1,1e999]}`, "/args/1", "too large"},
	} {
		_, err := filter.ParseJSON([]byte(c.json))
		wantError(t, c.json, err, c.says)
		var e *filter.Error
		if errors.As(err, &e) && (e.Path != c.path || e.Column != 0 || e.At != -1) {
			t.Errorf("%s: at %q, column %d, byte %d: expected %q (%v)", c.json, e.Path, e.Column, e.At, c.path, err)
		}
	}
}

// A filter that is too deep, too long or too large is refused, in both
// encodings, and costs next to nothing.
func TestLimits(t *testing.T) {
	repeat := strings.Repeat
	const deep = 2000
	for what, c := range map[string]struct{ text, says string }{
		"brackets":      {repeat("(", deep) + "x=1" + repeat(")", deep), "nested more than 200 deep"},
		"NOT":           {repeat("NOT ", deep) + "x=1", "nested more than 200 deep"},
		"minus":         {"x = " + repeat("-", deep) + "y", "nested more than 200 deep"},
		"a sum":         {"x = 1" + repeat("+1", deep), "nested more than 200 deep"},
		"functions":     {repeat("f(", deep) + repeat(")", deep), "nested more than 200 deep"},
		"lists":         {"f(" + repeat("(", deep) + "1" + repeat(")", deep) + ")", "nested more than 200 deep"},
		"CASEI":         {repeat("CASEI(", deep) + "x" + repeat(")", deep) + " = 'a'", "nested more than 200 deep"},
		"not closed":    {repeat("(", 500_000), "nested more than 200 deep"},
		"AND":           {"x=1" + repeat(" AND x=1", 20_000), "more than 10000 parts"},
		"IN":            {"x IN (1" + repeat(",1", 6000) + ")", "more than 5000 items"},
		"a text":        {"x = '" + repeat("a", 20_000) + "'", "more than 10000 bytes"},
		"a name":        {repeat("a", 20_000) + " = 1", "at most 10000"},
		"a quoted name": {`"` + repeat("a", 20_000) + `" = 1`, "more than 10000 bytes"},
		"vertices":      {"S_INTERSECTS(g, LINESTRING(0 0" + repeat(",1 1", 30_000) + "))", "more than 20000 positions"},
		"length":        {repeat(" ", 2<<20), "longer than 1 MiB"},
	} {
		wantFlat(t, what, c.says, func() error { _, err := filter.ParseText(c.text); return err })
	}
	array := func(s string, n int) string { return "[" + s + repeat(","+s, n-1) + "]" }
	for what, c := range map[string]struct{ json, says string }{
		"not":        {repeat(`{"op":"not","args":[`, deep) + "true" + repeat("]}", deep), "nested more than 200 deep"},
		"not closed": {repeat(`{"op":"not","args":[`, 40_000), "nested more than 200 deep"},
		"lists":      {`{"op":"f","args":` + repeat("[", deep) + repeat("]", deep) + "}", "nested more than 200 deep"},
		"and":        {`{"op":"and","args":` + array("true", 4000) + "}", ""},
		"parts":      {`{"op":"or","args":` + array(`{"op":"and","args":`+array("true", 4000)+`}`, 3) + "}", "more than 10000 parts"},
		"items":      {`{"op":"in","args":[1,` + array("1", 6000) + "]}", "more than 5000 items"},
		"a text":     {`{"op":"=","args":[1,"` + repeat("a", 20_000) + `"]}`, "at most 10000"},
		"vertices":   {`{"type":"LineString","coordinates":` + array("[1,1]", 30_000) + "}", "more than 20000 positions"},
		"dimensions": {`{"type":"Point","coordinates":` + array("1", 30_000) + "}", "more than three numbers"},
		"levels":     {`{"type":"Point","coordinates":` + repeat("[", deep) + repeat("]", deep) + "}", "nested too deep"},
		"box":        {`{"bbox":` + array("1", 30_000) + "}", "more than 6 numbers"},
		"length":     {repeat(" ", 2<<20), "longer than 1 MiB"},
	} {
		wantFlat(t, what+" in JSON", c.says, func() error { _, err := filter.ParseJSON([]byte(c.json)); return err })
	}
}

// wantFlat sees that an error says what is wrong and that finding it took less
// than 8 MB.
func wantFlat(t *testing.T, what, says string, parse func() error) {
	t.Helper()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	err := parse()
	runtime.ReadMemStats(&after)
	if says == "" && err != nil || says != "" && (err == nil || !strings.Contains(err.Error(), says)) {
		t.Errorf("%s: %v, expected %q", what, err, says)
	}
	if used := after.TotalAlloc - before.TotalAlloc; used > 8<<20 {
		t.Errorf("%s: %d bytes allocated", what, used)
	}
}

// schema has a property of every type, named for it.
type schema struct{}

func (schema) PropertyType(name string) (filter.Type, bool) {
	t, ok := map[string]filter.Type{
		"text": filter.TextType, "number": filter.NumberType, "flag": filter.BoolType, "day": filter.DateType, "instant": filter.TimestampType,
		"span": filter.IntervalType, "geometry": filter.GeometryType, "over": filter.ListType, "nothing": filter.UnknownType,
	}[name]
	return t, ok
}

// Types are checked before anything reaches the database.
func TestCheck(t *testing.T) {
	for _, good := range []string{
		`TRUE`, `flag`, `NOT flag`, `flag = TRUE AND number > 1 OR text = 'a'`,
		`number + 1 < 2 * number`, `5 > number`, `number = number`, `text < text`, `text BETWEEN 'a' AND 'b'`,
		`number BETWEEN 1 AND number + 1`, `day BETWEEN DATE('2026-01-01') AND DATE('2026-12-31')`,
		`day = DATE('2026-01-01')`, `instant >= DATE('2026-01-01')`, `day < TIMESTAMP('2026-01-01T00:00:00Z')`, `day = instant`,
		`day IN (DATE('2026-01-01'), TIMESTAMP('2026-01-01T00:00:00Z'))`,
		`CASEI(text) LIKE CASEI('a%')`, `ACCENTI(CASEI(text)) LIKE ACCENTI(CASEI('a%'))`, `text LIKE '100\\%'`, `text LIKE '\\\\'`,
		`geometry IS NULL`, `(number = 1) IS NULL`, `over IS NOT NULL`, `INTERVAL(day, instant) IS NULL`,
		`S_INTERSECTS(geometry, geometry)`, `S_WITHIN(geometry, BBOX(170,-10,-170,10))`,
		`S_INTERSECTS(geometry, GEOMETRYCOLLECTION(POINT(1 2), LINESTRING(1 2, 3 4)))`,
		`S_TOUCHES(geometry, GEOMETRYCOLLECTION(POINT(1 2), MULTIPOINT((1 2), (3 4))))`,
		`T_AFTER(day, DATE('2026-01-01'))`, `T_INTERSECTS(instant, INTERVAL('2026-01-01', '..'))`, `T_DURING(INTERVAL(day, instant), INTERVAL('..', '..'))`,
		`A_CONTAINS(over, ('a', text))`, `A_OVERLAPS(over, ())`, `A_EQUALS((1, 2), (2, number))`, `A_EQUALS(over, over)`,
		`distance_m(geometry, POINT(1 2)) < 5`, `WITHIN_M(geometry, POINT(1 2), 2 * number)`, `NOT within_m(geometry, geometry, 1)`,
		`nothing = 1`, `nothing LIKE 'a'`, `nothing`, `S_WITHIN(nothing, geometry)`, `nothing + 1 > nothing`,
	} {
		e, err := filter.ParseText(good)
		if err == nil {
			err = filter.Check(e, schema{})
		}
		if err != nil {
			t.Errorf("%s: %v", good, err)
		}
	}
	for _, c := range []struct {
		text   string
		column int
		path   string // of the same in JSON
		says   string
	}{
		{`number`, 1, "", "a number: expected a condition"},
		{`'a'`, 1, "", "expected a condition"},
		{`height = 5`, 1, "/args/0", `there is no property "height"`},
		{`text = "Ulmus"`, 8, "/args/1", `there is no property "Ulmus"`},
		{`flag AND number`, 10, "/args/1", "expected a condition"},
		{`text = 5`, 8, "/args/1", "a number is written without quotes"},
		{`number = '5'`, 10, "/args/1", "a number is written without quotes"},
		{`day > '2026-01-01'`, 7, "/args/1", "a date is written DATE('2026-01-31')"},
		{`instant = '2026-01-01'`, 11, "/args/1", "a timestamp is written TIMESTAMP("},
		{`flag = 'true'`, 8, "/args/1", "a boolean is written TRUE or FALSE"},
		{`day = 5`, 7, "/args/1", "expected the same type on both sides"},
		{`number IN (1, 'a')`, 15, "/args/1/1", "a number is written without quotes"},
		{`number BETWEEN 1 AND 'a'`, 22, "/args/2", "a number is written without quotes"},
		{`flag BETWEEN TRUE AND FALSE`, 1, "/args/0", "expected a number"},
		{`geometry = POINT(1 2)`, 1, "/args/0", "expected S_EQUALS"},
		{`over = 'a'`, 1, "/args/0", "expected A_EQUALS"},
		{`day = INTERVAL('2026-01-01', '..')`, 7, "/args/1", "expected T_EQUALS"},
		{`number LIKE 'a'`, 1, "/args/0", "LIKE has the property \"number\", a number: expected a text"},
		{`text LIKE text`, 11, "/args/1", "the pattern of LIKE is the property"},
		{`text LIKE 'a\\'`, 11, "/args/1", "escapes nothing"},
		{`CASEI(number) = 'a'`, 7, "/args/0/args/0", "expected a text"},
		{`text + 1 > 2`, 1, "/args/0/args/0", "expected a number"},
		{`S_WITHIN(text, geometry)`, 10, "/args/0", "expected a geometry"},
		{`S_TOUCHES(geometry, GEOMETRYCOLLECTION(POINT(1 2), LINESTRING(1 2, 3 4)))`, 21, "/args/1", "expected geometries of one dimension"},
		{`S_WITHIN(geometry, POINT(1 91))`, 20, "/args/1", "is not on the globe"},
		{`S_WITHIN(geometry, BBOX(0,2,1,1))`, 20, "/args/1", "lower corner first"},
		{`T_DURING(day, INTERVAL('2026-01-01', '..'))`, 10, "/args/0", "it compares intervals"},
		{`T_AFTER(text, DATE('2026-01-01'))`, 9, "/args/0", "expected a date, a timestamp or an interval"},
		{`T_AFTER(day, INTERVAL(text, '..'))`, 23, "/args/1/interval/0", "expected a date or a timestamp"},
		{`T_AFTER(day, INTERVAL('2026-02-01', '2026-01-01'))`, 14, "/args/1", "before it starts"},
		{`A_CONTAINS(text, ('a'))`, 12, "/args/0", "expected a list"},
		{`A_CONTAINS(over, (1))`, 18, "/args/1", "a list of texts with one of numbers"},
		{`A_CONTAINS(over, ('a', 1))`, 24, "/args/1/1", "among items that are each a text"},
		{`A_CONTAINS(over, ((1, 2), (3, 4)))`, 19, "/args/1/0", "expected a text"},
		{`buffer(geometry, 5) IS NULL`, 1, "/args/0", `there is no function "buffer": beside those of the standard there are distance_m and within_m`},
		{`within_m(geometry, geometry)`, 1, "/args", "within_m has 2 arguments: expected 3"},
		{`within_m(geometry, text, 5)`, 20, "/args/1", "expected a geometry"},
		{`within_m(geometry, geometry, -5)`, 30, "/args/2", "expected 0 or more"},
		{`T_AFTER(day, INTERVAL(distance_m(geometry, geometry), '..'))`, 23, "/args/1/interval/0", "expected a date or a timestamp"},
	} {
		e, err := filter.ParseText(c.text)
		if err != nil {
			t.Errorf("%s: %v", c.text, err)
			continue
		}
		err = filter.Check(e, schema{})
		wantError(t, c.text, err, c.says)
		var at *filter.Error
		if errors.As(err, &at) && (at.Column != c.column || at.At != c.column-1) {
			t.Errorf("%s: column %d, byte %d, expected column %d (%v)", c.text, at.Column, at.At, c.column, err)
		}
		j, err := filter.ParseJSON(filter.JSON(e))
		if err != nil {
			t.Fatal(err)
		}
		err = filter.Check(j, schema{})
		wantError(t, string(filter.JSON(e)), err, c.says)
		if errors.As(err, &at) && (at.Path != c.path || at.Column != 0) {
			t.Errorf("%s: at %q, expected %q (%v)", filter.JSON(e), at.Path, c.path, err)
		}
	}
}

func ExampleError() {
	e, _ := filter.ParseText("text = 'Ulmus' AND number > 'tall'")
	fmt.Println(filter.Check(e, schema{}))
	// Output: column 29: > compares the property "number", a number, with the text "tall", a text: a number is written without quotes
}
