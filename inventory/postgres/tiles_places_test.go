package postgres_test

import (
	"math"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/tiling"
)

// nowhere takes the checks of the geometries off, as tables from before them
// are, and puts in rows that have no place.
const nowhere = `
DO $$ DECLARE c record; BEGIN
	FOR c IN SELECT conrelid::regclass AS t, conname FROM pg_constraint WHERE contype = 'c' AND conrelid IN ('trees'::regclass, 'targets'::regclass)
		AND pg_get_constraintdef(oid) ILIKE '%geometry%' LOOP
		EXECUTE format('ALTER TABLE %s DROP CONSTRAINT %I', c.t, c.conname);
	END LOOP;
END $$;
INSERT INTO targets (client_id, site_id, name, kind, people_per_hour, geometry) VALUES
 (1, 1, 'empty', 'plaza', 1, ST_GeomFromText('POLYGON EMPTY', 4326)),
 (1, 1, 'empty line', 'road', 1, ST_GeomFromText('LINESTRING EMPTY', 4326)),
 (1, 1, 'no number', 'walkway', 1, ST_SetSRID(ST_MakeLine(ST_MakePoint('NaN', 'NaN'), ST_MakePoint('NaN', 'NaN')), 4326)),
 (1, 1, 'endless', 'walkway', 1, ST_SetSRID(ST_MakeLine(ST_MakePoint('-Infinity', 0), ST_MakePoint('Infinity', 0)), 4326));
INSERT INTO trees (client_id, site_id, tree_id, tag, height_m, crown_radius_m, geometry) VALUES
 (1, 1, 1001, 'empty', 10, 3, ST_GeomFromText('POINT EMPTY', 4326)),
 (1, 1, 1002, 'no number', 10, 3, ST_SetSRID(ST_MakePoint('NaN', 'NaN'), 4326)),
 (1, 1, 1003, 'half', 10, 3, ST_SetSRID(ST_MakePoint(24.93, 'NaN'), 4326)),
 (1, 1, 1004, 'endless', 10, 3, ST_SetSRID(ST_MakePoint('Infinity', 60.17), 4326));
`

// Rows without a place are in no tile, and take nothing else from it.
func TestTilesOfNowhere(t *testing.T) {
	url := pgtest.URL(t)
	pgtest.Exec(t, url, grove)
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
	at := tiling.Cover(tiling.Tile{Z: int(groveTile.Z), X: int(groveTile.X), Y: int(groveTile.Y)}.Degrees(-1)[0], int(groveTile.Z))
	tiles := func(state string) map[string]string {
		t.Helper()
		out := map[string]string{}
		for i := range inventory.TileLayers {
			l := &inventory.TileLayers[i]
			for z := l.MinZoom; z <= l.MaxZoom; z++ {
				if z > 16 {
					break
				}
				tile := tiling.Tile{Z: z, X: at.MinX >> (16 - z), Y: at.MinY >> (16 - z)}
				b, err := db.FindTile(t.Context(), inventory.TileQuery{Client: 1, Layer: l, Tile: tile, State: state})
				if err != nil {
					t.Errorf("%s at level %d: %v", l.ID, z, err)
				}
				out[l.ID+string(rune('a'+z))] = string(b)
			}
		}
		return out
	}
	extent := func() [4]float64 {
		t.Helper()
		var all [4]float64
		for i := range inventory.TileLayers {
			b, ok, err := db.TileExtent(t.Context(), inventory.TileQuery{Client: 1, Layer: &inventory.TileLayers[i]})
			if err != nil || !ok {
				t.Fatal(ok, err)
			}
			for k, v := range []float64{b.Min[0], b.Min[1], b.Max[0], b.Max[1]} {
				all[k] += v
			}
		}
		return all
	}
	before, box := tiles("before"), extent()
	pgtest.Exec(t, url, nowhere)
	for _, state := range []string{"", "after"} {
		for key, b := range tiles(state) {
			if b != before[key] {
				t.Errorf("state %q, %s: %d bytes, were %d", state, key, len(b), len(before[key]))
			}
		}
	}
	if now := extent(); now != box || math.IsNaN(now[0]) {
		t.Errorf("extent %v, was %v", now, box)
	}
	// A tree may lose its place after its exposure was worked out.
	pgtest.Exec(t, url, `UPDATE trees SET geometry = ST_SetSRID(ST_MakePoint('NaN', 'NaN'), 4326) WHERE tag = 'G5'`)
	for _, state := range []string{"", "moved"} {
		tiles(state)
	}
}
