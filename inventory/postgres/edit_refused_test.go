package postgres_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// refused runs each statement and compares what it is refused with.
func refused(t *testing.T, url string, cases [][2]string) {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	for _, c := range cases {
		_, err := conn.Exec(t.Context(), c[0])
		if err == nil {
			t.Errorf("%.200s: nothing was refused", c[0])
			continue
		}
		said, _, _ := strings.Cut(strings.TrimPrefix(err.Error(), "ERROR: "), " (SQLSTATE")
		if whole, ok := strings.CutPrefix(c[1], "…"); ok && !strings.Contains(said, whole) || !ok && said != c[1] {
			t.Errorf("%.200s:\n%s, expected\n%s", c[0], said, c[1])
		}
		if len(said) > 400 {
			t.Errorf("%.200s: %d bytes of words", c[0], len(said))
		}
	}
}

// A ring with a corner that is no number, which its bounds pass over.
const brokenRing = `ST_SetSRID(ST_MakePolygon(ST_MakeLine(ARRAY[ST_MakePoint(0.0, 0.0), ST_MakePoint(1.0, 0.0), ST_MakePoint('NaN', 'NaN'), ST_MakePoint(0.0, 1.0), ST_MakePoint(0.0, 0.0)])), 4326)`

func TestViewsRefuseWhatIsNoPlace(t *testing.T) {
	url := pgtest.URL(t)
	pgtest.Exec(t, url, little)
	const noNumber = `: geometry has a coordinate that is no number: draw it anew`
	refused(t, url, [][2]string{
		{`UPDATE gis.trees SET geometry = ST_SetSRID(ST_MakePoint('NaN', 'NaN'), 4326) WHERE tree_id = 1`, `tree 1 (T1)` + noNumber},
		{`INSERT INTO gis.trees (geometry) VALUES (ST_SetSRID(ST_MakePoint(1, 'NaN'), 4326))`, `new tree` + noNumber},
		{`UPDATE gis.trees SET geometry = 'SRID=4326;POINT EMPTY' WHERE tree_id = 1`, `tree 1 (T1): geometry is empty: draw it`},
		{`INSERT INTO gis.trees (geometry) VALUES ('SRID=4326;POINT(500 95)')`, `new tree: geometry reaches from 500 95 to 500 95: expected degrees, longitude from -180 to 180 first, latitude from -90 to 90 second`},
		{`INSERT INTO gis.trees (geometry) VALUES (ST_SetSRID(ST_MakePoint('infinity', 1), 4326))`, `…geometry reaches from Infinity 1`},
		{`INSERT INTO gis.targets (kind, geometry) VALUES ('road', 'SRID=4326;POLYGON EMPTY')`, `new target: geometry is empty: draw it`},
		{`UPDATE gis.targets SET geometry = ` + brokenRing, `target 1 (Lot)` + noNumber},
		{`UPDATE gis.targets SET geometry = ST_SetSRID(ST_Collect(ARRAY[ST_MakePoint(0.0, 0.0), ST_MakePoint('NaN', 1), ST_MakePoint(1.0, 1.0)]), 4326)`, `target 1 (Lot)` + noNumber},
		{`UPDATE gis.sites SET geometry = ST_Multi(` + brokenRing + `)`, `site 1 (Low Quarter)` + noNumber},
		{`UPDATE gis.sites SET geometry = 'SRID=4326;MULTIPOLYGON EMPTY'`, `site 1 (Low Quarter): geometry is empty: draw it`},
		{`INSERT INTO gis.cuts (kind, geometry) VALUES ('stub', ST_SetSRID(ST_MakePoint('NaN', 'NaN'), 4326))`, `new cut` + noNumber},
		{`INSERT INTO gis.visits (visited_on, geometry) VALUES ('2026-01-01', 'SRID=4326;POINT EMPTY')`, `new visit: geometry is empty: draw it`},
	})
	// By the tables themselves too, whose rows could not be mended afterwards.
	refused(t, url, [][2]string{
		{`UPDATE trees SET geometry = ST_SetSRID(ST_MakePoint('NaN', 'NaN'), 4326)`, `…"trees_place"`},
		{`UPDATE trees SET geometry = 'SRID=4326;POINT EMPTY'`, `…"trees_place"`},
		{`UPDATE trees SET geometry = 'SRID=4326;POINT(180.000001 0)'`, `…"trees_place"`},
		{`UPDATE trees SET crown = ` + brokenRing, `…"trees_crown_place"`},
		{`UPDATE trees SET crown = 'SRID=4326;POLYGON EMPTY'`, `…"trees_crown_place"`},
		{`UPDATE targets SET geometry = ` + brokenRing, `…"targets_place"`},
		{`UPDATE targets SET geometry = ST_SetSRID(ST_Collect(ARRAY[ST_MakePoint(0.0, 0.0), ST_MakePoint('NaN', 1), ST_MakePoint(1.0, 1.0)]), 4326)`, `…"targets_place"`},
		{`UPDATE targets SET geometry = ST_SetSRID(ST_MakeLine(ARRAY[ST_MakePoint(0.0, 0.0), ST_MakePoint('NaN', 1), ST_MakePoint(1.0, 1.0)]), 4326)`, `…"targets_place"`},
		{`UPDATE targets SET geometry = ST_SetSRID(ST_MakePoint('NaN', 1), 4326)`, `…"targets_place"`},
		{`UPDATE targets SET geometry = ST_SetSRID(ST_MakePoint(1, 'NaN'), 4326)`, `…"targets_place"`},
		{`UPDATE targets SET geometry = ST_SetSRID(ST_MakePoint('infinity', 1), 4326)`, `…"targets_place"`},
		{`UPDATE targets SET geometry = 'SRID=4326;LINESTRING(-180.0000001 0,0 0)'`, `…"targets_place"`},
		{`UPDATE targets SET geometry = ST_Collect('SRID=4326;POINT(0 0)'::geometry, ` + brokenRing + `)`, `…"targets_place"`},
		{`UPDATE targets SET geometry = 'SRID=4326;POINT(0 -90.1)'`, `…"targets_place"`},
		{`UPDATE targets SET geometry = 'SRID=4326;LINESTRING EMPTY'`, `…"targets_place"`},
		{`UPDATE sites SET boundary = ST_Multi(` + brokenRing + `)`, `…"sites_place"`},
		{`UPDATE sites SET boundary = 'SRID=4326;MULTIPOLYGON EMPTY'`, `…"sites_place"`},
	})
	// The very edges are places.
	pgtest.Exec(t, url, `UPDATE trees SET geometry = 'SRID=4326;POINT(180 -90)'; UPDATE targets SET geometry = 'SRID=4326;POINT(-180 90)'; UPDATE sites SET boundary = NULL`)
}

func TestViewsRefuseDaysOfNoCalendar(t *testing.T) {
	url := pgtest.URL(t)
	pgtest.Exec(t, url, little)
	const days = `: expected a day from 1000-01-01 to 9999-12-31`
	refused(t, url, [][2]string{
		{`UPDATE gis.visits SET visited_on = '-infinity'`, `visit 1 (tree 1): visited_on is -infinity` + days},
		{`UPDATE gis.visits SET visited_on = '0044-03-15 BC'`, `visit 1 (tree 1): visited_on is 0044-03-15 BC` + days},
		{`UPDATE gis.visits SET next_visit_on = 'infinity'`, `visit 1 (tree 1): next_visit_on is infinity` + days},
		{`UPDATE gis.visits SET next_visit_on = '10000-01-01'`, `visit 1 (tree 1): next_visit_on is 10000-01-01` + days},
		{`UPDATE gis.visits SET visited_on = current_date + 3`, `…, which is yet to come`},
		{`INSERT INTO gis.cuts (tree_id, kind, made_on) VALUES (1, 'stub', '-infinity')`, `new cut (tree 1): made_on is -infinity` + days},
		{`INSERT INTO gis.cuts (tree_id, kind, made_on) VALUES (1, 'stub', current_date + 3)`, `…, which is yet to come`},
		{`UPDATE gis.counts SET counted_at = 'infinity'`, `count 1 (Lot): counted_at is infinity` + days},
		{`UPDATE gis.counts SET counted_at = '0044-03-15 08:00 BC'`, `count 1 (Lot): counted_at is 0044-03-15T08:00:00 BC` + days},
		{`UPDATE gis.counts SET counted_at = date_trunc('hour', now()) + interval '2 days'`, `…, which is yet to come`},
		{`UPDATE visits SET visited_on = 'infinity'`, `…"visits_dated"`},
		{`UPDATE visits SET next_visit_on = 'infinity'`, `…"visits_dated"`},
		{`UPDATE cuts SET made_on = '-infinity'`, `…"cuts_dated"`},
		{`UPDATE cuts SET made_on = '0044-03-15 BC'`, `…"cuts_dated"`},
		{`UPDATE cuts SET made_year = 0`, `…"cuts_dated"`},
		{`UPDATE counts SET counted_at = 'infinity'`, `…"counts_dated"`},
		{`UPDATE counts SET counted_at = '0044-03-15 08:00 BC'`, `…"counts_dated"`},
		{`UPDATE trees SET planted_year = 0`, `…"trees_planted"`},
		{`UPDATE sites SET time_zone = 'Moon'`, `site Low Quarter: time_zone is Moon: expected an IANA name such as Europe/Vilnius`},
		{`UPDATE sites SET time_zone = 'Moon+3'`, `site Low Quarter: time_zone is Moon+3: expected an IANA name such as Europe/Vilnius`},
		{`INSERT INTO sites (client_id, name, time_zone) VALUES (1, 'Far', 'Moon')`, `site Far: time_zone is Moon: expected an IANA name such as Europe/Vilnius`},
	})
}

// The hour that the clocks of the European Union skip: Directive 2000/84/EC,
// article 2, has summer time begin on the last Sunday of March at one o'clock UTC.
func TestViewsRefuseAnHourThatTheClockSkips(t *testing.T) {
	url := pgtest.URL(t)
	pgtest.Exec(t, url, little+`UPDATE sites SET time_zone = 'Europe/Paris'`)
	refused(t, url, [][2]string{
		{`UPDATE gis.counts SET counted_at = '2026-03-29 02:00'`, `count 1 (Lot): counted_at is 2026-03-29T02:00, and there is no such hour in Europe/Paris, the time zone of its site: the clock goes forward there`},
		{`INSERT INTO gis.counts (target_id, counted_at, people) VALUES (1, '2025-03-30 02:00', 1)`, `new count: counted_at is 2025-03-30T02:00, and there is no such hour in Europe/Paris, the time zone of its site: the clock goes forward there`},
	})
	pgtest.Exec(t, url, `UPDATE gis.counts SET counted_at = '2026-03-29 03:00'; UPDATE gis.counts SET counted_at = '2025-10-26 02:00'`)
}

// A record made by hand is the one that an import of its source id finds; a
// second of the same id is refused.
func TestViewsRefuseARepeatedSourceID(t *testing.T) {
	url := pgtest.URL(t)
	pgtest.Exec(t, url, little)
	pgtest.Exec(t, url, `
		INSERT INTO gis.trees (source_id, geometry) VALUES ('A', 'SRID=4326;POINT(25.28 54.68)');
		INSERT INTO gis.targets (source_id, layer, kind, geometry) VALUES ('A', 'roads', 'road', 'SRID=4326;POINT(25.28 54.68)');
		INSERT INTO gis.targets (source_id, kind, geometry) VALUES ('A', 'road', 'SRID=4326;POINT(25.28 54.68)')`)
	refused(t, url, [][2]string{
		{`INSERT INTO gis.trees (source_id, geometry) VALUES ('A', 'SRID=4326;POINT(25.28 54.68)')`, `new tree: source_id is A, and tree 3 of the site has it: change that one, or give another`},
		{`UPDATE gis.trees SET source_id = 'A' WHERE tree_id = 1`, `tree 1 (T1): source_id is A, and tree 3 of the site has it: change that one, or give another`},
		{`INSERT INTO gis.targets (source_id, layer, kind, geometry) VALUES ('A', 'roads', 'road', 'SRID=4326;POINT(25.28 54.68)')`, `new target: source_id is A, and target 2 of the site has it: change that one, or give another`},
		{`UPDATE gis.targets SET source_id = 'A' WHERE target_id = 1`, `target 1 (Lot): source_id is A, and target 3 of the site has it: change that one, or give another`},
	})
	// The keys are those of the importers (treeKey, target), also after a change.
	pgtest.Exec(t, url, `UPDATE gis.trees SET source_id = 'B' WHERE tree_id = 3; UPDATE gis.trees SET source_id = 'A' WHERE tree_id = 1; UPDATE gis.trees SET source_id = NULL WHERE tree_id = 3`)
	if got := pgtest.Query(t, url, `SELECT tree_id, match_key FROM trees WHERE match_key NOT LIKE 'hand:%' ORDER BY 1`); !slices.Equal(got, []string{"1|A", "3|B"}) {
		t.Error(got)
	}
	if got := pgtest.Query(t, url, `SELECT target_id, match_key FROM targets WHERE match_key NOT LIKE 'hand:%' ORDER BY 1`); !slices.Equal(got, []string{"2|roads/id:A", "3|/id:A"}) {
		t.Error(got)
	}
	// At another site the id is another's.
	pgtest.Exec(t, url, `INSERT INTO gis.sites (name) VALUES ('High Quarter'); INSERT INTO gis.trees (source_id, site, geometry) VALUES ('A', 'High Quarter', 'SRID=4326;POINT(1 1)')`)
	refused(t, url, [][2]string{{`UPDATE gis.trees SET site = 'High Quarter' WHERE tree_id = 1`, `…source_id is A, and tree `}})
}

func TestViewsRefuseLongTexts(t *testing.T) {
	url := pgtest.URL(t)
	pgtest.Exec(t, url, little)
	refused(t, url, [][2]string{
		{`UPDATE gis.trees SET species = repeat('x', 1000000) WHERE tree_id = 1`, `tree 1 (T1): species is 1000000 characters long: 1000 at most`},
		{`UPDATE gis.trees SET tag = repeat('x', 501) WHERE tree_id = 1`, `tree 1 (T1): tag is 501 characters long: 500 at most`},
		{`UPDATE gis.targets SET name = repeat('x', 1001)`, `target 1 (Lot): name is 1001 characters long: 1000 at most`},
		{`UPDATE gis.visits SET note = repeat('x', 10001)`, `visit 1 (tree 1): note is 10001 characters long: 10000 at most`},
		{`INSERT INTO gis.trees (tag, status, geometry) VALUES (repeat('t', 400), repeat('x', 900), 'SRID=4326;POINT(25 54)')`, `…status is xxxxx`},
		{`INSERT INTO gis.trees (site, geometry) VALUES (repeat('x', 900), 'SRID=4326;POINT(25 54)')`, `…site is xxxxx`},
		{`INSERT INTO gis.cuts (tag, kind) VALUES (repeat('x', 400), 'stub')`, `…no tree has it`},
	})
	pgtest.Exec(t, url, `UPDATE gis.visits SET note = repeat('x', 10000); UPDATE gis.trees SET species = repeat('ž', 1000)`)
}
