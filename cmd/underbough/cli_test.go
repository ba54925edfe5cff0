package main

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/mattn/go-runewidth"

	"github.com/underbough/underbough/inventory/postgres/pgtest"
	"github.com/underbough/underbough/inventory/question"
)

// An invented street: three topped trees on a parking lot, one beside it, one
// record at fault.
const (
	street = `{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"tag":"T1","species":"Acer platanoides","dbh_cm":60,"height_m":18,"crown_radius_m":5,"cuts":[{"kind":"topping","made_year":2012,"diameter_cm":20,"count":4}]},"geometry":{"type":"Point","coordinates":[8.50010,47.20010]}},
{"type":"Feature","properties":{"tag":"T2","species":"Tilia cordata","dbh_cm":40,"height_m":14,"crown_radius_m":4,"topped_year":2016},"geometry":{"type":"Point","coordinates":[8.50030,47.20010]}},
{"type":"Feature","properties":{"tag":"T3","species":"Aesculus hippocastanum","dbh_cm":80,"height_m":20,"crown_radius_m":7,"topped_year":2005},"geometry":{"type":"Point","coordinates":[8.50020,47.20020]}},
{"type":"Feature","properties":{"tag":"T4","species":"Fagus sylvatica","dbh_cm":50,"height_m":20,"crown_radius_m":5,"topped_year":2005},"geometry":{"type":"Point","coordinates":[8.52,47.20010]}},
{"type":"Feature","properties":{"tag":"T5","species":"Betula pendula","dbh_cm":30,"height_m":15,"crown_radius_m":3},"geometry":{"type":"Point","coordinates":[8.50015,47.20015]}},
{"type":"Feature","properties":{"tag":"T6"},"geometry":null}
]}`
	lot = `{"type":"FeatureCollection","features":[{"type":"Feature","id":1,"properties":{"name":"Market lot","stalls":40},"geometry":{"type":"Polygon","coordinates":[[[8.5,47.2],[8.5005,47.2],[8.5005,47.2003],[8.5,47.2003],[8.5,47.2]]]}}]}`
)

func load(s shell) {
	s.t.Helper()
	s.write("trees.geojson", street)
	s.write("lots.geojson", lot)
	s.ok("import", "trees.geojson", "--site", "Birch Street", "--as", "trees")
	s.ok("import", "lots.geojson", "--site", "Birch Street", "--as", "targets", "--kind", "parking")
}

// As a user would, from nothing, on a private cluster that each command starts
// and stops.
func TestFromFileToAnswer(t *testing.T) {
	s := private(t)
	load(s)
	table := s.ok("rank", "--over", "parking,walkway", "--cut", "topping", "--day", "2026-06-01")
	if !strings.Contains(table, "Birch Street") || strings.Count(table, "Market")+strings.Count(table, "parking") == 0 || strings.Contains(table, "T4") || strings.Contains(table, "T5") {
		t.Errorf("table:\n%s", table)
	}
	var rows struct {
		Total int
		Rows  []struct {
			Rank int
			Tag  string
		}
	}
	fromJSON(t, s.ok("rank", "--over", "parking", "--cut", "topping", "--format", "json"), &rows)
	var tags []string
	for i, r := range rows.Rows {
		tags = append(tags, r.Tag)
		if r.Rank != i+1 {
			t.Errorf("rank %d at place %d", r.Rank, i+1)
		}
	}
	if sorted := slices.Sorted(slices.Values(tags)); rows.Total != 3 || !slices.Equal(sorted, []string{"T1", "T2", "T3"}) {
		t.Errorf("%+v", rows)
	}
	explained := s.ok("explain", "T1")
	for _, want := range []string{"Acer platanoides", "topped 2012", "Market lot", "harm index"} {
		if !strings.Contains(explained, want) {
			t.Errorf("explain lacks %q:\n%s", want, explained)
		}
	}
	if held := s.ok("quarantine"); !strings.Contains(held, "trees.geojson") || !strings.Contains(held, "geometry") || !strings.Contains(held, "1 held") {
		t.Errorf("quarantine:\n%s", held)
	}
}

func fromJSON(t testing.TB, text string, into any) {
	t.Helper()
	if err := json.Unmarshal([]byte(text), into); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
}

func TestRankFormats(t *testing.T) {
	s := onDatabase(t)
	load(s)
	var c struct {
		Type     string
		Features []struct {
			Type       string
			Properties map[string]any
			Geometry   struct {
				Type        string
				Coordinates []float64
			}
		}
	}
	args := []string{"rank", "--site", "Birch Street", "--cut", "topping", "--over", "parking", "--format"}
	fromJSON(t, s.ok(append(args, "geojson")...), &c)
	if c.Type != "FeatureCollection" || len(c.Features) != 3 || c.Features[0].Geometry.Type != "Point" || c.Features[0].Geometry.Coordinates[0] < 8.5 {
		t.Errorf("%+v", c)
	}
	rows, err := csv.NewReader(strings.NewReader(s.ok(append(args, "csv")...))).ReadAll()
	if err != nil || len(rows) != 4 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	tag := slices.Index(rows[0], "tag")
	for i, row := range rows[1:] {
		if rows[0][len(row)-1] != "caution" || row[len(row)-1] != question.Caution {
			t.Errorf("place %d ends in %q", i+1, row[len(row)-1])
		}
		if row[tag] != c.Features[i].Properties["tag"] {
			t.Errorf("place %d: %s in CSV, %s in GeoJSON", i+1, row[tag], c.Features[i].Properties["tag"])
		}
	}
	if none := s.ok("rank", "--cut", "flush"); !strings.Contains(none, "No tree answers") {
		t.Errorf("none: %s", none)
	}
}

func TestImportJSON(t *testing.T) {
	s := onDatabase(t)
	s.write("trees.geojson", street)
	add := []string{"import", "trees.geojson", "--site", "x", "--as", "trees", "--format", "json"}
	for i, want := range []map[string]float64{
		{"read": 6, "added": 5, "updated": 0, "unchanged": 0, "left_out": 0, "quarantined": 1, "cuts_added": 4, "cuts_updated": 0, "cuts_unchanged": 0, "repaired": 0},
		{"read": 6, "added": 0, "updated": 0, "unchanged": 5, "left_out": 0, "quarantined": 1, "cuts_added": 0, "cuts_updated": 0, "cuts_unchanged": 4, "repaired": 0},
		{"read": 6, "added": 0, "updated": 0, "unchanged": 1, "left_out": 5, "quarantined": 0, "cuts_added": 0, "cuts_updated": 0, "cuts_unchanged": 1, "repaired": 0},
	} {
		if i == 2 {
			add = append(add, "--where", "tag=T2", "--dry-run")
		}
		a := s.run(add...)
		var got map[string]any
		fromJSON(t, a.stdout, &got)
		if keys := slices.Sorted(maps.Keys(got)); !slices.Equal(keys, []string{"added", "as", "broken", "cuts_added", "cuts_unchanged", "cuts_updated", "dry_run", "file", "left_out", "quarantined", "read", "repaired", "seconds", "site", "unchanged", "updated"}) {
			t.Errorf("keys: %q", keys)
		}
		for name, n := range want {
			if got[name] != n {
				t.Errorf("run %d: %s is %v, want %v", i, name, got[name], n)
			}
		}
		if got["file"] != "trees.geojson" || got["as"] != "trees" || got["site"] != "x" || got["dry_run"] != (i == 2) {
			t.Errorf("%s", a.stdout)
		}
		if !strings.Contains(a.stderr, "dbh from dbh_cm, unit cm (guessed)") {
			t.Errorf("the guesses are not shown: %s", a.stderr)
		}
	}
}

func TestMisspeltColumn(t *testing.T) {
	s := onDatabase(t)
	s.write("trees.geojson", street)
	if a := s.run("import", "trees.geojson", "--site", "x", "--as", "trees", "--map", "species=Speices"); a.status != 0 || !strings.Contains(a.stderr, `species is to come from "Speices", which no record looked at has`) {
		t.Errorf("%+v", a)
	}
}

func TestErrors(t *testing.T) {
	s := onDatabase(t)
	load(s)
	s.write("profile.yaml", "name: mine\nversion: 1\nweights:\n  nonsense: 3\n")
	s.write("map.yaml", "dbh:\n  from: D\n  units: in\n")
	s.write("page.html", "<html></html>")
	s.write("empty.jsonl", "")
	for _, c := range []struct {
		args   string
		status int
		want   []string
	}{
		{"import none.geojson --site x --as trees", 2, []string{"none.geojson", "no such file"}},
		{"import . --site x --as trees", 2, []string{"is a folder"}},
		{"import page.html --site x --as trees", 2, []string{"page.html", "HTML"}},
		{"import trees.geojson --site x --as bushes", 2, []string{"bushes", "trees"}},
		{"import trees.geojson --as trees", 2, []string{"--site"}},
		{"import lots.geojson --site x --as targets --kind parkng", 2, []string{"parkng", "parking"}},
		{"import trees.geojson --site x --as trees --map dbh=dbh_cm:ell", 2, []string{"dbh"}},
		{"import trees.geojson --site x --as trees --map girth=dbh_cm", 2, []string{"girth"}},
		{"import trees.geojson --site x --as trees --mapping map.yaml", 2, []string{"map.yaml", "3:", "units"}},
		{"import trees.geojson --site x --as trees --where tag", 2, []string{"--where tag"}},
		{"import lots.geojson --site x --as targets --set kind", 2, []string{"--set kind"}},
		{"import trees.geojson --site x --as trees --time-zone Nowhere/Atall", 2, []string{"Nowhere/Atall"}},
		{"rank --site Nowhere", 2, []string{"Nowhere"}},
		{"rank --over parkng", 2, []string{"parkng", "parking"}},
		{"rank --cut hat-racking", 2, []string{"hat-racking", "topping"}},
		{"rank --day 1.6.2026", 2, []string{"--day 1.6.2026", "2026-03-31"}},
		{"rank --profile profile.yaml", 2, []string{"profile.yaml", "4:", "nonsense"}},
		{"rank --profile none.yaml", 2, []string{"none.yaml"}},
		{"rank --format xml", 2, []string{"xml", "geojson"}},
		{"explain T99", 2, []string{"T99"}},
		{"explain T1 --site Nowhere", 2, []string{"Nowhere"}},
		{"quarantine readmit empty.jsonl", 2, []string{"no held record"}},
		{"quarantine readmit trees.geojson", 2, []string{"trees.geojson", "export"}},
		{"quarantine drop", 2, []string{"id"}},
		{"rank --client nobody", 2, []string{"nobody"}},
		{"frobnicate", 2, []string{"frobnicate", "--help"}},
		{"rank --database postgres://nobody@127.0.0.1:1/none?connect_timeout=2", 1, []string{"cannot be reached"}},
		{"rank --database nonsense://x", 2, []string{"database URL"}},
	} {
		t.Run(c.args, func(t *testing.T) {
			s := s
			s.t = t
			a := s.run(strings.Fields(c.args)...)
			if a.status != c.status || a.stdout != "" {
				t.Errorf("status %d, want %d; output %q", a.status, c.status, a.stdout)
			}
			last := a.stderr[strings.LastIndex(strings.TrimSpace("\n"+a.stderr), "\n")+1:]
			if !strings.Contains(a.stderr, "underbough: ") || strings.Contains(a.stderr, "goroutine ") || strings.Contains(a.stderr, "SQLSTATE") {
				t.Errorf("message: %s", last)
			}
			for _, want := range c.want {
				if !strings.Contains(a.stderr, want) {
					t.Errorf("%q is not in: %s", want, a.stderr)
				}
			}
		})
	}
	if a := s.run("rank", "--site", "Birch Street", "--cut", "topping"); a.status != 0 {
		t.Errorf("after all that: %+v", a)
	}
}

func TestDatabaseFlag(t *testing.T) {
	url := pgtest.URL(t)
	s := shell{t: t, dir: t.TempDir()}
	s.write("trees.geojson", street)
	s.ok("--database", url, "import", "trees.geojson", "--site", "x", "--as", "trees")
	if got := pgtest.Query(t, url, "SELECT count(*) FROM trees"); got[0] != "5" {
		t.Errorf("%s trees", got[0])
	}
	// The flag goes before the variable.
	s.env = []string{"UNDERBOUGH_DATABASE=" + pgtest.URL(t)}
	if a := s.run("rank", "--site", "x"); a.status != 2 {
		t.Errorf("another database: %+v", a)
	}
	s.ok("rank", "--site", "x", "--database", url)
}

func TestQuarantine(t *testing.T) {
	s := onDatabase(t)
	load(s)
	var row map[string]any
	exported := s.ok("quarantine", "export")
	fromJSON(t, exported, &row)
	if row["record"] != 6.0 || row["file"] != "trees.geojson" || row["field"] != "geometry" || row["site"] != "Birch Street" || row["as"] != "trees" ||
		row["row"] != `{"type":"Feature","properties":{"tag":"T6"},"geometry":null}` {
		t.Errorf("exported: %s", exported)
	}
	row["row"] = `{"type":"Feature","properties":{"tag":"T6"},"geometry":{"type":"Point","coordinates":[8.5001,47.2001]}}`
	mended, err := json.Marshal(row)
	if err != nil {
		t.Fatal(err)
	}
	s.write("held.jsonl", exported)
	s.write("mended.jsonl", string(mended))
	if out := s.ok("quarantine", "readmit", "held.jsonl"); !strings.Contains(out, "1 read = 0 added + 0 updated + 0 unchanged + 0 left out + 1 quarantined") {
		t.Errorf("unmended: %s", out)
	}
	if a := s.run("quarantine", "readmit", "mended.jsonl", "--id", "999"); a.status != 2 {
		t.Errorf("another id: %+v", a)
	}
	if out := s.ok("quarantine", "readmit", "mended.jsonl"); !strings.Contains(out, "1 read = 1 added") {
		t.Errorf("mended: %s", out)
	}
	if out := s.ok("quarantine", "list"); !strings.Contains(out, "Nothing is held") {
		t.Errorf("left: %s", out)
	}
	s.ok("import", "trees.geojson", "--site", "Birch Street", "--as", "trees")
	fromJSON(t, s.ok("quarantine", "list", "--format", "json"), &row)
	if out := s.ok("quarantine", "drop", fmt.Sprint(row["id"])); out != "1 dropped\n" {
		t.Errorf("drop: %s", out)
	}
}

// Two imports that start together on a folder where nothing is yet.
func TestTwoAtOnce(t *testing.T) {
	s := private(t)
	s.write("trees.geojson", street)
	answers := make(chan answer)
	for _, site := range []string{"east", "west"} {
		go func() {
			answers <- s.finish(s.command("import", "trees.geojson", "--site", site, "--as", "trees"))
		}()
	}
	for range 2 {
		if a := <-answers; a.status != 0 || !strings.Contains(a.stdout, "5 added") {
			t.Errorf("%+v", a)
		}
	}
	for _, site := range []string{"east", "west"} {
		s.ok("rank", "--site", site, "--cut", "topping")
	}
}

// A kill -9 with half of the file read leaves the inventory as before and
// nothing that blocks the next command.
func TestKilledHalfWay(t *testing.T) {
	s := private(t)
	load(s)
	before := s.ok("rank", "--site", "Birch Street", "--day", "2026-06-01", "--format", "json")
	in, out, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	c := s.command("import", "-", "--site", "Birch Street", "--as", "trees")
	c.Stdin = in
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	in.Close()
	for i := range 20_000 {
		if _, err := fmt.Fprintf(out, `{"type":"Feature","properties":{"tag":"K%d","topped_year":2010},"geometry":{"type":"Point","coordinates":[8.5001%04d,47.2]}}`+"\n", i, i%10000); err != nil {
			t.Fatal(err)
		}
	}
	time.Sleep(300 * time.Millisecond) // the last batches are on their way to the database
	if err := c.Process.Signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	if err := c.Wait(); err == nil {
		t.Error("it ended well before the end of the file")
	}
	if after := s.ok("rank", "--site", "Birch Street", "--day", "2026-06-01", "--format", "json"); after != before {
		t.Errorf("before:\n%s\nafter:\n%s", before, after)
	}
	if out := s.ok("import", "trees.geojson", "--site", "Birch Street", "--as", "trees"); !strings.Contains(out, "5 unchanged") {
		t.Errorf("the next import: %s", out)
	}
}

func TestDemoTwice(t *testing.T) {
	s := private(t)
	first, second := s.ok("demo", "--once"), s.ok("demo", "--once")
	from := func(text string) string {
		i, j := strings.Index(text, "trees carrying"), strings.Index(text, "Loaded, ranked and planned")
		if i < 0 || j < i {
			t.Fatalf("no table in %s", text)
		}
		return text[i:j]
	}
	if a, b := from(first), from(second); a != b || strings.Count(a, "\n") < 20 {
		t.Errorf("first:\n%s\nsecond:\n%s", a, b)
	}
	imports := 0
	for line := range strings.Lines(second) {
		if strings.Contains(line, " read = ") {
			imports++
			if !strings.Contains(line, " = 0 added + 0 updated + ") || strings.Contains(line, " + 0 unchanged") {
				t.Errorf("the second time: %s", line)
			}
		}
	}
	if imports < 3 || !strings.Contains(first, " 0 unchanged") {
		t.Errorf("%d imports; the first time:\n%s", imports, first)
	}
}

// rule returns the widths of a table's columns, from the line under its titles.
func rule(t *testing.T, text string) (widths []int, at int) {
	t.Helper()
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		if strings.HasPrefix(line, "─") {
			for _, part := range strings.Split(line, strings.Repeat(" ", gap)) {
				widths = append(widths, runewidth.StringWidth(part))
			}
			return widths, i
		}
	}
	t.Fatalf("no table in:\n%s", text)
	return nil, 0
}

func TestTableLinesUp(t *testing.T) {
	for _, width := range []int{0, 40, 80, 120} {
		tb := &table{columns: []column{{title: "#", right: true}, {title: "species", least: 8}, {title: "over", least: 10}, {title: "people (mean)", right: true}}}
		tb.add("a reason that is long enough to be broken over lines on a narrow terminal, and then some", "1", "Sorbus × thuringiaca 'Fastigiata' of the old avenue", "walkway 12.3 m, parking 200 m², plaza 17 m²", "0.0123")
		tb.add("", "10", "櫻の木", "road", "12")
		tb.add("", "100", "", "", "")
		var b strings.Builder
		if err := tb.write(&b, width); err != nil {
			t.Fatal(err)
		}
		widths, at := rule(t, b.String())
		lines := strings.Split(strings.TrimRight(b.String(), "\n"), "\n")
		for i, line := range lines {
			if w := runewidth.StringWidth(line); width >= 40 && w > width {
				t.Errorf("width %d: %d cells in %q", width, w, line)
			}
			// Where two columns meet there is nothing but the gap.
			if i != at-1 && i != at && i != len(lines)-1 && i != len(lines)-2 {
				continue
			}
			edge := 0
			for _, w := range widths[:len(widths)-1] {
				edge += w
				if got := cells(line, edge, edge+gap); strings.TrimSpace(got) != "" {
					t.Errorf("width %d: %q stands between columns in %q", width, got, line)
				}
				edge += gap
			}
		}
		if !strings.HasSuffix(lines[len(lines)-2], "12") || runewidth.StringWidth(lines[len(lines)-2]) != runewidth.StringWidth(lines[at]) {
			t.Errorf("width %d: figures do not stand to the right:\n%s", width, b.String())
		}
	}
}

// cells returns what stands in the cells from a to b of a line.
func cells(line string, a, b int) string {
	var out strings.Builder
	at := 0
	for _, r := range line {
		if at >= a && at < b {
			out.WriteRune(r)
		}
		at += runewidth.RuneWidth(r)
	}
	return out.String()
}
