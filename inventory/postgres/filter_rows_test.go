package postgres_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// rowsTable has a few rows and a column of every type; each is NULL in row 4.
const rowsTable = `CREATE TEMP TABLE f (id int, name text, n float8, m int, flag bool, day date, instant timestamptz, over text[], bits int, geom geometry(Point, 4326));
INSERT INTO f VALUES
	(1, 'Ulmus', 2, 0, true, '2026-01-01', '2026-01-01T00:00:00Z', '{footway,parking}', 3, ST_SetSRID(ST_MakePoint(-71.1, 42.3), 4326)),
	(2, 'Straße', -3, 2, false, '2026-01-02', '2026-01-01T12:30:00Z', '{}', 0, ST_SetSRID(ST_MakePoint(179.9, 10), 4326)),
	(3, 'ΟΔΟΣ 100%\_', 0.5, 3, false, '2026-02-01', '2026-01-02T00:00:00Z', '{playground}', 4, ST_SetSRID(ST_MakePoint(-179.9, 10), 4326)),
	(4, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL)`

var rowsColumns = columnsOf{
	"name":     {SQL: "name", Type: filter.TextType},
	"n":        {SQL: "n", Type: filter.NumberType},
	"m":        {SQL: "m", Type: filter.NumberType},
	"flag":     {SQL: "flag", Type: filter.BoolType},
	"day":      {SQL: "day", Type: filter.DateType},
	"instant":  {SQL: "instant", Type: filter.TimestampType},
	"over":     {SQL: "over", Type: filter.ListType},
	"words":    {SQL: "over", Type: filter.ListType, Bits: "bits", Words: []string{"footway", "parking", "playground"}},
	"geometry": {SQL: "geom", Type: filter.GeometryType},
	"nothing":  {Type: filter.UnknownType},
}

// found lists the rows that a filter holds for.
func found(t testing.TB, conn *pgx.Conn, text string) (string, error) {
	t.Helper()
	e, err := filter.ParseText(text)
	if err == nil {
		err = filter.Check(e, rowsColumns)
	}
	if err != nil {
		return "", err
	}
	conjuncts, args, err := postgres.CompileFilter(e, rowsColumns)
	if err != nil {
		return "", err
	}
	sql := "SELECT coalesce(string_agg(id::text, ' ' ORDER BY id), '') FROM f WHERE " + strings.Join(conjuncts, " AND ")
	var ids string
	if err := conn.QueryRow(t.Context(), sql, args...).Scan(&ids); err != nil {
		return "", fmt.Errorf("%w\n%s", err, sql)
	}
	return ids, nil
}

// What filters mean, row by row. Where the standard has no expected counts the
// rows follow from its text, which is named.
func TestFilterRows(t *testing.T) {
	conn := connect(t, pgtest.URL(t))
	if _, err := conn.Exec(t.Context(), rowsTable); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ text, rows string }{
		// The truth tables of 6.2 and /req/basic-cql2/null-predicate: unknown is
		// neither true nor false, and neither is its negation.
		{`n = 2`, "1"},
		{`n <> 2`, "2 3"},
		{`NOT n = 2`, "2 3"},
		{`NOT (n = 2 AND flag = TRUE)`, "2 3"},
		{`n = 2 OR TRUE`, "1 2 3 4"},
		{`n = 2 AND FALSE`, ""},
		{`NOT (n = 2 AND FALSE)`, "1 2 3 4"},
		{`(n = 2) IS NULL`, "4"},
		{`(n = 2 OR flag) IS NULL`, "4"},
		{`name NOT LIKE 'U%'`, "2 3"},
		{`n NOT BETWEEN 0 AND 1`, "1 2"},
		{`n IN (2, m)`, "1"},
		{`n NOT IN (2, 7)`, "2 3"},
		{`5 NOT IN (n, 7)`, "1 2 3"},
		{`name NOT IN ('Ulmus')`, "2 3"},
		{`NOT A_CONTAINS(over, ('footway'))`, "2 3"},
		{`NOT A_CONTAINS(words, ('footway'))`, "2 3"},
		{`NOT A_CONTAINS(words, ('no such word'))`, "1 2 3"},
		{`NOT S_INTERSECTS(geometry, POINT(0 0))`, "1 2 3"},
		{`S_DISJOINT(geometry, POINT(0 0))`, "1 2 3"},
		{`NOT T_AFTER(day, DATE('2026-01-01'))`, "1"},
		{`T_DISJOINT(day, DATE('2026-01-01'))`, "2 3"},
		{`NOT flag`, "2 3"},
		{`flag <> TRUE`, "2 3"},
		{`nothing = 1 OR nothing IS NULL`, "1 2 3 4"},
		{`NOT nothing`, ""},

		// Arithmetic (/req/arithmetic: NULL where an operand is). div and % are those
		// of SQL (PostgreSQL 15, table 9.5). What is divided by zero is unknown.
		{`n + m = 2`, "1"},
		{`n * 2 - 1 = 0`, "3"},
		{`m / 2 = 1.5`, "3"},
		{`m div 2 = 1 AND m % 2 = 1`, "3"},
		{`n div 2 = -1 AND n % 2 = -1`, "2"},
		{`-n ^ 2 = 9`, "2"},
		{`2 ^ m = 8`, "3"},
		{`n / m > -100`, "2 3"},
		{`NOT n / m > -100`, ""},
		{`(n % m) IS NULL`, "1 4"},
		{`n > -1e300`, "1 2 3"},

		// Texts: by characters (/conf/basic-cql2 on 'København' agrees), with the
		// wildcards and the escape of LIKE.
		{`name > 'T'`, "1 3"},
		{`name BETWEEN 'S' AND 'Z'`, "1 2"},
		{`name LIKE '%\%\_'`, ""},
		{`name LIKE '%\%\\\\\_'`, "3"},
		{`name LIKE '%100\%%'`, "3"},
		{`name LIKE 'u%'`, ""},
		{`name LIKE 'Stra_e'`, "2"},
		{`CASEI(name) LIKE CASEI('U____')`, "1"},
		{`CASEI(name) = CASEI('STRASSE')`, "2"},
		{`CASEI(name) IN (CASEI('straẞe'), CASEI('x'))`, "2"},
		{`CASEI(name) LIKE CASEI('οδος%')`, "3"},
		{`ACCENTI(name) = ACCENTI('Strasse')`, "2"},
		{`name IN ('Ulmus', name)`, "1 2 3"},

		// Dates and timestamps: as instants; a literal date is the whole day where it
		// meets a timestamp.
		{`day = DATE('2026-01-02')`, "2"},
		{`day < TIMESTAMP('2026-01-01T00:00:01Z')`, "1"},
		{`day >= TIMESTAMP('2026-01-01T00:00:01Z')`, "2 3"},
		{`instant = DATE('2026-01-01')`, "1 2"},
		{`instant <> DATE('2026-01-01')`, "3"},
		{`instant <= DATE('2026-01-01')`, "1 2"},
		{`instant < DATE('2026-01-02')`, "1 2"},
		{`instant > DATE('2026-01-01')`, "3"},
		{`DATE('2026-01-01') < instant`, "3"},
		{`instant >= DATE('2026-01-02')`, "3"},
		{`instant BETWEEN DATE('2026-01-01') AND DATE('2026-01-01')`, "1 2"},
		{`instant NOT IN (DATE('2026-01-01'), TIMESTAMP('2026-01-02T00:00:00Z'))`, ""},
		{`day = instant`, "1"},
		{`instant > DATE('0001-01-01') AND day > DATE('0000-01-01') AND day < DATE('9999-12-31')`, "1 2 3"},
		{`T_INTERSECTS(instant, DATE('2026-01-01'))`, "1 2"},
		{`T_BEFORE(instant, INTERVAL('2026-01-02', '..'))`, "1 2"},
		{`T_INTERSECTS(instant, INTERVAL('2025-01-01', '2026-01-01'))`, "1 2"},
		{`T_INTERSECTS(day, INTERVAL('..', '..'))`, "1 2 3"},
		{`T_EQUALS(INTERVAL(day, '..'), INTERVAL('2026-01-01', '..'))`, "1"},
		{`T_DURING(INTERVAL(day, day), INTERVAL('..', '2026-01-15'))`, "1 2"},
		{`INTERVAL(day, '..') IS NULL`, "4"},

		// Lists are sets (/req/array-functions/array-predicates).
		{`A_EQUALS(over, ('parking', 'footway', 'parking'))`, "1"},
		{`A_EQUALS(words, ('parking', 'footway', 'parking'))`, "1"},
		{`A_CONTAINS(over, ('parking'))`, "1"},
		{`A_CONTAINS(words, ('parking'))`, "1"},
		{`A_CONTAINS(over, ())`, "1 2 3"},
		{`A_CONTAINS(words, ())`, "1 2 3"},
		{`A_CONTAINS(words, ('parking', 'no such word'))`, ""},
		{`A_CONTAINEDBY(over, ('parking', 'footway', 'no such word'))`, "1 2"},
		{`A_CONTAINEDBY(words, ('parking', 'footway', 'no such word'))`, "1 2"},
		{`A_CONTAINEDBY(('playground'), words)`, "3"},
		{`A_CONTAINS(('playground', 'x'), words)`, "2 3"},
		{`A_OVERLAPS(over, ('parking', 'playground'))`, "1 3"},
		{`A_OVERLAPS(('parking', 'playground'), words)`, "1 3"},
		{`A_OVERLAPS(words, ('no such word'))`, ""},
		{`A_OVERLAPS(over, ())`, ""},
		{`A_EQUALS(words, ())`, "2"},
		{`A_EQUALS(words, ('no such word'))`, ""},
		{`A_EQUALS(words, over)`, "1 2 3"},
		{`A_OVERLAPS(over, (name, 'playground'))`, "3"},
		{`A_CONTAINS((1, 2, n), (2, 1))`, "1 2 3 4"},
		{`A_EQUALS((TRUE), (flag))`, "1"},
		{`A_CONTAINS((DATE('2026-01-01'), DATE('2026-01-02')), (day))`, "1 2"},

		// Geometries: a box may cross the antimeridian; areas that cross themselves
		// are mended; distances are those of GeographicLib's GeodSolve.
		{`S_WITHIN(geometry, BBOX(170, 0, -170, 20))`, "2 3"},
		{`S_INTERSECTS(geometry, BBOX(-71.1, 42, -71.1, 43))`, "1"},
		{`S_EQUALS(geometry, BBOX(-71.1, 42.3, -71.1, 42.3))`, "1"},
		{`S_INTERSECTS(geometry, BBOX(-72, 42, -5, -71, 43, 5))`, "1"},
		{`S_WITHIN(geometry, POLYGON((-72 42, -71 43, -72 43, -71 42, -72 42)))`, ""},
		{`S_WITHIN(geometry, POLYGON((-71.2 42, -71 43, -71.2 43, -71 42, -71.2 42)))`, "1"},
		{`S_WITHIN(geometry, GEOMETRYCOLLECTION(POLYGON((-72 42, -71 42, -71 43, -72 42)), POLYGON((-72 42, -71 42, -71 43, -72 43, -72 42))))`, "1"},
		{`S_INTERSECTS(geometry, GEOMETRYCOLLECTION(POINT(179.9 10), LINESTRING(-72 42.3, -71 42.3)))`, "1 2"},
		{`S_CONTAINS(POLYGON Z((-72 42 1, -71 42 1, -71 43 1, -72 42 1)), geometry)`, "1"},
		{`S_TOUCHES(geometry, LINESTRING(-71.1 42.3, -71 42))`, "1"},
		{`distance_m(geometry, POINT(-179.9 10)) < 21927.9`, "2 3"},
		{`distance_m(geometry, POINT(-179.9 10)) < 21927.8`, "3"},
		{`within_m(geometry, POINT(-179.9 10), 21927.9)`, "2 3"},
		{`within_m(POINT(-179.9 10), geometry, 21927.8)`, "3"},
		{`within_m(geometry, POINT(-179.9 10), m * 11000)`, "2 3"},
		{`distance_m(POINT(-73.8 40.6), POINT(-0.5 51.6)) BETWEEN 5551759.400 AND 5551759.401`, "1 2 3 4"},
	} {
		rows, err := found(t, conn, c.text)
		if err != nil || rows != c.rows {
			t.Errorf("%s: rows %q, expected %q (%v)", c.text, rows, c.rows, err)
		}
	}
	// What cannot be computed is the request's fault and says so.
	for text, says := range map[string]string{
		`1e308 * 10 * n > 1`: "cannot be computed: value out of range: overflow",
		`n ^ 0.5 > 1`:        "cannot be computed: a negative number raised to a non-integer power",
	} {
		_, err := found(t, conn, text)
		wantInvalid(t, text, err, says)
	}
	e, err := filter.ParseText(`S_INTERSECTS(geometry, POINT(1e9 1e9))`)
	if err != nil {
		t.Fatal(err)
	}
	_, err = count(t, conn, "f", rowsColumns, filter.InCRS(e, 32619, false))
	wantInvalid(t, "a point beyond the projection", err, "outside of what the reference system can express")
}

func wantInvalid(t *testing.T, what string, err error, says string) {
	t.Helper()
	err = postgres.Translate(err)
	if inventory.KindOf(err) != inventory.Invalid || !strings.Contains(fmt.Sprint(err), says) {
		t.Errorf("%s: %v, expected an invalid request that says %s", what, err, says)
	}
}

// A literal in another reference system finds the same rows, whichever axis
// comes first there (Part 3, filter-crs).
func TestFilterCRS(t *testing.T) {
	conn := connect(t, pgtest.URL(t))
	if _, err := conn.Exec(t.Context(), rowsTable); err != nil {
		t.Fatal(err)
	}
	columns := columnsOf{"geometry": {SQL: "ST_Buffer(geom::geography, 5)::geometry", Type: filter.GeometryType, Indexed: "geom", ReachM: 5}}
	for _, c := range []struct {
		text   string
		srid   int
		yFirst bool
		rows   int
	}{
		{`S_INTERSECTS(geometry, BBOX(-71.2, 42.2, -71, 42.4))`, 0, false, 1},
		{`S_INTERSECTS(geometry, BBOX(42.2, -71.2, 42.4, -71))`, 4326, true, 1},
		{`S_INTERSECTS(geometry, BBOX(-7925948, 5191900, -7903684, 5222000))`, 3857, false, 1},
		// The stem is 4.1 m west of these, so that only its surroundings meet them.
		// The coordinates are those of GDAL 3.6 (gdaltransform).
		{`S_INTERSECTS(geometry, POINT(-71.09995 42.3))`, 0, false, 1},
		{`S_INTERSECTS(geometry, POINT(42.3 -71.09995))`, 4326, true, 1},
		{`S_INTERSECTS(geometry, POINT(-7914810.22943 5206024.46129))`, 3857, false, 1},
		{`S_INTERSECTS(geometry, POINT(232987.07001 894468.36857))`, 26986, false, 1},
		{`within_m(geometry, POINT(-7914810.22943 5206024.46129), 1)`, 3857, false, 1},
		{`within_m(geometry, POINT(894468.36857 232987.07001), 1)`, 26986, true, 1},
		{`within_m(geometry, POINT(894468.36857 232997.07001), 1)`, 26986, true, 0},
	} {
		e, err := filter.ParseText(c.text)
		if err != nil {
			t.Fatal(err)
		}
		n, err := count(t, conn, "f", columns, filter.InCRS(e, c.srid, c.yFirst))
		if err != nil || n != c.rows {
			t.Errorf("%s in %d: %d rows, expected %d (%v)", c.text, c.srid, n, c.rows, err)
		}
	}
}

// What people try in order to get into the SQL is a text like any other. The
// first is one that CQL2 and PostgreSQL end at different quotes.
func TestFilterInjection(t *testing.T) {
	conn := connect(t, pgtest.URL(t))
	if _, err := conn.Exec(t.Context(), rowsTable); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{
		`name = 'a\' OR 1=1 --'`,
		`name = 'a'' OR ''1''=''1'`,
		`name = '$1'`,
		`name = '\\'' OR TRUE --'`,
		`name LIKE 'a\' OR TRUE --'`,
		`CASEI(name) = CASEI('x\') OR TRUE --')`,
		`A_CONTAINS(over, ('x}'' OR TRUE --'))`,
		`A_OVERLAPS(over, ('"}'') OR TRUE --', '{footway}'))`,
		`name IN ('x'') OR TRUE --')`,
	} {
		rows, err := found(t, conn, text)
		if err != nil || rows != "" {
			t.Errorf("%s: rows %q, expected none (%v)", text, rows, err)
		}
	}
	for _, text := range []string{
		`name = 'a' OR 1=1 --`,
		`name = 'a'; DROP TABLE f`,
		`"name"" = name OR TRUE --" = 'x'`,
		`"id" = 1`, // a column, but no property
		`pg_sleep(5) = 1`,
		`ST_AsText(geometry) = 'x'`,
		`n = 1 /* */`,
		`name = E'x'`,
		`name::int = 1`,
		`name = $1`,
	} {
		if _, err := found(t, conn, text); err == nil {
			t.Errorf("%s was taken", text)
		}
	}
}
