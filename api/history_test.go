package api_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

type changeLog struct {
	Deleted bool
	Entries []struct {
		Version    int64
		Change, By string
		At         string
		Changes    []struct {
			Property string
			From, To json.RawMessage
		}
	}
	Links []link
}

// says writes an entry as one line.
func (h changeLog) says(i int) string {
	e := h.Entries[i]
	line := fmt.Sprintf("%d %s by %s:", e.Version, e.Change, e.By)
	for _, c := range e.Changes {
		line += fmt.Sprintf(" %s %s>%s", c.Property, c.From, c.To)
	}
	return line
}

// TestHistory edits a tree and reads who did what, from the link of the feature.
func TestHistory(t *testing.T) {
	s := serve(t, editing)
	ana := serveOn(t, s, func(c *api.Config) {
		c.Edit, c.EditKeys = true, []api.EditKey{{Name: "Ana", Key: "a key of ana's own"}}
	})
	at := "/collections/trees/items/5"
	key := []string{"Authorization", "Bearer a key of ana's own"}
	ana.send(t, "PATCH", at, mergePatch, `{"properties":{"height_m":14.25,"species":null,"dbh_cm":30.06}}`, key...).want(t, 200)
	s.send(t, "PATCH", at, mergePatch, `{"geometry":{"type":"Point","coordinates":[25.2809,54.6805]}}`).want(t, 200)
	item := parse[feature](t, s.get(t, at).body)
	path := rel(item.Links, "version-history")
	if path != s.web.URL+at+"/history" {
		t.Fatal(item.Links)
	}
	h := parse[changeLog](t, s.got(t, path))
	want := []string{
		`3 changed by service: geometry {"type":"Point","coordinates":[25.28072,54.68]}>{"type":"Point","coordinates":[25.2809,54.6805]}`,
		`2 changed by Ana: species "Acer platanoides">null dbh_cm null>30.1 height_m 13.0>14.25`,
	}
	for i, w := range want {
		if got := h.says(i); got != w {
			t.Errorf("%s\nexpected %s", got, w)
		}
	}
	if len(h.Entries) != 3 || h.Deleted || h.Entries[2].Change != "added" || !strings.Contains(h.says(2), `tag null>"T5"`) {
		t.Error(len(h.Entries), h.Deleted, h.says(2))
	}
	// The times are those that the feature bore: as of each of them it is as the
	// entry says.
	now := serveOn(t, s, func(c *api.Config) { c.Now = time.Now })
	asOf := now.features(t, "/collections/trees/items?limit=1&filter=tag='T5'&as_of="+h.Entries[1].At).Features[0].Properties
	if asOf["height_m"] != 14.25 || fmt.Sprint(asOf["version"]) != "2" {
		t.Error(asOf["height_m"], asOf["version"])
	}
	// Pages of one version each come to the same.
	var paged []string
	for next := path + "?limit=1"; next != ""; {
		page := parse[changeLog](t, s.got(t, next))
		paged = append(paged, page.says(0))
		next = rel(page.Links, "next")
	}
	if !slices.Equal(paged, []string{h.says(0), h.says(1), h.says(2)}) {
		t.Error(paged)
	}
	s.get(t, path+"?f=html").want(t, 200, "Ana", "14.25")
	// Every kind of feature that is edited has one.
	for _, of := range []string{"sites/items/1", "cuts/items/3", "visits/items/1", "targets/items/1", "counts/items/1"} {
		if h := parse[changeLog](t, s.got(t, "/collections/"+of+"/history")); len(h.Entries) != 1 || len(h.Entries[0].Changes) < 2 {
			t.Error(of, h)
		}
	}
	s.send(t, "DELETE", at, "", "").want(t, 204)
	h = parse[changeLog](t, s.got(t, path))
	if !h.Deleted || len(h.Entries) != 4 || h.says(0) != "3 deleted by service:" || h.says(1) != want[0] {
		t.Error(h.Deleted, h.says(0), h.says(1))
	}
	for path, says := range map[string]string{
		"/collections/trees/items/4444/history": "never was", "/collections/trees/items/x/history": "never was",
		"/collections/zones/items/20/history": "no versions", "/collections/jobs/items/1/history": "no versions",
	} {
		s.get(t, path).want(t, 404, says)
	}
	s.get(t, path+"?cursor=x").want(t, 400, "cursor")
}

// TestPutBack goes back to earlier versions, to the digit, and brings back a tree
// with what was deleted along with it.
func TestPutBack(t *testing.T) {
	s := serve(t, editing)
	s.run(t)
	at := "/collections/trees/items/12"
	back := func(at string, version int, headers ...string) reply {
		return s.send(t, "POST", at+"/history", "application/json", fmt.Sprintf(`{"version":%d}`, version), headers...)
	}
	stored := func() string {
		return s.text(t, `SELECT md5(string_agg((to_jsonb(t) - 'version' - 'changed_at' - 'changed_by')::text || geometry::text, '' ORDER BY tree_id)) FROM trees t`) +
			s.text(t, `SELECT md5(string_agg((to_jsonb(c) - 'version' - 'changed_at' - 'changed_by')::text, '' ORDER BY cut_id)) FROM cuts c`) +
			s.text(t, `SELECT md5(string_agg((to_jsonb(v) - 'version' - 'changed_at' - 'changed_by')::text, '' ORDER BY visit_id)) FROM visits v`)
	}
	before := stored()
	harm := parse[feature](t, s.get(t, at).body).Properties["harm_index"]
	s.send(t, "PATCH", at, mergePatch, `{"properties":{"dbh_cm":77.7,"status":"dead"},"geometry":{"type":"Point","coordinates":[25.2809,54.6805]}}`).want(t, 200)
	tag := s.get(t, at).header.Get("ETag")
	if stored() == before {
		t.Fatal("the edit changed nothing")
	}
	back(at, 1, "If-Match", `"1.x"`).want(t, 412, "version 2")
	back(at, 7, "If-Match", tag).want(t, 400, "no version 7")
	r := back(at, 1, "If-Match", tag)
	r.want(t, 200, `"version":3`)
	if got := stored(); got != before {
		t.Error("put back, the tables are not as before")
	}
	if again := parse[feature](t, s.get(t, at).body).Properties["harm_index"]; again != harm || harm == nil {
		t.Errorf("harm %v, before %v", again, harm)
	}
	if r.header.Get("ETag") != s.get(t, at).header.Get("ETag") {
		t.Error("the answer has another ETag than the feature")
	}

	// A cut that was deleted before stays so; what went with the tree comes back.
	cuts := len(s.features(t, "/collections/cuts/items?tree_id=12").Features)
	s.send(t, "POST", "/collections/cuts/items", geoJSON, `{"type":"Feature","geometry":null,"properties":{"tree_id":12,"kind":"flush"}}`).want(t, 201)
	id := s.text(t, `SELECT max(cut_id)::text FROM cuts`)
	s.send(t, "DELETE", "/collections/cuts/items/"+id, "", "").want(t, 204)
	before = stored()
	s.send(t, "DELETE", at, "", "").want(t, 204)
	back("/collections/cuts/items/"+id, 1).want(t, 409, "bring that back first")
	back(at, 3, "If-Match", `"3.x"`).want(t, 412)
	if n := len(s.features(t, "/collections/cuts/items?tree_id=12").Features); n != 0 || cuts < 2 {
		t.Fatal(n, cuts)
	}
	back(at, 3).want(t, 200, `"version":4`, `"id":12`)
	if stored() != before {
		t.Error("brought back, the tables are not as before")
	}
	if again := parse[feature](t, s.get(t, at).body).Properties["harm_index"]; again != harm {
		t.Errorf("harm %v, before %v", again, harm)
	}
	h := parse[changeLog](t, s.got(t, at+"/history"))
	if h.Deleted || h.says(0) != "4 restored by service:" || h.says(1) != "3 deleted by service:" {
		t.Error(h.says(0), h.says(1))
	}
	// Between the two it was not there.
	now := serveOn(t, s, func(c *api.Config) { c.Now = time.Now })
	if n := len(now.features(t, "/collections/trees/items?limit=1&filter=tag='T12'&as_of="+h.Entries[1].At).Features); n != 0 {
		t.Error("as of its deletion the tree is there")
	}
	back("/collections/cuts/items/"+id, 1).want(t, 200, `"flush"`)

	// A target with its count.
	s.send(t, "DELETE", "/collections/targets/items/6", "", "").want(t, 204)
	back("/collections/targets/items/6", 1).want(t, 200, `"version":2`, "GeometryCollection")
	s.get(t, "/collections/counts/items/1").want(t, 200, `"people":30`)
	back("/collections/targets/items/6", 2).want(t, 200, `"version":2`) // as it is

	for body, says := range map[string]string{`{}`: "version", `{"version":"1"}`: "version", `{"version":1.5}`: "version", `{"version":1,"x":1}`: "version", `[]`: "a list"} {
		s.send(t, "POST", at+"/history", "application/json", body).want(t, 400, says)
	}
	s.send(t, "POST", at+"/history", "text/plain", "1").want(t, 415)
	s.send(t, "POST", "/collections/sites/items/1/history", "application/json", `{"version":1}`).want(t, 405)
	back("/collections/trees/items/4444", 1).want(t, 404, "never was")

	required := serveOn(t, s, func(c *api.Config) { c.Edit, c.RequireMatch = true, true })
	required.send(t, "POST", at+"/history", "application/json", `{"version":1}`).want(t, 428, "If-Match")
	required.send(t, "DELETE", at, "", "", "If-Match", s.get(t, at).header.Get("ETag")).want(t, 204)
	required.send(t, "POST", at+"/history", "application/json", `{"version":1}`).want(t, 200)
	closed := serveOn(t, s, nil)
	closed.send(t, "POST", at+"/history", "application/json", `{"version":1}`).want(t, 405, "--edit")
}

// A refusal names the property at fault apart from its words, for forms.
func TestRefusalNamesProperty(t *testing.T) {
	s := serve(t, editing)
	for body, property := range map[string]string{
		`{"properties":{"height_m":131}}`:                                "height_m",
		`{"properties":{"height_m":"x"}}`:                                "height_m",
		`{"properties":{"status":"gone"}}`:                               "status",
		`{"geometry":{"type":"LineString","coordinates":[[1,2],[3,4]]}}`: "geometry",
		`{"geometry":null}`:                                              "geometry",
	} {
		var p struct{ Property string }
		r := s.send(t, "PATCH", "/collections/trees/items/4", mergePatch, body)
		r.want(t, 400)
		if err := json.Unmarshal(r.body, &p); err != nil || p.Property != property {
			t.Errorf("%s: property %q, expected %q: %s", body, p.Property, property, r.body)
		}
	}
}

// The schema says what edits are held to: what it allows at a limit is taken, what
// it does not is refused.
func TestSchemaLimits(t *testing.T) {
	s := serve(t, editing)
	for _, c := range []string{"trees", "cuts", "visits", "targets"} {
		schema := s.json(t, "/collections/"+c+"/schema")
		at := "/collections/" + c + "/items/" + map[string]string{"trees": "4", "cuts": "3", "visits": "1", "targets": "1"}[c]
		try := func(name string, v float64, want int) {
			t.Helper()
			// Other rules may still refuse what the limits allow.
			if r := s.send(t, "PATCH", at, mergePatch, fmt.Sprintf(`{"properties":{%q:%v}}`, name, v)); r.status != want && (want == 400 || strings.Contains(string(r.body), "expected")) {
				t.Errorf("%s of %s is %v: %d %s", name, c, v, r.status, r.body)
			}
		}
		tried := 0
		for name, v := range schema["properties"].(object) {
			p := v.(object)
			for limit, step := range map[string]float64{"minimum": 1, "exclusiveMinimum": 1, "maximum": -1, "exclusiveMaximum": -1} {
				at, ok := p[limit].(float64)
				if !ok {
					continue
				}
				tried++
				inside, outside := at, at-step
				if strings.HasPrefix(limit, "exclusive") {
					inside, outside = at+step/8, at
				}
				try(name, outside, 400)
				if at < 1e8 {
					try(name, inside, 200)
				}
			}
		}
		if tried < 10 {
			t.Errorf("%s: only %d limits", c, tried)
		}
	}
	if r := s.json(t, "/collections/visits/schema")["required"]; fmt.Sprint(r) != "[tree_id visited_on]" {
		t.Error(r)
	}
}

// text asks the database itself for one value.
func (s *service) text(t testing.TB, sql string) string {
	t.Helper()
	return strings.Join(pgtest.Query(t, s.url, sql), "|")
}
