package postgres_test

import (
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// What the index is asked beforehand loses no row, wherever on Earth: PostGIS's
// own answer without it is the same. The stored points lie close about the
// literal, the derived geometry is the ground that trees have: it reaches 40 m from
// them, and beyond the antimeridian rather than round the Earth.
func TestPrefilterLosesNothing(t *testing.T) {
	conn := connect(t, pgtest.URL(t))
	if _, err := conn.Exec(t.Context(), `CREATE TEMP TABLE f (id int, geom geometry(Point, 4326))`); err != nil {
		t.Fatal(err)
	}
	columns := columnsOf{
		"geometry": {SQL: "geom", Type: filter.GeometryType},
		"zone":     {SQL: "ground(geom, 40, 0, 360)", Type: filter.GeometryType, Indexed: "geom", ReachM: 41},
	}
	met := 0
	rapid.Check(t, func(rt *rapid.T) {
		lat := rapid.SampledFrom([]float64{0, 42, -60, 70, 80, -85, 89}).Draw(rt, "latitude")
		lon := rapid.SampledFrom([]float64{0, -71, 179.9, -179.9}).Draw(rt, "longitude")
		step := rapid.SampledFrom([]float64{1e-5, 1e-4, 1e-3, 1e-2}).Draw(rt, "step")
		place := func(name string) (x, y float64) {
			return lon + step*float64(rapid.IntRange(-9, 9).Draw(rt, name+" x")), lat + step*float64(rapid.IntRange(-9, 9).Draw(rt, name+" y"))
		}
		if _, err := conn.Exec(t.Context(), `TRUNCATE f`); err != nil {
			t.Fatal(err)
		}
		for i := range 12 {
			x, y := place(fmt.Sprint(i))
			if _, err := conn.Exec(t.Context(), `INSERT INTO f VALUES ($1, ST_SetSRID(ST_MakePoint($2, $3), 4326))`, i, x, y); err != nil {
				t.Fatal(err)
			}
		}
		x1, y1 := place("a")
		x2, y2 := place("b")
		literal := rapid.SampledFrom([]string{
			fmt.Sprintf("POINT(%v %v)", x1, y1),
			fmt.Sprintf("LINESTRING(%v %v, %v %v)", x1, y1, x2, y2),
			fmt.Sprintf("BBOX(%v, %v, %v, %v)", min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)),
		}).Draw(rt, "literal")
		metres := rapid.SampledFrom([]float64{0, 1, 30, 500, 50_000}).Draw(rt, "metres")
		text := rapid.SampledFrom([]string{
			"S_INTERSECTS(zone, LITERAL)", "S_INTERSECTS(LITERAL, zone)", "S_WITHIN(zone, LITERAL)", "S_CONTAINS(zone, LITERAL)",
			"within_m(geometry, LITERAL, METRES)", "within_m(LITERAL, geometry, METRES)", "within_m(zone, LITERAL, METRES)",
		}).Draw(rt, "filter")
		e, err := filter.ParseText(strings.NewReplacer("LITERAL", literal, "METRES", fmt.Sprint(metres)).Replace(text))
		if err != nil {
			t.Fatal(err)
		}
		conjuncts, args, err := postgres.CompileFilter(e, columns)
		if err != nil || len(conjuncts) != 2 {
			t.Fatalf("%d conditions of %s (%v), expected 2", len(conjuncts), filter.Text(e), err)
		}
		var all, kept, near int
		sql := fmt.Sprintf("SELECT count(*) FILTER (WHERE %[1]s), count(*) FILTER (WHERE %[1]s AND %[2]s), count(*) FILTER (WHERE %[2]s) FROM f", conjuncts[0], conjuncts[1])
		if err := conn.QueryRow(t.Context(), sql, args...).Scan(&all, &kept, &near); err != nil {
			t.Fatalf("%v\n%s", err, sql)
		}
		if all != kept {
			rt.Fatalf("%s: %d rows, %d of them left by the index", filter.Text(e), all, kept)
		}
		met += all
	})
	if met == 0 {
		t.Error("no filter found anything")
	}
}

// A condition that a row can fulfil without meeting the literal is asked of all.
func TestPrefilterOnlyWhereImplied(t *testing.T) {
	columns := columnsOf{"zone": {SQL: "zone", Type: filter.GeometryType, Indexed: "geom", ReachM: 40}, "geometry": {SQL: "geom", Type: filter.GeometryType}, "n": {SQL: "n", Type: filter.NumberType}}
	for text, want := range map[string]int{
		`S_INTERSECTS(zone, POINT(1 2))`:                            2,
		`S_TOUCHES(POINT(1 2), zone)`:                               2,
		`n = 1 AND (n = 2 AND S_WITHIN(zone, BBOX(1,2,3,4)))`:       4,
		`S_DISJOINT(zone, POINT(1 2))`:                              1,
		`NOT S_INTERSECTS(zone, POINT(1 2))`:                        1,
		`S_INTERSECTS(zone, POINT(1 2)) OR n = 1`:                   1,
		`S_INTERSECTS(zone, geometry)`:                              1,
		`S_INTERSECTS(geometry, POINT(1 2))`:                        1, // PostGIS does it
		`within_m(geometry, POINT(1 2), 5)`:                         2,
		`within_m(geometry, POINT(1 2), n)`:                         1,
		`NOT within_m(geometry, POINT(1 2), 5)`:                     1,
		`distance_m(geometry, POINT(1 2)) < 5`:                      1,
		`S_INTERSECTS(zone, POINT(1 2)) = TRUE`:                     1,
		`within_m(geometry, LINESTRING(0 0, 5 5), 5)`:               1, // too long
		`within_m(zone, POINT(1 2), 5) AND NOT (n = 1 AND n = 2)`:   3,
		`S_INTERSECTS(zone, POINT(1 2)) AND S_DISJOINT(zone, zone)`: 3,
	} {
		e, err := filter.ParseText(text)
		if err != nil {
			t.Fatal(err)
		}
		conjuncts, _, err := postgres.CompileFilter(e, columns)
		if err != nil || len(conjuncts) != want {
			t.Errorf("%s: %d conditions, expected %d (%v)", text, len(conjuncts), want, err)
		}
	}
}

// The conditions are such that the index of the stored geometry answers them.
func TestPrefilterUsesIndex(t *testing.T) {
	conn := connect(t, pgtest.URL(t))
	if _, err := conn.Exec(t.Context(), `
		CREATE TEMP TABLE f AS SELECT i id, ST_SetSRID(ST_MakePoint(-71 - i % 300 * 1e-4, 42 + i / 300 * 1e-4), 4326) geom FROM generate_series(1, 30000) i;
		CREATE INDEX f_geom ON f USING gist (geom); ANALYZE f`); err != nil {
		t.Fatal(err)
	}
	columns := columnsOf{
		"geometry": {SQL: "geom", Type: filter.GeometryType},
		"zone":     {SQL: "ground(geom, 40, 0, 360)", Type: filter.GeometryType, Indexed: "geom", ReachM: 41},
	}
	for _, text := range []string{
		`S_INTERSECTS(geometry, POINT(-71.01 42.005))`,
		`S_WITHIN(geometry, BBOX(-71.011, 42.005, -71.01, 42.006))`,
		`S_INTERSECTS(zone, POINT(-71.01 42.005))`,
		`S_WITHIN(zone, BBOX(-71.011, 42.005, -71.01, 42.006))`,
		`within_m(geometry, POINT(-71.01 42.005), 50)`,
		`within_m(zone, POINT(-71.01 42.005), 50)`,
	} {
		for _, srid := range []int{0, 3857} {
			e, err := filter.ParseText(text)
			if err != nil {
				t.Fatal(err)
			}
			conjuncts, args, err := postgres.CompileFilter(filter.InCRS(e, srid, false), columns)
			if err != nil {
				t.Fatal(err)
			}
			rows, err := conn.Query(t.Context(), "EXPLAIN SELECT id FROM f WHERE "+strings.Join(conjuncts, " AND "), args...)
			if err != nil {
				t.Fatal(err)
			}
			var plan []string
			for rows.Next() {
				var line string
				if err := rows.Scan(&line); err != nil {
					t.Fatal(err)
				}
				plan = append(plan, line)
			}
			if err := rows.Err(); err != nil {
				t.Fatal(err)
			}
			if all := strings.Join(plan, "\n"); !strings.Contains(all, "f_geom") {
				t.Errorf("%s in %d does not use the index:\n%s", text, srid, all)
			}
		}
	}
}
