package postgres_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/mvt"
	"github.com/paulmach/orb/maptile"
	"github.com/paulmach/orb/planar"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/tiling"
)

// grove is trees at 60 degrees north, where metres to the east and to the north
// take differently many units, some dead, some leaning, some with a crown as
// surveyed, beside places of every shape and size.
const grove = `
INSERT INTO sites (client_id, name) VALUES (1, 'Grove');
INSERT INTO trees (client_id, site_id, tree_id, tag, status, height_m, crown_radius_m, lean_deg, lean_bearing_deg, crown, geometry)
SELECT 1, 1, n, 'G' || n, CASE WHEN n % 7 = 0 THEN 'dead' ELSE 'alive' END, 6 + n % 20, 2 + n % 4, CASE WHEN n % 11 = 0 THEN 30 END, CASE WHEN n % 11 = 0 THEN n % 360 END,
       CASE WHEN n % 13 = 0 THEN ST_SetSRID(ST_Envelope(ST_Buffer(p, 0.00004)), 4326) END, p
FROM generate_series(1, 400) n CROSS JOIN LATERAL (SELECT ST_SetSRID(ST_MakePoint(24.93 + n % 20 * 0.0003, 60.17 + n / 20 * 0.00015), 4326) p) q;
INSERT INTO targets (client_id, site_id, name, kind, people_per_hour, geometry)
SELECT 1, 1, 'P' || n, 'plaza', n, ST_Buffer(ST_SetSRID(ST_MakePoint(24.93 + n % 10 * 0.0006, 60.17 + n / 10 * 0.0006), 4326), 0.000001 * 3 ^ (n % 6)) FROM generate_series(1, 40) n;
INSERT INTO targets (client_id, site_id, name, kind, people_per_hour, geometry) VALUES
 (1, 1, 'Path', 'walkway', 80, ST_GeomFromText('LINESTRING(24.929 60.1695,24.936 60.173)', 4326)),
 (1, 1, 'Sliver', 'road', 80, ST_GeomFromText('POLYGON((24.93 60.17,24.936 60.17,24.936 60.17000001,24.93 60.17000001,24.93 60.17))', 4326));
`

func inGrove(t testing.TB, text string) (*postgres.DB, string) {
	t.Helper()
	url := pgtest.URL(t)
	pgtest.Exec(t, url, text)
	db, err := postgres.Open(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(db.Close)
	site, err := db.GetSite(t.Context(), 1, "")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Recompute(t.Context(), site, profile.Default(), day); err != nil {
		t.Fatal(err)
	}
	return db, url
}

func tileOf(t testing.TB, db *postgres.DB, layer string, tile maptile.Tile) *mvt.Layer {
	t.Helper()
	l, ok := inventory.GetTileLayer(layer)
	if !ok {
		t.Fatal(layer)
	}
	b, err := db.FindTile(t.Context(), inventory.TileQuery{Client: 1, Layer: l, Tile: tiling.Tile{Z: int(tile.Z), X: int(tile.X), Y: int(tile.Y)}})
	if err != nil {
		t.Fatal(err)
	}
	list, err := mvt.Unmarshal(b)
	if err != nil || len(list) != 1 || list[0].Name != layer {
		t.Fatalf("%s: %d layers, %v", layer, len(list), err)
	}
	return list[0]
}

var groveTile = maptile.At(orb.Point{24.932, 60.171}, 16)

// PostGIS puts the same trees of a tile and its buffer at the same units.
func TestTreeTileAgainstPostGIS(t *testing.T) {
	db, url := inGrove(t, grove)
	for _, z := range []maptile.Zoom{14, 16, 18} {
		tile := maptile.At(orb.Point{24.932, 60.171}, z)
		want := map[string]orb.Point{}
		for _, row := range pgtest.Query(t, url, fmt.Sprintf(`SELECT tree_id || ' ' || ST_X(g) || ' ' || ST_Y(g) FROM (SELECT tree_id,
			ST_AsMVTGeom(ST_Transform(geometry, 3857), ST_TileEnvelope(%d, %d, %d), 4096, 64, true) g FROM trees) q WHERE g IS NOT NULL`, z, tile.X, tile.Y)) {
			f := strings.Fields(row)
			x, _ := strconv.ParseFloat(f[1], 64)
			y, _ := strconv.ParseFloat(f[2], 64)
			want[f[0]] = orb.Point{x, y}
		}
		got := tileOf(t, db, "trees", tile)
		for _, f := range got.Features {
			id := strconv.FormatFloat(f.ID.(float64), 'f', -1, 64)
			p, w := f.Geometry.(orb.Point), want[id]
			// Half a unit may round either way.
			if math.Abs(p[0]-w[0]) > 1 || math.Abs(p[1]-w[1]) > 1 {
				t.Errorf("level %d: tree %s at %v, PostGIS has %v", z, id, p, w)
			}
		}
		if len(got.Features) != len(want) || len(want) == 0 {
			t.Errorf("level %d: %d trees, PostGIS has %d", z, len(got.Features), len(want))
		}
	}
}

// Zones have the area that PostGIS finds of the ground as the filter's zone and
// crown have it, in Pseudo Mercator.
func TestZoneTileAgainstPostGIS(t *testing.T) {
	db, url := inGrove(t, grove)
	want := map[string]float64{}
	for _, row := range pgtest.Query(t, url, fmt.Sprintf(`
		SELECT id || ' ' || ST_Area(ST_Intersection(ST_Transform(g, 3857), ST_Expand(ST_TileEnvelope(%[1]d, %[2]d, %[3]d), (ST_XMax(e) - ST_XMin(e)) / 64))) * (4096 / (ST_XMax(e) - ST_XMin(e))) ^ 2
		FROM (SELECT 4 * t.tree_id AS id, ground(t.geometry, e.ground_m, e.ground_bearing_deg, e.ground_width_deg) g FROM trees t JOIN exposures e USING (client_id, tree_id)
		      UNION ALL SELECT 4 * t.tree_id + 1, coalesce(t.crown, ground(t.geometry, e.crown_radius_m, 0, 360)) FROM trees t JOIN exposures e USING (client_id, tree_id)) z
		CROSS JOIN ST_TileEnvelope(%[1]d, %[2]d, %[3]d) e`, groveTile.Z, groveTile.X, groveTile.Y)) {
		f := strings.Fields(row)
		want[f[0]], _ = strconv.ParseFloat(f[1], 64)
	}
	seen := map[string]bool{}
	for _, f := range tileOf(t, db, "zones", groveTile).Features {
		id := strconv.FormatFloat(f.ID.(float64), 'f', -1, 64)
		seen[id] = true
		got, w := math.Abs(planar.Area(f.Geometry)), want[id]
		if math.Abs(got-w) > 0.02*w+4*math.Sqrt(w)+4 {
			t.Errorf("zone %s: %.0f square units, PostGIS has %.0f", id, got, w)
		}
	}
	for id, w := range want {
		if !seen[id] && w > 200 {
			t.Errorf("zone %s of %.0f square units is missing", id, w)
		}
	}
	if len(seen) < 100 {
		t.Errorf("%d zones", len(seen))
	}
}

// Each target that meets the tile is there, by itself or as a point; polygons
// have area and turn the right way.
func TestTargetTile(t *testing.T) {
	db, url := inGrove(t, grove)
	for _, z := range []maptile.Zoom{14, 16, 18} {
		tile := maptile.At(orb.Point{24.932, 60.171}, z)
		want := pgtest.Query(t, url, fmt.Sprintf(`SELECT target_id::text FROM targets WHERE ST_Intersects(geometry, ST_Transform(ST_TileEnvelope(%d, %d, %d), 4326))`, z, tile.X, tile.Y))
		found := map[string]string{}
		for _, f := range tileOf(t, db, "targets", tile).Features {
			found[strconv.FormatFloat(f.ID.(float64), 'f', -1, 64)] = f.Geometry.GeoJSONType()
			if p, ok := f.Geometry.(orb.Polygon); ok && (planar.Area(p[0]) == 0 || p[0].Orientation() != orb.CCW) {
				t.Errorf("level %d: target %v is %v", z, f.ID, p)
			}
		}
		for _, id := range want {
			// The sliver's point lies in one tile only.
			if found[id] == "" && id != "42" {
				t.Errorf("level %d: target %s is missing", z, id)
			}
		}
		if z == 14 && found["1"] != "Point" || z == 14 && found["41"] != "LineString" {
			t.Errorf("%v", found)
		}
	}
}

func BenchmarkTile(b *testing.B) {
	db, _ := inGrove(b, grove)
	for _, layer := range []string{"trees", "targets", "zones"} {
		b.Run(layer, func(b *testing.B) {
			for b.Loop() {
				tileOf(b, db, layer, groveTile)
			}
		})
	}
	l, _ := inventory.GetTileLayer("exposure")
	b.Run("exposure", func(b *testing.B) {
		for b.Loop() {
			if _, err := db.FindTile(b.Context(), inventory.TileQuery{Client: 1, Layer: l}); err != nil {
				b.Fatal(err)
			}
		}
	})
}
