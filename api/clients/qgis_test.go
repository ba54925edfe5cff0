//go:build clients

package clients_test

import (
	"fmt"
	"math"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// qgis runs a script with the Python of Debian's QGIS, and returns what it wrote.
func qgis[T any](t *testing.T, script string, args ...string) T {
	t.Helper()
	need(t, "xvfb-run")
	if _, err := os.Stat("/usr/lib/python3/dist-packages/qgis/core"); err != nil {
		t.Fatal("there is no python3-qgis: " + hint)
	}
	home, output := filepath.Join(t.TempDir(), "home"), filepath.Join(t.TempDir(), "found.json")
	if err := os.Mkdir(home, 0o700); err != nil {
		t.Fatal(err)
	}
	for i, a := range args {
		if a == "OUTPUT" {
			args[i] = output
		}
	}
	cmd := exec.CommandContext(t.Context(), "xvfb-run", append([]string{"-a", "/usr/bin/python3", filepath.Join("testdata", script)}, args...)...)
	// Settings and caches of the one who runs the tests are left alone.
	cmd.Env = append(os.Environ(), "HOME="+home, "XDG_RUNTIME_DIR="+home, "QGIS_CUSTOM_CONFIG_PATH="+home, "PYTHONDONTWRITEBYTECODE=1")
	said, err := cmd.CombinedOutput()
	text, missing := os.ReadFile(output)
	if err != nil || missing != nil {
		t.Fatalf("%s: %v %v\n%s", script, err, missing, said)
	}
	if len(said) > 0 {
		t.Logf("%s says: %.2000s", script, said)
	}
	return parse[T](t, text)
}

// seen is what QGIS has of the service.
type seen struct {
	Valid          bool
	Error          string
	CRS            string
	Type           string
	Fields         map[string]string
	Extent         []float64
	Count          int
	Trees          [][]any
	Box            [][]any
	Expression     [][]any
	SubsetAccepted bool `json:"subset accepted"`
	Subset         [][]any
	Date           int
	People         map[string]float64
	Targets        [][]any
	TilesValid     bool `json:"tiles valid"`
	Errors         []string
	Picture        bool
	Visible        []float64
}

// TestQGISReads opens the service in QGIS by OGC API - Features and as vector
// tiles.
func TestQGISReads(t *testing.T) {
	s := serve(t)
	file := filepath.Join(t.ArtifactDir(), "qgis-tiles.png")
	got := qgis[seen](t, "qgis_read.py", s.url, "OUTPUT", file)
	if !got.Valid || got.CRS != "EPSG:4326" || got.Type != "Point" {
		t.Fatalf("the layer: valid %v %s, %s, %s", got.Valid, got.Error, got.CRS, got.Type)
	}
	if want := s.one(t, "SELECT count(*) FROM trees"); fmt.Sprint(got.Count) != want {
		t.Errorf("QGIS counts %d trees, expected %s", got.Count, want)
	}
	for i, want := range numbers(t, strings.Split(s.one(t, "SELECT ST_XMin(e), ST_YMin(e), ST_XMax(e), ST_YMax(e) FROM (SELECT ST_Extent(geometry) e FROM trees) x"), "|")...) {
		if math.Abs(got.Extent[i]-want) > 1e-6 {
			t.Errorf("extent %v, expected %v in place %d", got.Extent, want, i)
		}
	}
	of := func(where string) []string {
		return s.sql(t, `SELECT to_char(ST_X(geometry), 'FM990.0000000'), to_char(ST_Y(geometry), 'FM990.0000000'), tag, species, planted_year FROM gis.trees WHERE `+where)
	}
	same(t, "trees", lines(got.Trees), of("true"))
	same(t, "trees in a rectangle", lines(got.Box), of("geometry && ST_MakeEnvelope(25.2850, 54.6820, 25.2901, 54.6851, 4326)"))
	same(t, "trees by an expression", lines(got.Expression), of("species = 'Acer platanoides' AND planted_year < 1980"))
	// Columns of figures are not cut to whole ones, though the first trees have none
	// but zeros.
	var people []string
	for tag, n := range got.People {
		people = append(people, fmt.Sprintf("%s|%.6f", tag, n))
	}
	same(t, "people", people, s.sql(t, `SELECT tag, to_char(people, 'FM999990.000000') FROM gis.trees WHERE people >= 0.0000005 AND geometry && ST_MakeEnvelope(25.2860, 54.6830, 25.2891, 54.6841, 4326)`))
	if !got.SubsetAccepted {
		t.Error("QGIS refuses a filter of the layer")
	}
	same(t, "visits of a filtered layer", lines(got.Subset), s.sql(t, `SELECT to_char(ST_X(geometry), 'FM990.0000000'), to_char(ST_Y(geometry), 'FM990.0000000'), tag FROM gis.visits WHERE visited_on >= '2024-06-01' AND tree_id < 30000`))
	if want := s.one(t, "SELECT count(*) FROM visits WHERE visited_on >= '2024-06-01'"); fmt.Sprint(got.Date) != want {
		t.Errorf("%d visits from a day on, expected %s", got.Date, want)
	}
	for _, f := range []struct{ name, kind string }{{"dbh_cm", "Real"}, {"people", "Real"}, {"harm_index", "Real"}, {"planted_year", "Integer"}, {"brittle", "Boolean"}, {"next_visit", "Date"}, {"species", "String"}} {
		if got.Fields[f.name] != f.kind {
			t.Errorf("%s is a column of %s in QGIS, expected %s", f.name, got.Fields[f.name], f.kind)
		}
	}
	same(t, "targets", lines(got.Targets), s.sql(t, "SELECT name, substr(ST_GeometryType(geometry), 4), ST_NumGeometries(geometry) FROM targets"))

	if !got.TilesValid || !got.Picture || len(got.Errors) > 0 {
		t.Fatalf("vector tiles: valid %v, drawn %v, %v", got.TilesValid, got.Picture, got.Errors)
	}
	p := picture(t, file)
	magenta := rgb{255, 0, 255}
	scale := float64(p.Bounds().Dx()) / (got.Visible[2] - got.Visible[0])
	for _, row := range s.sql(t, "SELECT ST_X(p), ST_Y(p) FROM (SELECT ST_Transform(geometry, 3857) p FROM trees WHERE tree_id % 333 = 0) t") {
		at := numbers(t, strings.Split(row, "|")...)
		x, y := int((at[0]-got.Visible[0])*scale), int((got.Visible[3]-at[1])*scale)
		if !p.has(x, y, 2, magenta) {
			t.Errorf("QGIS draws no tree at %d %d", x, y)
		}
	}
	if p.has(10, 10, 5, magenta) || p.count(magenta) < 20_000 {
		t.Errorf("%d pixels have the colour of trees", p.count(magenta))
	}
}

// lines writes rows as the database's are, ∅ for null.
func lines(rows [][]any) (out []string) {
	for _, r := range rows {
		var cells []string
		for _, v := range r {
			if v == nil {
				v = "∅"
			}
			cells = append(cells, fmt.Sprint(v))
		}
		out = append(out, strings.Join(cells, "|"))
	}
	return out
}

// edited is what QGIS has of the view, and of its edits.
type edited struct {
	URI, Error, CRS, Refusal                  string
	Valid, Added, Deleted, Committed, Refused bool
	Count, Read                               int
	CountAfter                                int `json:"count after"`
	Dead                                      []int
	Says                                      []string
	After                                     map[string][]float64
}

// TestQGISEdits edits the inventory in QGIS through the view of the database, as a
// role that may do no more than that.
func TestQGISEdits(t *testing.T) {
	s := serve(t)
	at, err := url.Parse(s.db)
	if err != nil {
		t.Fatal(err)
	}
	host, port := at.Hostname(), at.Port()
	if q := at.Query(); host == "" { // a Unix socket
		host, port = q.Get("host"), q.Get("port")
	}
	role := "qgis_" + strings.TrimPrefix(at.Path, "/")
	s.sql(t, `CREATE ROLE `+role+` LOGIN; GRANT USAGE ON SCHEMA gis TO `+role+`; GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA gis TO `+role)
	t.Cleanup(func() { s.sql(t, `DROP OWNED BY `+role+`; DROP ROLE `+role) })

	const changed, moved, deleted = 30003, 59553, 300
	before := s.one(t, "SELECT over, people FROM gis.trees WHERE tree_id = "+fmt.Sprint(moved))
	got := qgis[edited](t, "qgis_edit.py", host, port, strings.TrimPrefix(at.Path, "/"), role, fmt.Sprint(changed), fmt.Sprint(moved), fmt.Sprint(deleted), "OUTPUT")
	t.Logf("the layer: %s", got.URI)
	if !got.Valid || got.CRS != "EPSG:4326" || got.Count != 20_000 || got.Read != 20_000 {
		t.Fatalf("the layer: valid %v %s, %s, %d trees, %d read", got.Valid, got.Error, got.CRS, got.Count, got.Read)
	}
	var dead []string
	for _, id := range got.Dead {
		dead = append(dead, fmt.Sprint(id))
	}
	same(t, "trees by an expression", dead, s.sql(t, "SELECT tree_id FROM trees WHERE status = 'dead' AND planted_year < 1990"))
	if !got.Added || !got.Deleted || !got.Committed {
		t.Fatalf("edits: added %v, deleted %v, committed %v: %v", got.Added, got.Deleted, got.Committed, got.Says)
	}
	if !got.Refused || !strings.Contains(got.Refusal, "height_m is 2150: expected above 0 and below 130") {
		t.Errorf("QGIS says of what is refused: %v %s", got.Refused, got.Refusal)
	}
	if got.CountAfter != 20_000 || len(got.After) != 2 || len(got.After["NEW1"]) != 3 || got.After["NEW1"][2] != 33.5 || got.After["B10001"][1] != 21.5 {
		t.Errorf("QGIS reads back %d trees, %v", got.CountAfter, got.After)
	}

	// The database has it, and the history says who.
	same(t, "trees", s.sql(t, `SELECT tree_id, tag, height_m, common_name, version, changed_by FROM trees WHERE tree_id IN (30003, 59553, 300) OR tag = 'NEW1'`), []string{
		"30003|B10001|21.5|maple, Norway – ž|2|" + role, "59553|B19851|11|∅|2|" + role, "90001|NEW1|14|∅|1|" + role})
	same(t, "history", s.sql(t, `SELECT collection, feature_id, change, actor FROM history`), []string{
		"trees|30003|update|" + role, "trees|59553|update|" + role, "trees|300|delete|" + role, "visits|20|delete|" + role})
	if place := s.one(t, "SELECT ST_X(geometry), ST_Y(geometry) FROM trees WHERE tree_id = 59553"); place != "25.2809|54.6805" {
		t.Errorf("the tree was moved to %s", place)
	}

	// So have the exposures: what was moved and what is new stands over the lot.
	if before != "|0" {
		t.Fatalf("before the move the tree stands over %s", before)
	}
	s.catchUp(t)
	same(t, "exposures", s.sql(t, "SELECT tag, over, people > 0, harm_index > 0 FROM gis.trees WHERE tree_id = 59553 OR tag = 'NEW1'"), []string{"B19851|parking|t|t", "NEW1|parking|t|t"})
	same(t, "trees with exposures", s.sql(t, "SELECT tree_id FROM exposures WHERE generation = (SELECT generation FROM sites) AND tree_id IN (300, 30003, 59553, 90001)"), []string{"30003", "59553", "90001"})
	if n := s.one(t, "SELECT count(*) FROM touched"); n != "0" {
		t.Errorf("%s marks of what was edited are left", n)
	}
}
