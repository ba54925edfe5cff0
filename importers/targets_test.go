package importers_test

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
)

var shapes = collection(
	feature(`"id":1`, `{"type":"Point","coordinates":[8.5,47.2]}`),
	feature(`"id":2`, `{"type":"MultiPoint","coordinates":[[8.5,47.2],[8.51,47.2]]}`),
	feature(`"id":3`, `{"type":"LineString","coordinates":[[8.5,47.2],[8.51,47.2]]}`),
	feature(`"id":4`, `{"type":"MultiLineString","coordinates":[[[8.5,47.2],[8.51,47.2]],[[8.5,47.3],[8.51,47.3]]]}`),
	feature(`"id":5`, `{"type":"Polygon","coordinates":[[[8.5,47.2],[8.501,47.2],[8.501,47.201],[8.5,47.2]]]}`),
	feature(`"id":6`, `{"type":"MultiPolygon","coordinates":[[[[8.5,47.2],[8.501,47.2],[8.501,47.201],[8.5,47.2]]],[[[8.6,47.2],[8.601,47.2],[8.601,47.201],[8.6,47.2]]]]}`),
	// Clockwise, which is no fault.
	feature(`"id":7`, `{"type":"Polygon","coordinates":[[[8.5,47.2],[8.5,47.201],[8.501,47.201],[8.501,47.2],[8.5,47.2]]]}`),
	// A bow tie; each half is a triangle.
	feature(`"id":8`, `{"type":"Polygon","coordinates":[[[8.5,47.2],[8.502,47.202],[8.502,47.2],[8.5,47.202],[8.5,47.2]]]}`),
	// No ground at all.
	feature(`"id":9`, `{"type":"Polygon","coordinates":[[[8.5,47.2],[8.501,47.2],[8.5,47.2],[8.5,47.2]]]}`),
	feature(`"id":10`, `{"type":"Polygon","coordinates":[[[8.5,47.2],[200,47.2],[8.501,47.201],[8.5,47.2]]]}`),
	feature(`"id":11`, `null`),
	feature(`"id":12`, `{"type":"GeometryCollection","geometries":[]}`),
)

func TestTargetShapes(t *testing.T) {
	for _, road := range []string{"straight in", "merged"} {
		t.Run(road, func(t *testing.T) {
			w := newTown(t)
			if road == "merged" {
				w.load(file{role: inventory.RoleTargets, kind: "other", layer: "other", text: collection(feature(``, `{"type":"Point","coordinates":[8.5,47.2]}`))})
			}
			f := file{role: inventory.RoleTargets, kind: "parking", layer: "lots", name: "lots.geojson", text: shapes}
			c := w.want(f, 12, 8, 0, 0, 0, 4)
			if c.Repaired != 1 {
				t.Errorf("%d repaired, want the bow tie", c.Repaired)
			}
			w.is(`SELECT source_id, GeometryType(geometry) FROM targets WHERE layer = 'lots' AND source_id <> '8' ORDER BY source_id::int`,
				"1|POINT", "2|MULTIPOINT", "3|LINESTRING", "4|MULTILINESTRING", "5|POLYGON", "6|MULTIPOLYGON", "7|POLYGON")
			// The bow tie of 0.002 by 0.002 degrees has half the square's area.
			w.is(`SELECT ST_IsValid(geometry), round(ST_Area(geometry)::numeric, 9), ST_IsValid(geometry_as_read), ST_NPoints(geometry_as_read), repair IS NOT NULL FROM targets WHERE source_id = '8'`,
				"t|0.000002000|f|5|t")
			w.is(`SELECT record, field FROM quarantine ORDER BY record`, "9|geometry", "10|geometry", "11|geometry", "12|geometry")
			w.unmoved(func() { w.want(f, 12, 0, 0, 8, 0, 4) })
		})
	}
}

func TestLayers(t *testing.T) {
	w := newTown(t)
	point := feature(`"id":1,"name":"a"`, `{"type":"Point","coordinates":[8.5,47.2]}`)
	lots := file{role: inventory.RoleTargets, kind: "parking", layer: "lots", text: collection(point)}
	w.want(lots, 1, 1, 0, 0, 0, 0)
	seats := lots
	seats.layer, seats.kind = "seats", "seating"
	w.want(seats, 1, 1, 0, 0, 0, 0)
	w.is(`SELECT layer, source_id, kind FROM targets ORDER BY 1`, "lots|1|parking", "seats|1|seating")
	lots.kind = "plaza"
	w.want(lots, 1, 0, 1, 0, 0, 0)
	w.is(`SELECT layer, kind, version FROM targets ORDER BY 1`, "lots|plaza|2", "seats|seating|1")
}

func TestTargetsWithoutIDs(t *testing.T) {
	w := newTown(t)
	line := feature(`"name":"a"`, `{"type":"LineString","coordinates":[[8.5,47.2],[8.51,47.2]]}`)
	f := file{role: inventory.RoleTargets, kind: "walkway", layer: "paths", text: collection(line, line, strings.Replace(line, "8.51", "8.52", 1))}
	w.want(f, 3, 3, 0, 0, 0, 0)
	w.unmoved(func() { w.want(f, 3, 0, 0, 3, 0, 0) })
	f.text = strings.Replace(f.text, `"name":"a"`, `"name":"b"`, 1)
	w.want(f, 3, 0, 1, 2, 0, 0)
}

func TestTargetKinds(t *testing.T) {
	w := newTown(t)
	at := `{"type":"Point","coordinates":[8.5,47.2]}`
	f := file{role: inventory.RoleTargets, layer: "x", text: collection(
		feature(`"id":1,"kind":"Transit Stop"`, at), feature(`"id":2,"kind":"bus"`, at), feature(`"id":3`, at), feature(`"id":4,"kind":"playground","sheltered":"perhaps"`, at))}
	w.want(f, 4, 1, 0, 0, 0, 3)
	w.is(`SELECT kind FROM targets`, "transit_stop")
	held := w.held()
	for i, want := range []string{`2|kind|"bus" is none of parking`, "3|kind|the record does not say what kind", `4|sheltered|"perhaps" is neither yes nor no`} {
		if i >= len(held) || !strings.HasPrefix(held[i], want) {
			t.Errorf("held: %q, want %s", held, want)
		}
	}
}
