package api_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/cmd/underbough/loading"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// takesFiles lets a service take files, in a folder of the test's.
func takesFiles(t testing.TB) func(*api.Config) {
	dir := t.TempDir()
	return func(c *api.Config) {
		c.Edit, c.UploadDir = true, dir
		c.Importer = &loading.Loading{Store: c.Store.(inventory.ImportStore), Client: 1, Now: c.Now}
	}
}

// nursery are six records, of which three are at fault: a diameter that no tree
// has, an id that was there, and a position beside 0,0.
const nursery = "Tree Id,Species,DBH_in,Longitude,Latitude,Kept by\n" +
	"n1,Tilia cordata,12,25.2801,54.6801,A\n" +
	"n2,Acer platanoides,900,25.2802,54.6802,A\n" +
	"n3,Quercus robur,8.5,25.2803,54.6803,\"B, C\"\n" +
	"n1,Betula pendula,4,25.2804,54.6804,A\n" +
	"n5,Alnus glutinosa,7,0,0,A\n" +
	"n6,Alnus incana,6,25.2806,54.6806,A\n"

type sentFile struct {
	Import, Name, Format string
	Bytes                int64
	Longitude, Latitude  string
	Columns              []struct {
		Name   string
		Values []string
		Filled int
	}
	Roles []struct {
		As       string
		Required [][]string
		Mapping  []object
		Unclear  []object
	}
}

type runState struct {
	State, Site    string
	DryRun         bool `json:"dry_run"`
	Bytes, Records int64
	BytesRead      int64 `json:"bytes_read"`
	Counts         *inventory.Counts
	FirstHeld      []struct {
		Record             int64
		Field, Reason, Row string
	} `json:"first_held"`
	Box     []float64
	Problem *struct {
		Status int
		Detail string
	}
}

func (s *service) upload(t testing.TB, name, body string) sentFile {
	t.Helper()
	r := s.send(t, "POST", "/imports?name="+name, "application/octet-stream", body)
	if r.status != http.StatusCreated {
		t.Fatalf("%d %s", r.status, r.body)
	}
	f := parse[sentFile](t, r.body)
	if at := r.header.Get("Location"); at != s.web.URL+"/imports/"+f.Import {
		t.Errorf("it is at %s", at)
	}
	return f
}

// finished waits for a run to end.
func (s *service) finished(t testing.TB, f sentFile) runState {
	t.Helper()
	return s.awaited(t, f, func(r runState) bool { return r.State != "reading" })
}

func (s *service) awaited(t testing.TB, f sentFile, is func(runState) bool) runState {
	t.Helper()
	for end := time.Now().Add(time.Minute); ; time.Sleep(20 * time.Millisecond) {
		run := parse[runState](t, s.get(t, "/imports/"+f.Import+"/run").body)
		if is(run) {
			return run
		}
		if time.Now().After(end) {
			t.Fatalf("it came to %+v", run)
		}
	}
}

func (s *service) begin(t testing.TB, f sentFile, how, plan string, status int) reply {
	t.Helper()
	r := s.send(t, "POST", "/imports/"+f.Import+"/"+how, "application/json", plan)
	if r.status != status {
		t.Fatalf("%s: %d %s", plan, r.status, r.body)
	}
	return r
}

func (s *service) count(t testing.TB, sql string) string {
	return strings.Join(pgtest.Query(t, s.url, sql), " ")
}

// A file is looked at, tried without a trace, loaded, and its held rows are
// corrected, readmitted and dropped.
func TestImportFlow(t *testing.T) {
	s := serve(t, takesFiles(t))
	f := s.upload(t, "nursery.csv", nursery)
	if f.Format != "csv" || f.Bytes != int64(len(nursery)) || f.Longitude != "Longitude" || f.Latitude != "Latitude" || len(f.Columns) != 6 || len(f.Roles) != 6 {
		t.Fatalf("%+v", f)
	}
	if c := f.Columns[2]; c.Name != "DBH_in" || c.Filled != 6 || !slices.Equal(c.Values, []string{"12", "900", "8.5", "4"}) {
		t.Errorf("%+v", c)
	}
	if c := f.Columns[3]; c.Filled != 6 || c.Values[0] != "25.2801" {
		t.Errorf("coordinates have no samples: %+v", c)
	}
	proposed := map[string]object{}
	for _, r := range f.Roles[0].Mapping {
		proposed[r["field"].(string)] = r
	}
	if proposed["source_id"]["from"] != "Tree Id" || proposed["dbh"]["from"] != "DBH_in" || proposed["dbh"]["unit"] != "in" || len(proposed) != 3 {
		t.Errorf("proposed: %v", proposed)
	}
	before := s.count(t, `SELECT (SELECT count(*) FROM trees), (SELECT count(*) FROM sites), (SELECT count(*) FROM imports), (SELECT count(*) FROM quarantine)`)

	r := s.begin(t, f, "try", `{"as": "trees", "site": "Nursery", "time_zone": "Europe/Vilnius"}`, http.StatusAccepted)
	if r.header.Get("Location") != s.web.URL+"/imports/"+f.Import+"/run" {
		t.Error(r.header)
	}
	want := inventory.Counts{Read: 6, Added: 3, Quarantined: 3}
	try := s.finished(t, f)
	if try.State != "ended" || !try.DryRun || try.Counts == nil || *try.Counts != want || try.Records != 6 || try.BytesRead != try.Bytes {
		t.Fatalf("%+v", try)
	}
	for i, fault := range []struct {
		record int64
		field  string
	}{{2, "DBH_in"}, {4, "Tree Id"}, {5, "geometry"}} {
		if h := try.FirstHeld[i]; len(try.FirstHeld) != 3 || h.Record != fault.record || h.Field != fault.field || h.Reason == "" || h.Row == "" {
			t.Errorf("%+v", try.FirstHeld)
		}
	}
	if !slices.Equal(try.Box, []float64{25.2801, 54.6801, 25.2806, 54.6806}) {
		t.Errorf("box %v", try.Box)
	}
	if now := s.count(t, `SELECT (SELECT count(*) FROM trees), (SELECT count(*) FROM sites), (SELECT count(*) FROM imports), (SELECT count(*) FROM quarantine)`); now != before {
		t.Errorf("the try left %s, before it was %s", now, before)
	}

	s.begin(t, f, "run", `{"as": "trees", "site": "Nursery", "time_zone": "Europe/Vilnius"}`, http.StatusAccepted)
	if run := s.finished(t, f); run.State != "ended" || run.DryRun || *run.Counts != want {
		t.Fatalf("%+v", run)
	}
	if got := s.count(t, `SELECT string_agg(source_id || '=' || round(dbh_m::numeric, 4) || '/' || trees.changed_by, ' ' ORDER BY source_id) FROM trees JOIN sites USING (client_id, site_id) WHERE name = 'Nursery' AND time_zone = 'Europe/Vilnius'`); got != "n1=0.3048/service n3=0.2159/service n6=0.1524/service" {
		t.Error(got)
	}

	held := s.held(t, "/quarantine?site=Nursery")
	if len(held) != 3 || held[0].Field != "DBH_in" || held[0].Row != strings.Split(nursery, "\n")[2] {
		t.Fatalf("%+v", held)
	}
	for _, h := range held {
		var at []string
		for _, c := range h.Cells {
			if c.Fault {
				at = append(at, c.Name)
			}
		}
		if want := map[string]string{"DBH_in": "DBH_in", "Tree Id": "Tree Id", "geometry": "Longitude Latitude"}[h.Field]; strings.Join(at, " ") != want {
			t.Errorf("%s: the fault is at %v", h.Field, at)
		}
	}
	if r := s.get(t, "/quarantine?site=Nursery&f=csv"); r.status != 200 || strings.Count(string(r.body), "\r\n") != 4 || !strings.Contains(string(r.body), `"n2,Acer platanoides,900,25.2802,54.6802,A"`) {
		t.Errorf("%d %s", r.status, r.body)
	}
	// One mended, one still at fault, one as it is.
	r = s.send(t, "POST", "/quarantine/readmit", "application/json", `{"rows": [{"id": `+id(held[0].ID)+`, "values": [{"name": "DBH_in", "value": "9"}, {"name": "Kept by", "value": "A \"and\" B, C"}]}, {"id": `+id(held[1].ID)+`, "values": [{"name": "DBH_in", "value": "5"}]}]}`)
	if c := parse[inventory.Counts](t, r.body); r.status != 200 || c.Read != 2 || c.Added != 1 || c.Quarantined != 1 {
		t.Fatalf("%d %s", r.status, r.body)
	}
	if got := s.count(t, `SELECT round(dbh_m::numeric, 4) || extra::text FROM trees WHERE source_id = 'n2'`); got != `0.2286{"Kept by": "A \"and\" B, C"}` {
		t.Error(got)
	}
	// The one that still was at fault is held as it was mended.
	again := s.held(t, "/quarantine?site=Nursery")
	if len(again) != 2 || !strings.HasPrefix(again[0].Row, "n1,Betula pendula,5,") {
		t.Fatalf("%+v", again)
	}
	r = s.send(t, "POST", "/quarantine/drop", "application/json", `{"ids": [`+id(again[0].ID)+`]}`)
	if r.status != 200 || string(r.body) != "{\"dropped\":1}\n" {
		t.Errorf("%d %s", r.status, r.body)
	}
	if r := s.send(t, "POST", "/quarantine/readmit", "application/json", `{"rows": [{"id": `+id(again[0].ID)+`}]}`); r.status != 404 {
		t.Errorf("a dropped row is read again: %d %s", r.status, r.body)
	}
	if r := s.send(t, "POST", "/quarantine/readmit", "application/json", `{"all": true, "site": "Nursery"}`); parse[inventory.Counts](t, r.body).Quarantined != 1 {
		t.Errorf("%d %s", r.status, r.body)
	}
	if r := s.send(t, "DELETE", "/imports/"+f.Import, "", ""); r.status != http.StatusNoContent {
		t.Errorf("%d %s", r.status, r.body)
	}
	if r := s.get(t, "/imports/"+f.Import); r.status != 404 || !strings.Contains(string(r.body), "changed nothing") {
		t.Errorf("%d %s", r.status, r.body)
	}
}

func id(n int64) string { return strconv.FormatInt(n, 10) }

type heldRow struct {
	ID                 int64
	Field, Reason, Row string
	Cells              []struct {
		Name, Value string
		Fault       bool
	}
}

func (s *service) held(t testing.TB, path string) []heldRow {
	t.Helper()
	return parse[struct{ Held []heldRow }](t, s.got(t, path)).Held
}

// Held Features are mended property by property, numbers staying numbers.
func TestImportMendsFeature(t *testing.T) {
	s := serve(t, takesFiles(t))
	f := s.upload(t, "two.geojson", `{"type": "FeatureCollection", "features": [
		{"type": "Feature", "geometry": {"type": "Point", "coordinates": [25.28, 54.68]}, "properties": {"id": "g1", "dbh_cm": 30, "more": {"a": 1.50}}},
		{"type": "Feature", "geometry": {"type": "Point", "coordinates": [54.68, 25.28]}, "properties": {"id": "g2", "dbh_cm": -4, "more": {"a": 1.50}}}]}`)
	s.begin(t, f, "run", `{"as": "trees", "site": "Low Quarter"}`, http.StatusAccepted)
	if run := s.finished(t, f); run.State != "ended" || run.Counts.Quarantined != 1 {
		t.Fatalf("%+v", run)
	}
	h := s.held(t, "/quarantine")[0]
	r := s.send(t, "POST", "/quarantine/readmit", "application/json", `{"rows": [{"id": `+id(h.ID)+`, "values": [{"name": "dbh_cm", "value": "4"}, {"name": "geometry", "value": "{\"type\": \"Point\", \"coordinates\": [25.281, 54.68]}"}]}]}`)
	if r.status != 200 || parse[inventory.Counts](t, r.body).Added != 1 {
		t.Fatalf("%d %s", r.status, r.body)
	}
	if got := s.count(t, `SELECT round(dbh_m::numeric, 3) || ' ' || round(ST_X(geometry)::numeric, 4) || ' ' || (extra->'more'->>'a') FROM trees WHERE source_id = 'g2'`); got != "0.040 25.2810 1.50" {
		t.Error(got)
	}
	for _, c := range []struct{ rows, want string }{
		{`{"id": 1, "values": [{"name": "dbh_cm", "value": "4"}]}`, "0 of the 1"},
		{`{"id": 1, "row": "x", "values": [{"name": "dbh_cm", "value": "4"}]}`, "one of the two"},
		{`{"id": 0.5}`, "expected a whole number"},
	} {
		if r := s.send(t, "POST", "/quarantine/readmit", "application/json", `{"rows": [`+c.rows+`]}`); r.status < 400 || r.status >= 500 || !strings.Contains(string(r.body), c.want) {
			t.Errorf("%s: %d %s", c.rows, r.status, r.body)
		}
	}
}

// What cannot be loaded is refused with what is wrong, and leaves no file behind.
func TestImportRefused(t *testing.T) {
	dir := ""
	s := serve(t, func(c *api.Config) {
		takesFiles(t)(c)
		c.UploadBytes, dir = 4000, c.UploadDir
	})
	var zipped bytes.Buffer
	z := gzip.NewWriter(&zipped)
	z.Write([]byte(nursery))
	z.Close()
	for _, c := range []struct {
		what, path, media, body string
		status                  int
		want                    string
	}{
		{"no name", "/imports", "text/csv", nursery, 400, "name"},
		{"a name that is a folder", "/imports?name=..", "text/csv", nursery, 400, "name"},
		{"no media type", "/imports?name=a.csv", "", nursery, 415, "application/octet-stream"},
		{"a form", "/imports?name=a.csv", "multipart/form-data; boundary=x", nursery, 415, "application/octet-stream"},
		{"nothing", "/imports?name=a.csv", "text/csv", "", 400, "empty"},
		{"a header alone", "/imports?name=a.csv", "text/csv", "id,lon,lat\n", 400, "holds no records"},
		{"two columns of one name", "/imports?name=a.csv", "text/csv", "id,id\n1,2\n", 400, "both named"},
		{"a picture", "/imports?name=a.png", "application/octet-stream", "\x89PNG\r\n\x1a\n\x00\x00", 400, "a.png"},
		{"an archive", "/imports?name=a.zip", "application/octet-stream", "PK\x03\x04abc", 400, "unpack it first"},
		{"a page", "/imports?name=a.html", "application/octet-stream", "<html>", 400, "XML or HTML"},
		{"too much", "/imports?name=a.csv", "text/csv", nursery + strings.Repeat("x", 4000), 413, "--upload-limit"},
	} {
		r := s.send(t, "POST", c.path, c.media, c.body)
		if r.status != c.status || !strings.Contains(string(r.body), c.want) {
			t.Errorf("%s: %d %s", c.what, r.status, r.body)
		}
	}
	if list, err := os.ReadDir(dir); err != nil || len(list) != 0 {
		t.Errorf("%d files are left, %v", len(list), err)
	}
	if f := s.upload(t, "nursery.csv.gz", zipped.String()); f.Format != "csv" {
		t.Errorf("%+v", f)
	}
	f := s.upload(t, "nursery.csv", nursery)
	for plan, want := range map[string]string{
		`{"as": "shrubs", "site": "x"}`:                     `as is \"shrubs\"`,
		`{"as": "trees"}`:                                   "site is missing",
		`{"as": "trees", "site": " x"}`:                     "begins or ends with a space",
		`{"as": "trees", "site": "x", "time_zone": "Mars"}`: "Mars",
		`{"as": "trees", "site": "x", "colour": "red"}`:     "colour",
		`{"as": "trees", "site": "x", "mapping": [{"field": "dbh", "from": "Girth", "unit": "cm"}]}`:                                `dbh: the file has no column \"Girth\"`,
		`{"as": "trees", "site": "x", "mapping": [{"field": "dbh", "from": "DBH_in"}]}`:                                             `dbh: the unit of \"DBH_in\" must be given`,
		`{"as": "trees", "site": "x", "mapping": [{"field": "dbh", "from": "DBH_in", "unit": "ells"}]}`:                             `dbh: unknown unit \"ells\"`,
		`{"as": "trees", "site": "x", "mapping": [{"field": "girth", "from": "DBH_in"}]}`:                                           `no field \"girth\" for trees`,
		`{"as": "trees", "site": "x", "mapping": [{"field": "tag", "from": "Species"}, {"field": "tag", "from": "Tree Id"}]}`:       "mapped twice",
		`{"as": "trees", "site": "x", "mapping": [{"field": "status", "from": "Species", "values": [{"from": "a", "to": "ill"}]}]}`: `status: \"ill\" is none of`,
		`{"as": "trees", "site": "x", "where": [{"column": "Owner", "values": ["A"]}]}`:                                             "Owner",
		`{"as": "trees", "site": "x", "longitude": "Easting", "latitude": "Latitude"}`:                                              "Easting",
		`{"as": "targets", "site": "x", "mapping": []}`:                                                                             "kind of target",
		`{"as": "targets", "site": "x", "mapping": [{"field": "kind", "value": "parkng"}]}`:                                         "parkng",
		`{"as": "trees", "site": "x", "max_km": -1}`:                                                                                "max_km",
		`[]`: "expected an object",
	} {
		for _, how := range []string{"try", "run"} {
			if r := s.send(t, "POST", "/imports/"+f.Import+"/"+how, "application/json", plan); r.status != 400 || !strings.Contains(string(r.body), want) {
				t.Errorf("%s: %d %s", plan, r.status, r.body)
			}
		}
	}
	if r := s.get(t, "/imports/"+f.Import+"/run"); r.status != 404 {
		t.Errorf("a plan that was refused was run: %d %s", r.status, r.body)
	}
	// Cuts need their trees' site: it is told when the run has found out.
	s.begin(t, f, "run", `{"as": "cuts", "site": "Nowhere", "mapping": [{"field": "tree_tag", "from": "Tree Id"}, {"field": "kind", "value": "topping"}]}`, http.StatusAccepted)
	if run := s.finished(t, f); run.State != "failed" || run.Problem.Status != 404 || !strings.Contains(run.Problem.Detail, "Nowhere") {
		t.Errorf("%+v", run)
	}
}

// A file may take longer than a request otherwise may, as long as it comes.
func TestImportSlowly(t *testing.T) {
	s := serve(t, func(c *api.Config) {
		takesFiles(t)(c)
		c.RequestTimeout, c.StallTimeout = 100*time.Millisecond, 5*time.Second
	})
	r, w := io.Pipe()
	go func() {
		defer w.Close()
		for _, line := range strings.SplitAfter(nursery, "\n") {
			io.WriteString(w, line)
			time.Sleep(50 * time.Millisecond) // more than the time of a request, in all
		}
	}()
	resp, err := http.Post(s.web.URL+"/imports?name=nursery.csv", "text/csv", r)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	if f := (sentFile{}); resp.StatusCode != 201 || json.NewDecoder(resp.Body).Decode(&f) != nil || f.Bytes != int64(len(nursery)) {
		t.Errorf("%d %+v", resp.StatusCode, f)
	}
}

// Only those who may edit send files and see what is held.
func TestImportAccess(t *testing.T) {
	s := serve(t, nil)
	if r := s.send(t, "POST", "/imports?name=a.csv", "text/csv", nursery); r.status != 404 {
		t.Errorf("a service that reads only: %d %s", r.status, r.body)
	}
	keyed := serveOn(t, s, func(c *api.Config) {
		takesFiles(t)(c)
		c.EditKeys = []api.EditKey{{Name: "Ruta", Key: "0123456789abcdef"}}
	})
	key := []string{"Authorization", "Bearer 0123456789abcdef"}
	for _, headers := range [][]string{nil, {"Authorization", "Bearer 0123456789abcdeX"}} {
		if r := keyed.send(t, "POST", "/imports?name=a.csv", "text/csv", nursery, headers...); r.status != 401 {
			t.Errorf("%d %s", r.status, r.body)
		}
		if r := keyed.get(t, "/quarantine", headers...); r.status != 401 {
			t.Errorf("%d %s", r.status, r.body)
		}
	}
	// A page asks for the key itself: its browser must not.
	for mode, want := range map[string]int{"": 2, "cors": 1} {
		if r := keyed.get(t, "/quarantine", "Sec-Fetch-Mode", mode); len(r.header.Values("WWW-Authenticate")) != want {
			t.Errorf("%q: %q", mode, r.header.Values("WWW-Authenticate"))
		}
	}
	r := keyed.send(t, "POST", "/imports?name=a.csv", "text/csv", nursery, key...)
	f := parse[sentFile](t, r.body)
	for _, path := range []string{"/imports/" + f.Import, "/imports/" + f.Import + "/run"} {
		if r := keyed.get(t, path); r.status != 401 {
			t.Errorf("%s: %d %s", path, r.status, r.body)
		}
	}
	keyed.send(t, "POST", "/imports/"+f.Import+"/run", "application/json", `{"as": "trees", "site": "Nursery"}`, key...)
	for end := time.Now().Add(time.Minute); parse[runState](t, keyed.get(t, "/imports/"+f.Import+"/run", key...).body).State == "reading" && time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
	}
	if got := s.count(t, `SELECT DISTINCT changed_by FROM trees WHERE source_id = 'n1'`); got != "Ruta" {
		t.Errorf("the history names %s", got)
	}
	open := serveOn(t, s, takesFiles(t))
	for _, headers := range [][]string{{"Origin", "https://other.example"}, {"Host", "trees.example"}} {
		if r := open.send(t, "POST", "/imports?name=a.csv", "text/csv", nursery, headers...); r.status != 403 {
			t.Errorf("%v: %d %s", headers, r.status, r.body)
		}
		if r := open.get(t, "/quarantine", headers...); r.status != 403 {
			t.Errorf("%v: %d %s", headers, r.status, r.body)
		}
	}
}

// beginOther begins to load into the quarter, as another program does: the service's
// own runs wait for it.
func (s *service) beginOther(t testing.TB) inventory.Loader {
	t.Helper()
	l, err := s.db.BeginImport(t.Context(), inventory.ImportSpec{Client: 1, Site: "Low Quarter", Role: inventory.RoleVisits, FileName: "x", Format: "csv", Mapping: []byte("{}")})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(l.Abort)
	return l
}

// One site takes one file at a time; what is stopped has changed nothing, and so
// has what is in hand when the service ends.
func TestImportStopped(t *testing.T) {
	s := serve(t, takesFiles(t))
	// Another program is loading into the site: a run waits for it.
	other := s.beginOther(t)
	const plan = `{"as": "trees", "site": "Low Quarter"}`
	first, second := s.upload(t, "a.csv", nursery), s.upload(t, "b.csv", nursery)
	s.begin(t, first, "run", plan, http.StatusAccepted)
	s.begin(t, first, "try", plan, http.StatusConflict)
	if r := s.begin(t, second, "run", plan, http.StatusConflict); !strings.Contains(string(r.body), "Low Quarter") {
		t.Errorf("%s", r.body)
	}
	s.begin(t, second, "try", `{"as": "trees", "site": "Elsewhere"}`, http.StatusAccepted)
	if run := s.finished(t, second); run.State != "ended" {
		t.Errorf("%+v", run)
	}
	if run := s.awaited(t, first, func(r runState) bool { return r.BytesRead > 0 }); run.State != "reading" || run.Counts != nil {
		t.Errorf("%+v", run)
	}
	if run := parse[runState](t, s.send(t, "DELETE", "/imports/"+first.Import+"/run", "", "").body); run.State != "stopped" || run.Counts != nil {
		t.Errorf("%+v", run)
	}
	s.begin(t, second, "run", plan, http.StatusAccepted)
	s.server.Close()
	other.Abort()
	if got := s.count(t, `SELECT count(*) FROM trees WHERE source_id LIKE 'n%'`); got != "0" {
		t.Errorf("%s trees are there", got)
	}
	if r := s.get(t, "/imports/"+second.Import); r.status != 404 {
		t.Errorf("%d %s", r.status, r.body)
	}
	after := s.send(t, "POST", "/imports?name=c.csv", "text/csv", nursery)
	if r := s.send(t, "POST", "/imports/"+parse[sentFile](t, after.body).Import+"/run", "application/json", plan); r.status != 503 {
		t.Errorf("a service that ends begins: %d %s", r.status, r.body)
	}
}

// Nobody's files are kept for longer than a day, nor more than a few.
func TestImportAbandoned(t *testing.T) {
	dir, now := "", today
	s := serve(t, func(c *api.Config) {
		takesFiles(t)(c)
		c.Now, dir = func() time.Time { return now }, c.UploadDir
	})
	kept := s.upload(t, "a.csv", nursery)
	now = now.Add(23 * time.Hour)
	s.get(t, "/imports/"+kept.Import)
	now = now.Add(23 * time.Hour)
	other := s.upload(t, "b.csv", nursery)
	if r := s.get(t, "/imports/"+kept.Import); r.status != 200 {
		t.Errorf("a file that was asked about is gone: %d %s", r.status, r.body)
	}
	now = now.Add(25 * time.Hour)
	last := s.upload(t, "c.csv", nursery)
	for _, gone := range []sentFile{kept, other} {
		if r := s.get(t, "/imports/"+gone.Import); r.status != 404 {
			t.Errorf("%d %s", r.status, r.body)
		}
	}
	if list, err := os.ReadDir(dir); err != nil || len(list) != 1 {
		t.Errorf("%d files are left, %v", len(list), err)
	}
	for range 19 {
		s.upload(t, "d.csv", nursery)
	}
	if r := s.send(t, "POST", "/imports?name=e.csv", "text/csv", nursery); r.status != 409 {
		t.Errorf("%d %s", r.status, r.body)
	}
	s.send(t, "DELETE", "/imports/"+last.Import, "", "")
	s.upload(t, "e.csv", nursery)
}
