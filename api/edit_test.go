package api_test

import (
	"fmt"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

func editing(c *api.Config) { c.Edit = true }

const (
	geoJSON    = "application/geo+json"
	mergePatch = "application/merge-patch+json"
)

// send makes a request with a body of a media type.
func (s *service) send(t testing.TB, method, path, mediaType, body string, headers ...string) reply {
	t.Helper()
	if path[0] == '/' {
		path = s.web.URL + path
	}
	req, err := http.NewRequest(method, path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	req.Header.Set("Accept-Encoding", "identity")
	if mediaType != "" {
		req.Header.Set("Content-Type", mediaType)
	}
	for i := 0; i < len(headers); i += 2 {
		if headers[i] == "Host" {
			req.Host = headers[i+1]
			continue
		}
		req.Header.Set(headers[i], headers[i+1])
	}
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	b, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	r := reply{resp.StatusCode, resp.Header, b}
	s.check(t, req, r)
	return r
}

func (r reply) want(t testing.TB, status int, says ...string) {
	t.Helper()
	if r.status != status {
		t.Fatalf("%d, expected %d: %s", r.status, status, r.body)
	}
	for _, s := range says {
		if !strings.Contains(string(r.body), s) {
			t.Errorf("%d does not say %q: %s", r.status, s, r.body)
		}
	}
	if status >= 400 && r.header.Get("Content-Type") != "application/problem+json" {
		t.Errorf("%d as %s", status, r.header.Get("Content-Type"))
	}
}

const tree = `{"type":"Feature","geometry":{"type":"Point","coordinates":[25.2805,54.6805]},"properties":{"tag":"NEW","species":"Tilia cordata","height_m":17.5,"dbh_cm":45.3}}`

// The requirements of OGC API - Features - Part 4 (20-002, draft), by the part of
// the standard that they stand in.

func TestPartFourOptions(t *testing.T) {
	s := serve(t, editing)
	for path, want := range map[string]string{
		"/collections/trees/items":                "GET, HEAD, OPTIONS, POST",
		"/collections/trees/items/5":              "GET, HEAD, OPTIONS, PUT, PATCH, DELETE",
		"/collections/sites/items/1":              "GET, HEAD, OPTIONS, PUT, PATCH, DELETE",
		"/collections/zones/items":                "GET, HEAD, OPTIONS",
		"/collections/zones/items/20":             "GET, HEAD, OPTIONS",
		"/collections/trees":                      "GET, HEAD, OPTIONS",
		"/collections/trees/queryables":           "GET, HEAD, OPTIONS",
		"/ranking":                                "GET, HEAD, OPTIONS",
		"/collections/trees/items?f=json":         "GET, HEAD, OPTIONS, POST",
		"/collections/trees/items/":               "GET, HEAD, OPTIONS, POST",
		"/collections/overlaps/items/4-1":         "GET, HEAD, OPTIONS",
		"/collections/targets/items/1?properties": "GET, HEAD, OPTIONS, PUT, PATCH, DELETE",
	} {
		if r := s.do(t, "OPTIONS", path); r.status != 200 || r.header.Get("Allow") != want {
			t.Errorf("%s: %d, Allow %q", path, r.status, r.header.Get("Allow"))
		}
	}
	// Browsers ask too: their own page may edit, another reads and no more.
	ask := func(origin string) string {
		return s.do(t, "OPTIONS", "/collections/trees/items", "Origin", origin, "Access-Control-Request-Method", "POST").header.Get("Access-Control-Allow-Methods")
	}
	if own, other := ask(s.web.URL), ask("https://elsewhere.example"); own != "GET, HEAD, OPTIONS, POST" || other != "GET, HEAD, OPTIONS" {
		t.Errorf("may edit: %q and %q", own, other)
	}
}

func TestReadOnlyWithoutTheSwitch(t *testing.T) {
	s := serve(t, nil)
	for _, c := range [][2]string{{"POST", "/collections/trees/items"}, {"PUT", "/collections/trees/items/5"}, {"PATCH", "/collections/trees/items/5"}, {"DELETE", "/collections/trees/items/5"}} {
		r := s.send(t, c[0], c[1], geoJSON, tree)
		r.want(t, 405, "--edit")
		if r.header.Get("Allow") != "GET, HEAD, OPTIONS" {
			t.Error(r.header)
		}
	}
	if r := s.do(t, "OPTIONS", "/collections/trees/items"); r.header.Get("Allow") != "GET, HEAD, OPTIONS" {
		t.Error(r.header)
	}
	edit := serveOn(t, s, editing)
	r := edit.send(t, "PUT", "/collections/trees/items", geoJSON, tree)
	r.want(t, 405)
	if r.header.Get("Allow") != "GET, HEAD, OPTIONS, POST" {
		t.Error(r.header)
	}
	edit.send(t, "POST", "/collections/zones/items", geoJSON, tree).want(t, 405)
	edit.send(t, "POST", "/collections/nothing/items", geoJSON, tree).want(t, 404)
}

func TestPartFourCreate(t *testing.T) {
	s := serve(t, editing)
	s.run(t)
	state := s.get(t, "/collections/trees/items?limit=1").header.Get("ETag")
	r := s.send(t, "POST", "/collections/trees/items", geoJSON, tree)
	r.want(t, 201)
	where := r.header.Get("Location")
	if !regexp.MustCompile(`^http://[^/]+/collections/trees/items/\d+$`).MatchString(where) {
		t.Fatalf("Location %q", where)
	}
	got := s.get(t, where)
	f := parse[feature](t, got.body)
	if string(got.body) != string(r.body) || got.header.Get("ETag") != r.header.Get("ETag") || strings.HasPrefix(r.header.Get("ETag"), "W/") {
		t.Errorf("GET differs from what POST answered: %s, %s\n%s\n%s", got.header.Get("ETag"), r.header.Get("ETag"), got.body, r.body)
	}
	if f.Properties["tag"] != "NEW" || f.Properties["dbh_cm"] != 45.3 || f.Properties["site"] != "Low Quarter" || f.Properties["status"] != "alive" || f.Properties["version"] != 1.0 {
		t.Error(f.Properties)
	}
	if f.Properties["harm_index"] == nil || f.Properties["over"] == nil {
		t.Error("what follows from the edit is not there yet:", f.Properties)
	}
	if after := s.get(t, "/collections/trees/items?limit=1").header.Get("ETag"); after == state {
		t.Error("the tag of the items is as before the edit")
	}
	cut := s.send(t, "POST", "/collections/cuts/items", geoJSON, `{"type":"Feature","geometry":null,"properties":{"tag":"NEW","kind":"reduction","diameter_cm":30,"lateral_diameter_cm":5}}`)
	cut.want(t, 201, `"kind":"heading"`, `"given_kind":"reduction"`, `"tag":"NEW"`)
	s.send(t, "POST", "/collections/visits/items", "application/json; charset=utf-8", fmt.Sprintf(`{"type":"Feature","geometry":null,"properties":{"tree_id":%v,"visited_on":"2026-02-03","limb":"probable"}}`, f.ID)).want(t, 201, `"limb":"probable"`)
	s.send(t, "POST", "/collections/counts/items", geoJSON, `{"type":"Feature","geometry":null,"properties":{"target_id":1,"counted_at":"2026-03-02T09:00","people":4}}`).want(t, 201, `"counted_at":"2026-03-02T09:00"`, `"name":"Lot"`)
	s.send(t, "POST", "/collections/targets/items", geoJSON, `{"type":"Feature","geometry":{"type":"LineString","coordinates":[[25.28,54.68,120],[25.281,54.681,121]]},"properties":{"kind":"road"}}`).want(t, 201, `[[25.28,54.68],[25.281,54.681]]`)
	s.send(t, "POST", "/collections/sites/items", geoJSON, `{"type":"Feature","geometry":{"type":"Polygon","coordinates":[[[24,54],[24.1,54],[24.1,54.1],[24,54]]]},"properties":{"name":"Hill","time_zone":"Europe/Vilnius","epsg":3346}}`).want(t, 201, `"MultiPolygon"`, `"epsg":3346`)
}

func TestPartFourReplace(t *testing.T) {
	s := serve(t, editing)
	s.run(t)
	read := s.get(t, "/collections/trees/items/4")
	// The whole feature sent back, fixed properties and all, changes nothing.
	same := s.send(t, "PUT", "/collections/trees/items/4", geoJSON, string(read.body))
	same.want(t, 200)
	if string(same.body) != string(read.body) || same.header.Get("ETag") != read.header.Get("ETag") {
		t.Errorf("a feature sent back as it was read has changed:\n%s\n%s", read.body, same.body)
	}
	if h := pgtest.Query(t, s.url, `SELECT count(*) FROM history`); h[0] != "0" {
		t.Error("and left history")
	}
	r := s.send(t, "PUT", "/collections/trees/items/4", geoJSON, `{"type":"Feature","id":4,"geometry":{"type":"Point","coordinates":[25.2806,54.6806]},"properties":{"species":"Acer rubrum"}}`)
	r.want(t, 200)
	f := parse[feature](t, r.body)
	p := f.Properties
	if p["species"] != "Acer rubrum" || p["tag"] != nil || p["height_m"] != nil || p["extra"] != nil || p["status"] != "alive" || p["site"] != "Low Quarter" || p["version"] != 2.0 || string(f.Geometry.Coordinates) != "[25.2806,54.6806]" {
		t.Errorf("replaced: %s", r.body)
	}
	s.send(t, "PUT", "/collections/trees/items/4", geoJSON, strings.Replace(tree, `"type":"Feature"`, `"type":"Feature","id":5`, 1)).want(t, 400, "id does not change")
	s.send(t, "PUT", "/collections/trees/items/99999", geoJSON, tree).want(t, 404)
	s.send(t, "PUT", "/collections/trees/items/abc", geoJSON, tree).want(t, 404)
	s.send(t, "PUT", "/collections/trees/items/abc", geoJSON, tree, "If-Match", "*").want(t, 412)
	s.send(t, "PUT", "/collections/trees/items/4", geoJSON, tree, "If-None-Match", "*").want(t, 412)
}

func TestPartFourUpdate(t *testing.T) {
	s := serve(t, editing)
	at := "/collections/trees/items/4"
	before := parse[feature](t, s.get(t, at).body)
	after := parse[feature](t, s.send(t, "PATCH", at, mergePatch, `{"properties":{"species":null,"height_m":21}}`).body)
	if after.Properties["species"] != nil || after.Properties["height_m"] != 21.0 || after.Properties["tag"] != before.Properties["tag"] || string(after.Geometry.Coordinates) != string(before.Geometry.Coordinates) {
		t.Error("null unsets, and what is not named stays:", after.Properties)
	}
	moved := parse[feature](t, s.send(t, "PATCH", at, mergePatch, `{"type":"Feature","geometry":{"type":"Point","coordinates":[25.2807,54.6807]}}`).body)
	if string(moved.Geometry.Coordinates) != "[25.2807,54.6807]" || moved.Properties["height_m"] != 21.0 || moved.Properties["version"] != 3.0 {
		t.Error("a geometry alone keeps the properties:", moved)
	}
	// Merged to the depth, as the standard of patches has it.
	deep := parse[feature](t, s.send(t, "PATCH", at, mergePatch, `{"geometry":{"coordinates":[25.2808,54.6807]},"properties":{"extra":{"note":null,"crew":{"lead":"A"},"number":12345678901234567890.5}}}`).body)
	if string(deep.Geometry.Coordinates) != "[25.2808,54.6807]" || fmt.Sprint(deep.Properties["extra"]) != "map[crew:map[lead:A] number:1.2345678901234567e+19]" {
		t.Errorf("%s %v", deep.Geometry.Coordinates, deep.Properties["extra"])
	}
	s.send(t, "PATCH", at, mergePatch, `{"properties":{"extra":{"crew":{"lead":null,"second":"B"}}}}`).want(t, 200, `"crew": {"second": "B"}`, "12345678901234567890.5")
	s.send(t, "PATCH", at, mergePatch, `{"properties":{"harm_index":7,"version":99,"changed_at":null}}`).want(t, 200, `"version":5`)
	s.send(t, "PATCH", at, mergePatch, `{}`).want(t, 200, `"version":5`)
	s.send(t, "PATCH", "/collections/trees/items/99999", mergePatch, `{}`).want(t, 404)
	s.send(t, "PATCH", at, mergePatch, `{"id":5}`).want(t, 400, "id")
	s.send(t, "PATCH", at, mergePatch, `{"id":null}`).want(t, 400, "id")
	s.send(t, "PATCH", at, mergePatch, `{"geometry":null}`).want(t, 400, "geometry is empty")
	s.send(t, "PATCH", at, mergePatch, `{"properties":null}`).want(t, 400, "status is empty")
	for _, mediaType := range []string{"application/json", geoJSON, "application/json-patch+json", ""} {
		r := s.send(t, "PATCH", at, mediaType, `{"properties":{"height_m":3}}`)
		r.want(t, 415, mergePatch)
		if r.header.Get("Accept-Patch") != mergePatch {
			t.Error(r.header)
		}
	}
}

func TestPartFourDelete(t *testing.T) {
	s := serve(t, editing)
	s.run(t)
	r := s.send(t, "DELETE", "/collections/trees/items/12", "", "")
	if r.want(t, 204); len(r.body) > 0 {
		t.Error(string(r.body))
	}
	s.send(t, "DELETE", "/collections/trees/items/12", "", "").want(t, 404)
	s.send(t, "DELETE", "/collections/trees/items/12", "", "", "If-Match", "*").want(t, 412)
	if r := s.get(t, "/collections/trees/items/12"); r.status != 404 {
		t.Error(r.status)
	}
	if got := pgtest.Query(t, s.url, `SELECT collection, change, actor FROM history ORDER BY 1, 2`); !slices.Equal(got, []string{"cuts|delete|service", "cuts|delete|service", "trees|delete|service"}) {
		t.Error(got)
	}
	s.send(t, "DELETE", "/collections/sites/items/1", "", "").want(t, 409, "259 trees")
}

func TestPartFourLocking(t *testing.T) {
	s := serve(t, editing)
	s.run(t)
	at := "/collections/trees/items/4"
	tag := s.get(t, at).header.Get("ETag")
	if !regexp.MustCompile(`^"1\.[0-9a-f]+"$`).MatchString(tag) {
		t.Fatal(tag)
	}
	compressed := strings.TrimSuffix(tag, `"`) + `+gzip"`
	weak := "W/" + tag
	patch := func(match string) reply {
		t.Helper()
		return s.send(t, "PATCH", at, mergePatch, `{"properties":{"height_m":33}}`, "If-Match", match)
	}
	for _, stale := range []string{`"7.abc"`, weak, `"abc"`, `1`, ``, `"1"`} {
		if r := patch(stale); stale != "" {
			r.want(t, 412)
		}
	}
	r := patch(`"9.x", ` + compressed)
	r.want(t, 200)
	next := r.header.Get("ETag")
	if got := s.get(t, at).header.Get("ETag"); got != next || !strings.HasPrefix(next, `"2.`) {
		t.Errorf("ETag after the edit %s, by GET %s", next, got)
	}
	patch(tag).want(t, 412, "version 2")
	s.send(t, "PUT", at, geoJSON, tree, "If-Match", tag).want(t, 412)
	s.send(t, "DELETE", at, "", "", "If-Match", tag).want(t, 412)
	patch("*").want(t, 200)
	s.send(t, "PUT", at, geoJSON, tree, "If-Match", next).want(t, 200, `"version":3`)
	s.send(t, "DELETE", at, "", "", "If-Match", `"3.whatever"`).want(t, 204)

	required := serveOn(t, s, func(c *api.Config) { c.Edit, c.RequireMatch = true, true })
	other := "/collections/trees/items/5"
	required.send(t, "PATCH", other, mergePatch, `{}`).want(t, 428, "If-Match")
	required.send(t, "PUT", other, geoJSON, tree).want(t, 428)
	required.send(t, "DELETE", other, "", "").want(t, 428)
	required.send(t, "POST", "/collections/trees/items", geoJSON, tree).want(t, 201)
	required.send(t, "PATCH", other, mergePatch, `{}`, "If-Match", s.get(t, other).header.Get("ETag")).want(t, 200)
	for server, locked := range map[*service]bool{s: false, required: true} {
		declared := string(server.get(t, "/conformance").body)
		for class, want := range map[string]bool{"create-replace-delete": true, "update": true, "optimistic-locking-etags": locked} {
			if strings.Contains(declared, "ogcapi-features-4/1.0/conf/"+class) != want {
				t.Errorf("%s declared: %v", class, !want)
			}
		}
	}
}

// Of two that edit from one tag at once exactly one wins.
func TestNoEditIsLost(t *testing.T) {
	s := serve(t, editing)
	s.run(t)
	at := "/collections/trees/items/4"
	for range 5 {
		tag := s.get(t, at).header.Get("ETag")
		status := make([]int, 4)
		var wait sync.WaitGroup
		for i := range status {
			wait.Add(1)
			go func() {
				defer wait.Done()
				req, _ := http.NewRequest("PATCH", s.web.URL+at, strings.NewReader(fmt.Sprintf(`{"properties":{"species":"S%d of %s"}}`, i, tag[1:4])))
				req.Header.Set("Content-Type", mergePatch)
				req.Header.Set("If-Match", tag)
				if resp, err := http.DefaultClient.Do(req); err == nil {
					status[i] = resp.StatusCode
					resp.Body.Close()
				}
			}()
		}
		wait.Wait()
		slices.Sort(status)
		if !slices.Equal(status, []int{200, 412, 412, 412}) {
			t.Fatal(status)
		}
	}
	// Without If-Match patches of one object that arrive at once all come through.
	var wait sync.WaitGroup
	for i := range 12 {
		wait.Add(1)
		go func() {
			defer wait.Done()
			req, _ := http.NewRequest("PATCH", s.web.URL+at, strings.NewReader(fmt.Sprintf(`{"properties":{"extra":{"k%d":1}}}`, i)))
			req.Header.Set("Content-Type", mergePatch)
			if resp, err := http.DefaultClient.Do(req); err != nil || resp.StatusCode != 200 {
				t.Error(resp, err)
			}
		}()
	}
	wait.Wait()
	extra := parse[feature](t, s.get(t, at).body).Properties["extra"].(map[string]any)
	if len(extra) != 13 {
		t.Errorf("of twelve keys added at once and one before: %v", extra)
	}
}

func TestWhatIsSentIsRead(t *testing.T) {
	s := serve(t, editing)
	with := func(properties string) string {
		return `{"type":"Feature","geometry":{"type":"Point","coordinates":[25.28,54.68]},"properties":` + properties + `}`
	}
	at := func(geometry string) string {
		return `{"type":"Feature","geometry":` + geometry + `,"properties":{"kind":"road"}}`
	}
	for name, c := range map[string]struct {
		collection, body string
		status           int
		says             string
	}{
		"unknown property":        {"trees", with(`{"hight_m":3}`), 400, `trees have no \"hight_m\"`},
		"a name twice":            {"trees", with(`{"tag":"a","tag":"b"}`), 400, "duplicate"},
		"not JSON":                {"trees", `{"type":`, 400, "not JSON"},
		"something after":         {"trees", tree + "{}", 400, "follows"},
		"not UTF-8":               {"trees", with("{\"tag\":\"\xff\"}"), 400, "UTF-8"},
		"a list":                  {"trees", "[" + tree + "]", 400, "a list"},
		"a collection":            {"trees", `{"type":"FeatureCollection","features":[` + tree + `]}`, 400, "one Feature at a time"},
		"a geometry":              {"trees", `{"type":"Point","coordinates":[1,2]}`, 400, "expected Feature"},
		"no type":                 {"trees", `{"geometry":null,"properties":{}}`, 400, "type"},
		"no properties":           {"trees", `{"type":"Feature","geometry":null}`, 400, "properties"},
		"no geometry":             {"trees", `{"type":"Feature","properties":{}}`, 400, "geometry"},
		"crs member":              {"trees", strings.Replace(tree, `"type":"Feature"`, `"type":"Feature","crs":{}`, 1), 400, "Content-Crs"},
		"text for a number":       {"trees", with(`{"height_m":"12"}`), 400, `height_m is the text`},
		"a number for text":       {"trees", with(`{"tag":12}`), 400, "tag is the number 12"},
		"a fraction":              {"trees", with(`{"stems":1.5}`), 400, "stems is the number 1.5"},
		"a whole one as 2.0":      {"trees", with(`{"stems":2.0}`), 201, `"stems":2,`},
		"an integer too long":     {"cuts", with(`{"tree_id":9223372036854775808}`), 400, "tree_id is the number 9223372036854775808"},
		"an integer not rounded":  {"cuts", `{"type":"Feature","geometry":null,"properties":{"kind":"stub","tree_id":9007199254740993}}`, 400, "tree_id is 9007199254740993"},
		"beyond four bytes":       {"trees", with(`{"planted_year":99999999999}`), 400, "planted_year"},
		"a number out of range":   {"trees", with(`{"height_m":1e999}`), 400, "height_m"},
		"a bound":                 {"trees", with(`{"height_m":131}`), 400, "height_m is 131: expected above 0 and below 130"},
		"a word":                  {"trees", with(`{"status":"gone"}`), 400, "status is gone: expected one of alive"},
		"yes for a truth":         {"trees", with(`{"brittle":"yes"}`), 400, "brittle"},
		"code 0":                  {"trees", with(`{"tag":"a\u0000b"}`), 400, "tag"},
		"code 0 within":           {"trees", with(`{"extra":{"a":[{"b":"\u0000"}]}}`), 400, "extra"},
		"code 0 in a name":        {"trees", with(`{"extra":{"\u0000":1}}`), 400, "extra"},
		"what looks like code 0":  {"trees", with(`{"extra":{"path":"C:\\u0000path"}}`), 201, `"C:\\u0000path"`},
		"crs within":              {"trees", strings.Replace(tree, `"type":"Point"`, `"type":"Point","crs":{"type":"name"}`, 1), 400, "Content-Crs"},
		"crs deep within":         {"targets", at(`{"type":"GeometryCollection","geometries":[{"type":"Point","coordinates":[25,54],"crs":null}]}`), 400, "Content-Crs"},
		"a long text":             {"trees", with(`{"species":"` + strings.Repeat("x", 1<<20) + `"}`), 400, "species is 1048576 characters long: 1000 at most"},
		"an hour skipped":         {"counts", `{"type":"Feature","geometry":null,"properties":{"target_id":1,"counted_at":"2026-03-29T03:00","people":1}}`, 400, "no such hour in Europe/Vilnius"},
		"an hour to come":         {"counts", `{"type":"Feature","geometry":null,"properties":{"target_id":1,"counted_at":"9998-01-01T03:00","people":1}}`, 400, "yet to come"},
		"a visit to come":         {"visits", `{"type":"Feature","geometry":null,"properties":{"tree_id":4,"visited_on":"9998-01-01"}}`, 400, "yet to come"},
		"a day of year 0":         {"visits", `{"type":"Feature","geometry":null,"properties":{"tree_id":4,"visited_on":"0000-01-01"}}`, 400, "expected a day from 1000-01-01"},
		"extra that is no object": {"trees", with(`{"extra":[1]}`), 400, "extra is a list"},
		"a date":                  {"visits", `{"type":"Feature","geometry":null,"properties":{"tree_id":4,"visited_on":"3.2.2026"}}`, 400, "visited_on"},
		"no such tree":            {"cuts", `{"type":"Feature","geometry":null,"properties":{"tree_id":4444,"kind":"stub"}}`, 400, "no such tree"},
		"no such site":            {"trees", with(`{"site":"Moon"}`), 400, "there is Low Quarter"},
		"another geometry type":   {"trees", strings.Replace(tree, `{"type":"Point","coordinates":[25.2805,54.6805]}`, `{"type":"LineString","coordinates":[[25,54],[26,54]]}`, 1), 400, "a LineString: expected Point"},
		"latitude first":          {"trees", strings.Replace(tree, "[25.2805,54.6805]", "[54.6805,125.28]", 1), 400, "latitude"},
		"one number":              {"trees", strings.Replace(tree, "[25.2805,54.6805]", "[25]", 1), 400, "position"},
		"text in coordinates":     {"trees", strings.Replace(tree, "[25.2805,54.6805]", `["25",54]`, 1), 400, "among the coordinates"},
		"an open ring":            {"targets", at(`{"type":"Polygon","coordinates":[[[25,54],[25.1,54],[25.1,54.1],[25,54.1]]]}`), 400, "not closed"},
		"a short ring":            {"targets", at(`{"type":"Polygon","coordinates":[[[25,54],[25.1,54],[25,54]]]}`), 400, "4 positions"},
		"a bow tie":               {"targets", at(`{"type":"Polygon","coordinates":[[[25,54],[25.1,54.1],[25.1,54],[25,54.1],[25,54]]]}`), 400, "Self-intersection"},
		"a line of one":           {"targets", at(`{"type":"LineString","coordinates":[[25,54]]}`), 400, "2 positions"},
		"no such type":            {"targets", at(`{"type":"Circle","coordinates":[25,54]}`), 400, "Circle"},
		"collections in another":  {"targets", at(strings.Repeat(`{"type":"GeometryCollection","geometries":[`, 9) + strings.Repeat("]}", 9)), 400, "nest"},
		"nothing drawn":           {"targets", at(`{"type":"MultiPoint","coordinates":[]}`), 400, "list of 0"},
		"nested without end":      {"trees", with(`{"extra":` + strings.Repeat(`{"a":`, 5000) + "1" + strings.Repeat("}", 5000) + `}`), 400, "nested"},
	} {
		r := s.send(t, "POST", "/collections/"+c.collection+"/items", geoJSON, c.body)
		if r.status != c.status || !strings.Contains(string(r.body), c.says) {
			t.Errorf("%s: %d %s", name, r.status, r.body)
		}
	}
	s.send(t, "POST", "/collections/trees/items", "text/plain", tree).want(t, 415, geoJSON)
	s.send(t, "POST", "/collections/trees/items", "", tree).want(t, 415)
	s.send(t, "POST", "/collections/trees/items", geoJSON, tree, "Content-Encoding", "gzip").want(t, 415)
	s.send(t, "POST", "/collections/trees/items", geoJSON, with(`{"tag":"`+strings.Repeat("x", 9<<20)+`"}`)).want(t, 413)
	s.send(t, "POST", "/collections/trees/items?limit=3", geoJSON, tree).want(t, 400, "limit")
}

// The body's coordinates are in Content-Crs and its order, with brackets or
// without; what comes back in that system is where it was.
func TestContentCRS(t *testing.T) {
	s := serve(t, editing)
	for _, c := range []struct{ crs, at string }{
		{"http://www.opengis.net/def/crs/OGC/1.3/CRS84", "[25.2805,54.6805]"},
		{"<http://www.opengis.net/def/crs/EPSG/0/4326>", "[54.6805,25.2805]"},
		{"http://www.opengis.net/def/crs/EPSG/0/4326", "[54.6805,25.2805]"},
		// 25.2805 × 6378137 × π / 180 and 6378137 × ln tan(45° + 54.6805° / 2): the
		// formulas of EPSG method 1024.
		{"<http://www.opengis.net/def/crs/EPSG/0/3857>", "[2814212.387,7300102.9685]"},
	} {
		r := s.send(t, "POST", "/collections/trees/items", geoJSON, strings.Replace(tree, "[25.2805,54.6805]", c.at, 1), "Content-Crs", c.crs)
		r.want(t, 201, "[25.2805,54.6805]")
	}
	patch := func(crs, at string) reply {
		return s.send(t, "PATCH", "/collections/trees/items/4", mergePatch, `{"geometry":{"type":"Point","coordinates":`+at+`}}`, "Content-Crs", crs)
	}
	patch("http://www.opengis.net/def/crs/EPSG/0/4326", "[54.6806,25.2806]").want(t, 200, "[25.2806,54.6806]")
	patch("http://www.opengis.net/def/crs/EPSG/0/4326", "[154.6806,25.2806]").want(t, 400, "latitude")
	patch("http://www.opengis.net/def/crs/EPSG/0/31467", "[1,2]").want(t, 400, "Content-Crs")
	patch("nonsense", "[1,2]").want(t, 400, "Content-Crs")
	patch("http://www.opengis.net/def/crs/EPSG/0/3857", "[1e12,1e12]").want(t, 400, "EPSG:3857")
}
