package api_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// Whatever is edited, by whatever path, the tags of what is served change with it.
func TestEveryEditChangesTheState(t *testing.T) {
	s := serve(t, editing)
	s.run(t)
	const nothing = `{"type":"Feature","geometry":null,"properties":`
	tags := func() [2]string {
		return [2]string{s.get(t, "/collections/trees/items?limit=1").header.Get("ETag"), s.get(t, "/collections").header.Get("ETag")}
	}
	before := tags()
	changed := func(what string) {
		t.Helper()
		after := tags()
		for i, name := range []string{"items", "collections"} {
			if after[i] == before[i] {
				t.Errorf("%s: the tag of %s is as before", what, name)
			}
		}
		before = after
	}
	for _, c := range []struct{ method, path, body string }{
		{"POST", "trees/items", tree},
		{"PATCH", "trees/items/4", `{"properties":{"species":"Acer rubrum"}}`},
		{"POST", "cuts/items", nothing + `{"tree_id":4,"kind":"stub"}}`},
		{"PATCH", "cuts/items/1", `{"properties":{"decay":true}}`},
		{"DELETE", "cuts/items/2", ""},
		{"POST", "visits/items", nothing + `{"tag":"T4","visited_on":"2026-01-02"}}`},
		{"PATCH", "visits/items/1", `{"properties":{"note":"again"}}`},
		{"PATCH", "targets/items/1", `{"properties":{"name":"Yard"}}`},
		{"PATCH", "counts/items/1", `{"properties":{"people":31}}`},
		{"DELETE", "counts/items/1", ""},
		{"PATCH", "sites/items/1", `{"properties":{"name":"High Quarter"}}`},
		{"PATCH", "sites/items/1", `{"geometry":{"type":"Polygon","coordinates":[[[25,54],[26,54],[26,55],[25,54]]]}}`},
		{"POST", "sites/items", nothing + `{"name":"Hill"}}`},
		{"DELETE", "sites/items/2", ""},
		{"DELETE", "targets/items/2", ""},
		{"DELETE", "trees/items/9", ""},
	} {
		mediaType := map[string]string{"POST": geoJSON, "PATCH": mergePatch}[c.method]
		if r := s.send(t, c.method, "/collections/"+c.path, mediaType, c.body); r.status >= 300 {
			t.Fatalf("%s %s: %d %s", c.method, c.path, r.status, r.body)
		}
		changed(c.method + " " + c.path)
	}
	for _, sql := range []string{
		`UPDATE gis.trees SET height_m = 9 WHERE tree_id = 5`, `DELETE FROM gis.visits`, `UPDATE gis.sites SET time_zone = 'UTC'`, `UPDATE gis.targets SET kind = 'other' WHERE target_id = 1`,
	} {
		pgtest.Exec(t, s.url, sql)
		changed(sql)
	}
}

// What the views for desktop GIS tell of a tree is what the service tells.
func TestViewsTellWhatTheServiceTells(t *testing.T) {
	s := serve(t, editing)
	s.run(t)
	viewed := pgtest.Query(t, s.url, `SELECT tree_id, site, tag, dbh_cm, over, likelihood, rule, round(harm_index::numeric, 6)::float8, rating, version, round(people::numeric, 6)::float8, st_asgeojson(geometry, 7) FROM gis.trees ORDER BY tree_id`)
	served := s.features(t, "/collections/trees/items?limit=1000").Features
	if len(viewed) != len(served) {
		t.Fatalf("%d in the view, %d served", len(viewed), len(served))
	}
	null := func(v any) string {
		switch v := v.(type) {
		case nil:
			return "∅"
		case []any:
			return strings.Trim(strings.ReplaceAll(fmt.Sprint(v), " ", ", "), "[]")
		}
		return fmt.Sprint(v)
	}
	dead := 0
	for i, f := range served {
		p := f.Properties
		cells := strings.Split(viewed[i], "|")
		for k, name := range []string{"site", "tag", "", "over", "likelihood", "rule", "harm_index", "rating", "version", "people"} {
			if name != "" && cells[k+1] != null(p[name]) {
				t.Errorf("tree %v: %s is %s in the view, %v served", f.ID, name, cells[k+1], null(p[name]))
			}
		}
		if want := `{"type":"Point","coordinates":` + string(f.Geometry.Coordinates) + `}`; cells[11] != want {
			t.Errorf("tree %v: %s in the view, %s served", f.ID, cells[11], want)
		}
		if p["rating"] == nil {
			dead++
		}
	}
	if dead > 20 {
		t.Errorf("%d trees have no rating", dead)
	}
}
