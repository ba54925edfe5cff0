package api_test

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"
)

// TestGeometry compares what is written from well-known binary with PostGIS's
// own GeoJSON, rings turned by ST_ForcePolygonCCW (which turns lines round as
// well, so that it is kept from them).
func TestGeometry(t *testing.T) {
	s := serve(t, nil)
	s.exec(t, `DELETE FROM targets`)
	shapes := []string{
		"POINT(1.5 -2.25)", "LINESTRING(0 0,1 1,2 0)", "MULTIPOINT((1 2),(3 4))", "MULTILINESTRING((0 0,1 1),(2 2,3 3))",
		"POLYGON((0 0,0 4,4 4,4 0,0 0),(1 1,2 1,2 2,1 2,1 1))", "POLYGON((0 0,4 0,4 4,0 4,0 0),(1 1,1 2,2 2,2 1,1 1))",
		"MULTIPOLYGON(((0 0,0 1,1 1,1 0,0 0)),((5 5,6 5,6 6,5 5)))",
		"GEOMETRYCOLLECTION(POINT(1 1),LINESTRING(0 0,1 1))", "GEOMETRYCOLLECTION(POINT(1 1),POLYGON((0 0,0 1,1 1,1 0,0 0)))",
		"POINT(-179.99999994 89.12345678)", "LINESTRING(-0.00000001 0,1 1)",
	}
	for i, wkt := range shapes {
		s.exec(t, fmt.Sprintf(`INSERT INTO targets (client_id, site_id, target_id, kind, name, geometry, extra)
			SELECT 1, 1, %d, 'other', '%s', g, jsonb_build_object('want', ST_AsGeoJSON(CASE WHEN '%[2]s' LIKE '%%LINE%%' THEN g ELSE ST_ForcePolygonCCW(g) END, 7, 0)::jsonb) FROM ST_GeomFromText('%[2]s', 4326) g`, i+1, wkt))
	}
	for _, f := range parse[struct{ Features []map[string]any }](t, s.get(t, "/collections/targets/items").body).Features {
		p := f["properties"].(map[string]any)
		want := p["extra"].(map[string]any)["want"]
		if got := f["geometry"]; !near(got, want) {
			g, _ := json.Marshal(got)
			w, _ := json.Marshal(want)
			t.Errorf("%v: %s, PostGIS says %s", p["name"], g, w)
		}
	}
	t.Run("an empty geometry is null", func(t *testing.T) {
		// Rows from before it was refused.
		s.exec(t, `ALTER TABLE targets DROP CONSTRAINT targets_place`)
		for _, wkt := range []string{"POINT EMPTY", "POLYGON EMPTY", "GEOMETRYCOLLECTION EMPTY", "MULTIPOINT EMPTY"} {
			s.exec(t, fmt.Sprintf(`UPDATE targets SET geometry = ST_GeomFromText('%s', 4326) WHERE target_id = 1`, wkt))
			if got := parse[map[string]any](t, s.get(t, "/collections/targets/items/1").body); got["geometry"] != nil {
				t.Errorf("%s: %v", wkt, got["geometry"])
			}
		}
	})
}

// near compares decoded JSON, numbers to the last decimal that is served.
func near(a, b any) bool {
	switch a := a.(type) {
	case float64:
		b, ok := b.(float64)
		return ok && math.Abs(a-b) < 1.5e-7
	case []any:
		b, ok := b.([]any)
		if !ok || len(a) != len(b) {
			return false
		}
		for i := range a {
			if !near(a[i], b[i]) {
				return false
			}
		}
		return true
	case map[string]any:
		b, ok := b.(map[string]any)
		if !ok || len(a) != len(b) {
			return false
		}
		for k := range a {
			if !near(a[k], b[k]) {
				return false
			}
		}
		return true
	}
	return a == b
}

// TestText sends what JSON must escape through the whole service.
func TestText(t *testing.T) {
	s := serve(t, nil)
	for _, text := range []string{`quote " and \ back`, "line\nbreak\ttab\rreturn", "\x01\x1f\x7f", "žąsis 槐 🌳", "</script>"} {
		b, _ := json.Marshal(text)
		s.exec(t, fmt.Sprintf(`UPDATE trees SET condition = (%s::jsonb #>> '{}') WHERE tree_id = 1`, "$j$"+string(b)+"$j$"))
		if got := parse[feature](t, s.get(t, "/collections/trees/items/1").body); got.Properties["condition"] != text {
			t.Errorf("%q came as %q", text, got.Properties["condition"])
		}
	}
}
