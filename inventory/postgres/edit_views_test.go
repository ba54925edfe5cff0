package postgres_test

import (
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
	"github.com/underbough/underbough/inventory/profile"
)

// little is a site with a tree, a cut, a visit and a target, put in through the
// views.
const little = `
INSERT INTO gis.sites (name, time_zone) VALUES ('Low Quarter', 'Europe/Vilnius');
INSERT INTO gis.trees (tag, dbh_cm, geometry) VALUES ('T1', 45.3, 'SRID=4326;POINT(25.28 54.68)'), ('T2', 30, 'SRID=4326;POINT(25.281 54.68)');
INSERT INTO gis.cuts (tag, kind) VALUES ('T1', 'topping');
INSERT INTO gis.visits (tag, visited_on) VALUES ('T1', '2026-01-05');
INSERT INTO gis.targets (kind, name, geometry) VALUES ('parking', 'Lot', 'SRID=4326;POLYGON((25.28 54.68,25.281 54.68,25.281 54.681,25.28 54.68))');
INSERT INTO gis.counts (target_id, counted_at, people) VALUES (1, '2026-03-02 08:00', 12);
`

// What a desktop GIS looks for: in each view one geometry with its type and
// system, and a whole number that tells rows apart.
func TestViewsHaveWhatADesktopGISLooksFor(t *testing.T) {
	url := pgtest.URL(t)
	pgtest.Exec(t, url, little)
	got := pgtest.Query(t, url, `SELECT f_table_name, f_geometry_column, coord_dimension, srid, type FROM geometry_columns WHERE f_table_schema = 'gis' ORDER BY 1`)
	want := []string{"counts|geometry|2|4326|GEOMETRY", "cuts|geometry|2|4326|POINT", "jobs|geometry|2|4326|POINT", "sites|geometry|2|4326|MULTIPOLYGON", "targets|geometry|2|4326|GEOMETRY", "trees|geometry|2|4326|POINT", "visits|geometry|2|4326|POINT"}
	if !slices.Equal(got, want) {
		t.Errorf("geometry_columns: %v", got)
	}
	keys := pgtest.Query(t, url, `SELECT table_name, column_name, data_type FROM information_schema.columns WHERE table_schema = 'gis' AND ordinal_position = 1 ORDER BY 1`)
	want = []string{"counts|count_id|bigint", "cuts|cut_id|bigint", "jobs|job_id|bigint", "sites|site_id|bigint", "targets|target_id|bigint", "trees|tree_id|bigint", "visits|visit_id|bigint"}
	if !slices.Equal(keys, want) {
		t.Errorf("first columns: %v", keys)
	}
	// Null for the key and for what is not filled in, and the new key returned.
	made := pgtest.Query(t, url, `INSERT INTO gis.trees (tree_id, site, tag, species, status, dbh_cm, crown_surveyed, over, version, changed_at, geometry)
		VALUES (NULL, NULL, 'T3', NULL, NULL, NULL, NULL, NULL, NULL, NULL, st_geomfromwkb('\x0101000000000000000048394067666666665a4b40'::bytea, 4326)) RETURNING tree_id, site, status, version, crown_surveyed`)
	if !slices.Equal(made, []string{"3|Low Quarter|alive|1|f"}) {
		t.Error(made)
	}
	// A figure is turned to and fro without noise, and an edit that changes nothing
	// is none.
	if got := pgtest.Query(t, url, `SELECT t.dbh_m, g.dbh_cm FROM trees t JOIN gis.trees g USING (tree_id) WHERE t.tree_id = 1`); !slices.Equal(got, []string{"0.453|45.3"}) {
		t.Error(got)
	}
	if got := pgtest.Query(t, url, `UPDATE gis.trees SET dbh_cm = 45.3, tree_id = 1, version = 1, site = 'Low Quarter' WHERE tree_id = 1 RETURNING version`); !slices.Equal(got, []string{"1"}) {
		t.Error(got)
	}
}

func TestViewsRefuseInPlainWords(t *testing.T) {
	url := pgtest.URL(t)
	pgtest.Exec(t, url, little)
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	marks := func() string {
		return strings.Join(pgtest.Query(t, url, `SELECT (SELECT count(*) FROM history), (SELECT count(*) FROM touched), (SELECT sum(version) FROM trees)`), "")
	}
	before := marks()
	for _, c := range []struct{ sql, says string }{
		{`UPDATE gis.trees SET version = 9 WHERE tree_id = 1`, `tree 1 (T1): version is not edited here: leave it at 1`},
		{`UPDATE gis.trees SET tree_id = 9 WHERE tree_id = 1`, `tree 1 (T1): tree_id is not edited here: leave it at 1`},
		{`UPDATE gis.trees SET rating = 'low' WHERE tree_id = 1`, `tree 1 (T1): rating is not edited here: leave it at nothing`},
		{`INSERT INTO gis.trees (over, geometry) VALUES ('road', 'SRID=4326;POINT(25 54)')`, `new tree: over is not edited here: leave it empty`},
		{`UPDATE gis.trees SET dbh_cm = 4530 WHERE tree_id = 1`, `tree 1 (T1): dbh_cm is 4530: expected above 0 and below 1500`},
		{`UPDATE gis.trees SET dbh_cm = 'NaN' WHERE tree_id = 1`, `tree 1 (T1): dbh_cm is NaN: expected above 0 and below 1500`},
		{`UPDATE gis.trees SET lean_bearing_deg = 360 WHERE tree_id = 1`, `tree 1 (T1): lean_bearing_deg is 360: expected at least 0 and below 360`},
		{`UPDATE gis.trees SET crown_north_m = 50 WHERE tree_id = 1`, `tree 1 (T1): crown_north_m is 50: expected at least 0 and below 50`},
		{`UPDATE gis.trees SET crown_west_m = -1 WHERE tree_id = 1`, `tree 1 (T1): crown_west_m is -1: expected at least 0 and below 50`},
		{`UPDATE gis.trees SET status = 'gone' WHERE tree_id = 1`, `tree 1 (T1): status is gone: expected one of alive, dead, stump, removed, vacant`},
		{`UPDATE gis.trees SET status = NULL WHERE tree_id = 1`, `tree 1 (T1): status is empty: expected one of alive, dead, stump, removed, vacant`},
		{`UPDATE gis.trees SET site = 'North' WHERE tree_id = 1`, `tree 1 (T1): site is North, and there is no such site: there is Low Quarter`},
		{`UPDATE gis.trees SET geometry = NULL WHERE tree_id = 1`, `tree 1 (T1): geometry is empty: draw it`},
		{`UPDATE gis.trees SET geometry = 'SRID=4326;POINT(54 125)' WHERE tree_id = 1`, `tree 1 (T1): geometry reaches from 54 125 to 54 125: expected degrees, longitude from -180 to 180 first, latitude from -90 to 90 second`},
		{`UPDATE gis.trees SET extra = '[1]' WHERE tree_id = 1`, `tree 1 (T1): extra is a JSON array: expected an object`},
		{`INSERT INTO gis.cuts (kind, tag) VALUES ('topping', 'T9')`, `new cut (T9): tag is T9, and no tree has it`},
		{`INSERT INTO gis.cuts (kind, tag, site) VALUES ('topping', 'T9', 'Low Quarter')`, `new cut (T9): tag is T9, and no tree of Low Quarter has it`},
		{`INSERT INTO gis.cuts (kind, tree_id) VALUES ('topping', 99)`, `new cut (tree 99): tree_id is 99, and there is no such tree`},
		{`INSERT INTO gis.cuts (kind, tree_id, tag) VALUES ('topping', 1, 'T2')`, `new cut (tree 1): tag is T2, and tree 1 has the tag T1: give one of the two`},
		{`INSERT INTO gis.cuts (kind) VALUES ('topping')`, `new cut: tree_id is empty, and so is tag: say which tree it is of`},
		{`INSERT INTO gis.cuts (kind, geometry) VALUES ('topping', 'SRID=4326;POINT(25 54)')`, `new cut: geometry is at no tree: snap it to a tree's point, or give tree_id or tag`},
		{`INSERT INTO gis.cuts (tree_id) VALUES (1)`, `new cut (tree 1): kind is empty: expected one of removal, reduction, heading, topping, lion-tailing, flush, stub`},
		{`INSERT INTO gis.cuts (tree_id, kind, diameter_cm, lateral_diameter_cm) VALUES (1, 'reduction', 5, 20)`, `new cut (tree 1): lateral_diameter_cm is 20, more than twice the diameter of the cut, 5: check which is which`},
		{`INSERT INTO gis.cuts (tree_id, kind, made_year) VALUES (1, 'stub', 2199)`, `new cut (tree 1): made_year is 2199, which is yet to come`},
		{`UPDATE gis.cuts SET tag = 'T2'`, `cut 1 (tree 1): tag is not edited here: leave it at T1`},
		{`UPDATE gis.cuts SET geometry = 'SRID=4326;POINT(25 54)'`, `cut 1 (tree 1): geometry is that of its tree: move the tree, or give another tree_id`},
		{`UPDATE gis.cuts SET given_kind = 'stub'`, `cut 1 (tree 1): given_kind is not edited here: leave it at nothing`},
		{`UPDATE gis.visits SET limb = 'sure'`, `visit 1 (tree 1): limb is sure: expected one of improbable, possible, probable, imminent`},
		{`UPDATE gis.visits SET next_visit_on = '2025-01-01'`, `visit 1 (tree 1): next_visit_on is 2025-01-01, before the visit itself on 2026-01-05`},
		{`UPDATE gis.visits SET stem_diameter_cm = 30, decay_diameter_cm = 40`, `visit 1 (tree 1): decay_diameter_cm is 40, wider than the stem, 30: check which is which`},
		{`INSERT INTO gis.visits (tag) VALUES ('T1')`, `new visit (T1): visited_on is empty: expected a day such as 2024-03-31`},
		{`UPDATE gis.targets SET geometry = 'SRID=4326;POLYGON((0 0,1 1,1 0,0 1,0 0))'`, `target 1 (Lot): geometry is no valid shape: Self-intersection[0.5 0.5]`},
		{`INSERT INTO gis.targets (geometry) VALUES ('SRID=4326;POINT(25 54)')`, `new target: kind is empty: expected one of parking, walkway, road, building, playground, seating, transit_stop, plaza, utility_line, other`},
		{`UPDATE gis.counts SET counted_at = '2026-03-02 08:30'`, `count 1 (Lot): counted_at is 2026-03-02T08:30:00: expected the begin of a whole hour, such as 2026-03-02T08:00`},
		{`INSERT INTO gis.counts (target_id, counted_at, people) VALUES (1, '2026-03-02 08:00', 1)`, `new count: counted_at is 2026-03-02T08:00, and target 1 has a count of that hour already: change that one`},
		{`INSERT INTO gis.counts (target_id, counted_at, people) VALUES (9, '2026-03-02 08:00', 1)`, `new count: target_id is 9, and there is no such target`},
		{`UPDATE gis.counts SET people = NULL`, `count 1 (Lot): people is empty, and so is vehicles: give one of the two at least`},
		{`UPDATE gis.sites SET name = ' '`, `site 1 (Low Quarter): name must have a letter or figure, no space at either end, no line break, and 200 bytes at most`},
		{`UPDATE gis.sites SET time_zone = 'Moon'`, `site 1 (Low Quarter): time_zone is Moon: expected an IANA name such as Europe/Vilnius`},
		{`DELETE FROM gis.sites`, `site 1 (Low Quarter): is not empty: it has 2 trees, 1 targets`},
		{`SET underbough.client = 'other'; SELECT * FROM gis.trees`, `there is no client other: SET underbough.client to one of default`},
	} {
		_, err := conn.Exec(t.Context(), c.sql)
		if err == nil {
			t.Errorf("%s: nothing was refused", c.sql)
			continue
		}
		if said, _, _ := strings.Cut(strings.TrimPrefix(err.Error(), "ERROR: "), " (SQLSTATE"); said != c.says {
			t.Errorf("%s:\n%s, expected\n%s", c.sql, said, c.says)
		}
	}
	if after := marks(); after != before {
		t.Errorf("what was refused left its marks: %s, %s before", after, before)
	}
}

// A role that may use the views, and nothing else, can do its work with them; the
// history names it.
func TestViewsForARoleOfTheirOwn(t *testing.T) {
	url := pgtest.URL(t)
	role := "gis_" + strings.ToLower(strings.NewReplacer("-", "", "_", "").Replace(filepath.Base(t.TempDir()))) + fmt.Sprint(os.Getpid())
	pgtest.Exec(t, url, little)
	pgtest.Exec(t, url, `CREATE ROLE `+role+` LOGIN; GRANT USAGE ON SCHEMA gis TO `+role+`; GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA gis TO `+role)
	t.Cleanup(func() { pgtest.Exec(t, url, `DROP OWNED BY `+role+`; DROP ROLE `+role) })
	got := pgtest.Query(t, url, `SET SESSION AUTHORIZATION `+role+`;
		CREATE TEMP TABLE trees (client_id integer, tree_id bigint);
		SET underbough.actor = 'somebody else';
		INSERT INTO gis.cuts (tag, kind) VALUES ('T2', 'stub');
		UPDATE gis.trees SET height_m = 12 WHERE tree_id = 2;
		DELETE FROM gis.visits;
		SELECT tree_id, height_m, version, changed_by FROM gis.trees WHERE tree_id = 2`)
	if !slices.Equal(got, []string{"2|12|2|" + role}) {
		t.Error(got)
	}
	if got := pgtest.Query(t, url, `SELECT collection, feature_id, change, actor FROM history ORDER BY history_id`); !slices.Equal(got, []string{"trees|2|update|" + role, "visits|1|delete|" + role}) {
		t.Error(got)
	}
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(t.Context())
	if _, err := conn.Exec(t.Context(), `SET SESSION AUTHORIZATION `+role+`; DELETE FROM public.trees`); err == nil {
		t.Error("the role may write to the tables")
	}
}

// The client of a session sees and changes its own rows only.
func TestViewsOfAClient(t *testing.T) {
	url := pgtest.URL(t)
	pgtest.Exec(t, url, little)
	pgtest.Exec(t, url, `INSERT INTO clients (name) VALUES ('other')`)
	pgtest.Exec(t, url, `SET underbough.client = 'other'; INSERT INTO gis.sites (name) VALUES ('Theirs'); INSERT INTO gis.trees (tag, geometry) VALUES ('X', 'SRID=4326;POINT(1 1)');
		UPDATE gis.trees SET species = 'Acer rubrum'; DELETE FROM gis.trees WHERE tag = 'T1'`)
	got := pgtest.Query(t, url, `SELECT client_id, tag, species FROM trees ORDER BY tree_id`)
	if !slices.Equal(got, []string{"1|T1|∅", "1|T2|∅", "2|X|Acer rubrum"}) {
		t.Error(got)
	}
}

// ogr2ogr appends through the views, and reads them back; GDAL is the judge of
// whether they are layers.
func TestViewsByOGR(t *testing.T) {
	url := pgtest.URL(t)
	pgtest.Exec(t, url, little)
	db, err := postgres.Open(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	site, err := db.GetSite(t.Context(), 1, "")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Recompute(t.Context(), site, profile.Default(), day); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "new.geojson")
	var features []string
	for i := range 25 {
		features = append(features, fmt.Sprintf(`{"type":"Feature","properties":{"tag":"N%d","species":"Tilia cordata","dbh_cm":%d.5,"height_m":12},"geometry":{"type":"Point","coordinates":[%v,54.6805]}}`, i, 20+i, 25.28+float64(i)*1e-5))
	}
	if err := os.WriteFile(file, []byte(`{"type":"FeatureCollection","features":[`+strings.Join(features, ",")+`]}`), 0o644); err != nil {
		t.Fatal(err)
	}
	run := func(name string, args ...string) string {
		t.Helper()
		out, err := exec.CommandContext(t.Context(), name, args...).CombinedOutput()
		if err != nil || strings.Contains(string(out), "ERROR") {
			t.Fatalf("%s: %v\n%s", name, err, out)
		}
		return string(out)
	}
	config, err := pgx.ParseConfig(url)
	if err != nil {
		t.Fatal(err)
	}
	pg := fmt.Sprintf("PG:host=%s port=%d user=%s dbname=%s schemas=gis", config.Host, config.Port, config.User, config.Database)
	for _, copied := range []string{"NO", "YES"} {
		run("ogr2ogr", "-update", "-append", "-f", "PostgreSQL", "--config", "PG_USE_COPY", copied, pg, file, "-nln", "trees")
	}
	if got := pgtest.Query(t, url, `SELECT count(*), sum(dbh_m), min(changed_by) = session_user FROM trees WHERE tag LIKE 'N%'`); !strings.HasPrefix(got[0], "50|16.25") || !strings.HasSuffix(got[0], "|t") {
		t.Error(got)
	}
	run("ogrinfo", "-q", pg, "-sql", `UPDATE gis.trees SET height_m = 14 WHERE tag LIKE 'N%'`)
	if got := pgtest.Query(t, url, `SELECT count(*) FROM history WHERE collection = 'trees' AND (before->>'height_m')::float8 = 12`); !slices.Equal(got, []string{"50"}) {
		t.Error(got)
	}
	if _, done, err := db.CatchUp(t.Context(), site, profile.Default(), day); err != nil || !done {
		t.Fatal(done, err)
	}
	caught, _ := digest(t, db)
	if _, err := db.Recompute(t.Context(), site, profile.Default(), day); err != nil {
		t.Fatal(err)
	}
	if full, n := digest(t, db); full != caught || n != 52 {
		t.Errorf("exposures after the edits differ from those of a full run of %d trees", n)
	}
	out := filepath.Join(dir, "out.geojson")
	run("ogr2ogr", "-f", "GeoJSON", out, pg, "trees", "-where", "tag = 'N3'")
	b, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	var read struct {
		Features []struct {
			Properties map[string]any
			Geometry   struct{ Coordinates []float64 }
		}
	}
	if err := json.Unmarshal(b, &read); err != nil || len(read.Features) != 2 {
		t.Fatalf("%v in %s", err, b)
	}
	f := read.Features[0]
	if f.Properties["dbh_cm"] != 23.5 || f.Properties["site"] != "Low Quarter" || f.Properties["rating"] == nil || f.Geometry.Coordinates[0] != 25.28003 {
		t.Errorf("read back: %+v", f)
	}
	// What is refused is said, and nothing of it stays.
	if err := os.WriteFile(file, []byte(strings.Replace(string(must(os.ReadFile(file))), `"height_m":12`, `"height_m":1200`, 1)), 0o644); err != nil {
		t.Fatal(err)
	}
	said, _ := exec.CommandContext(t.Context(), "ogr2ogr", "-update", "-append", "-f", "PostgreSQL", pg, file, "-nln", "trees").CombinedOutput()
	if !strings.Contains(string(said), "height_m is 1200: expected above 0 and below 130") {
		t.Errorf("ogr2ogr says: %s", said)
	}
	if got := pgtest.Query(t, url, `SELECT count(*) FROM trees`); !slices.Equal(got, []string{"52"}) {
		t.Error(got)
	}
}

func must(b []byte, err error) []byte {
	if err != nil {
		panic(err)
	}
	return b
}
