package api_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/mvt"
	"github.com/paulmach/orb/maptile"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
)

const quad = "/tiles/WebMercatorQuad"

// layers decodes a tile with orb's decoder; nil where there is nothing.
func (s *service) layers(t testing.TB, path string, headers ...string) mvt.Layers {
	t.Helper()
	r := s.get(t, path, headers...)
	if r.status == 204 {
		return nil
	}
	if r.status != 200 || r.header.Get("Content-Type") != "application/vnd.mapbox-vector-tile" {
		t.Fatal(path, r.status, r.header.Get("Content-Type"), string(r.body))
	}
	list, err := mvt.Unmarshal(r.body)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return list
}

func layerOf(t testing.TB, list mvt.Layers, name string) *mvt.Layer {
	t.Helper()
	for _, l := range list {
		if l.Name == name {
			return l
		}
	}
	t.Fatalf("no layer %s among %d", name, len(list))
	return nil
}

// over is the tile of a level over a place, by the formulas that maptile has.
func over(lon, lat float64, z int) maptile.Tile {
	return maptile.At(orb.Point{lon, lat}, maptile.Zoom(z))
}

func rowColumn(tile maptile.Tile) string { return fmt.Sprintf("/%d/%d/%d", tile.Z, tile.Y, tile.X) }

// quarterTile is a tile of level 16 over most of the quarter.
var quarterTile = over(25.281, 54.6803, 16)

// Every tree of a tile is where the collection has it: the row stands before the
// column, and TileJSON's y and x are the row and the column.
func TestTilePlaces(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	var tilejson struct {
		TileJSON     string
		Tiles        []string
		MinZoom      int
		MaxZoom      int
		Bounds       []float64
		VectorLayers []struct {
			ID     string
			Fields map[string]string
		} `json:"vector_layers"`
	}
	if err := json.Unmarshal(s.get(t, quad+"/tilejson").body, &tilejson); err != nil {
		t.Fatal(err)
	}
	if tilejson.TileJSON != "3.0.0" || len(tilejson.Tiles) != 1 || len(tilejson.VectorLayers) != 4 || tilejson.MaxZoom != 18 || len(tilejson.Bounds) != 4 {
		t.Fatalf("%+v", tilejson)
	}
	at := map[string]orb.Point{}
	for _, f := range s.walk(t, "/collections/trees/items?limit=1000", nil) {
		var c struct{ Coordinates orb.Point }
		if err := json.Unmarshal(f.Geometry.Coordinates, &c.Coordinates); err != nil {
			t.Fatal(err)
		}
		at[fmt.Sprint(f.ID)] = c.Coordinates
	}
	found := map[string]bool{}
	for dx := range uint32(3) {
		for dy := range uint32(3) {
			tile := maptile.New(quarterTile.X+dx-1, quarterTile.Y+dy-1, quarterTile.Z)
			url := strings.NewReplacer("{z}", fmt.Sprint(tile.Z), "{x}", fmt.Sprint(tile.X), "{y}", fmt.Sprint(tile.Y)).Replace(tilejson.Tiles[0])
			list := s.layers(t, url)
			if list == nil {
				continue
			}
			for _, described := range tilejson.VectorLayers {
				for _, l := range list {
					for _, f := range l.Features {
						for name := range f.Properties {
							if l.Name == described.ID && described.Fields[name] == "" {
								t.Fatalf("%s has %s, which TileJSON does not name", l.Name, name)
							}
						}
					}
				}
			}
			list.ProjectToWGS84(tile)
			for _, l := range list {
				if l.Version != 2 || l.Extent != 4096 {
					t.Fatalf("%s: version %d, extent %d", l.Name, l.Version, l.Extent)
				}
				if l.Name != "trees" {
					continue
				}
				for _, f := range l.Features {
					id := strconv.FormatFloat(f.ID.(float64), 'f', -1, 64)
					p, want := f.Geometry.(orb.Point), at[id]
					// A unit of level 16 is 0.15 m.
					if math.Abs(p[0]-want[0]) > 2e-6 || math.Abs(p[1]-want[1]) > 2e-6 {
						t.Fatalf("tree %s is at %v, want %v", id, p, want)
					}
					if f.Properties["tag"] != "T"+id || f.Properties["trees"] != 1.0 || f.Properties["site"] != "Low Quarter" {
						t.Fatalf("tree %s: %v", id, f.Properties)
					}
					found[id] = true
				}
			}
		}
	}
	if len(found) != len(at) {
		t.Errorf("%d trees in the tiles, %d in the collection", len(found), len(at))
	}
}

// The values of a tree are those of the collection, to three digits.
func TestTileValues(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	want := map[float64]feature{}
	for _, f := range s.walk(t, "/collections/trees/items?limit=1000", nil) {
		want[f.ID.(float64)] = f
	}
	seen := 0
	for _, f := range layerOf(t, s.layers(t, "/collections/trees"+quad+rowColumn(quarterTile)), "trees").Features {
		p := want[f.ID.(float64)].Properties
		for _, name := range []string{"species", "status", "rating"} {
			if p[name] != f.Properties[name] {
				t.Fatalf("tree %v: %s %v, want %v", f.ID, name, f.Properties[name], p[name])
			}
		}
		for _, name := range []string{"harm_index", "people", "vehicles"} {
			w, ok := p[name].(float64)
			if got, has := f.Properties[name].(float64); has != ok || math.Abs(got-w) > 0.006*w+1e-6 {
				t.Fatalf("tree %v: %s %v, want %v", f.ID, name, f.Properties[name], p[name])
			}
		}
		for _, name := range []string{"over", "cut_kinds"} {
			got, _ := f.Properties[name].(string)
			var list []string
			words, _ := p[name].([]any)
			for _, w := range words {
				list = append(list, w.(string))
			}
			kinds := strings.Split(got, ",")
			if name == "cut_kinds" {
				slices.Sort(kinds)
				slices.Sort(list)
			}
			if strings.Join(kinds, ",") != strings.Join(list, ",") {
				t.Fatalf("tree %v: %s %q, want %q", f.ID, name, got, list)
			}
			seen += len(list)
		}
	}
	if seen < 20 {
		t.Errorf("only %d words compared", seen)
	}
}

// world spreads trees over the whole world, on the sides and corners of tiles
// too, beyond the square and on both sides of the antimeridian.
const world = `
INSERT INTO sites (client_id, name) VALUES (1, 'World');
INSERT INTO trees (client_id, site_id, tag, species, geometry)
SELECT 1, (SELECT site_id FROM sites WHERE name = 'World'), 'W' || n, 'Quercus robur',
       ST_SetSRID(ST_MakePoint(n * 37 % 36000 / 100.0 - 180, n * 7 % 17900 / 100.0 - 89.5), 4326) FROM generate_series(1, 20000) n;
INSERT INTO trees (client_id, site_id, tag, geometry)
SELECT 1, (SELECT site_id FROM sites WHERE name = 'World'), 'E' || x || '/' || y, ST_SetSRID(ST_MakePoint(x, y), 4326)
FROM unnest(ARRAY[-180, -90, -45, 0, 11.25, 90, 179.9999999, 180]) x, unnest(ARRAY[-90, -85.0511287798066, -66.51326044311186, 0, 40.97989806962013, 85.0511287798066, 90]) y;
`

// No tree is dropped without a trace: at each level the tiles count every tree
// once.
func TestTilesCountEveryTree(t *testing.T) {
	s := serve(t, nil)
	s.exec(t, world)
	s.run2(t)
	trees := 260.0 + 20000 + 56
	for _, z := range []int{0, 1, 3, 4} {
		sums, points, filtered := 0.0, 0.0, 0.0
		for x := range 1 << z {
			for y := range 1 << z {
				path := fmt.Sprintf("%s/%d/%d/%d", quad, z, y, x)
				for _, l := range s.layers(t, path+"?collections=exposure,trees") {
					sums += sumOf(t, l, "exposure")
					points += sumOf(t, l, "trees")
				}
				// With a filter they are counted by another way.
				for _, l := range s.layers(t, "/collections/trees"+path+"?filter=version%3E0") {
					filtered += sumOf(t, l, "trees")
				}
			}
		}
		if sums != trees || points != trees || filtered != trees {
			t.Errorf("level %d: %v trees in squares, %v in points, %v with a filter; want %v", z, sums, points, filtered, trees)
		}
	}
	t.Run("and sums what is under them", func(t *testing.T) {
		want, rated := 0.0, 0.0
		for _, f := range s.walk(t, "/collections/trees/items?site=Low%20Quarter&limit=1000", nil) {
			if harm, ok := f.Properties["harm_index"].(float64); ok {
				want, rated = want+harm, rated+1
			}
		}
		for _, z := range []int{0, 8, 13} {
			tile := over(25.281, 54.6803, z)
			got, n, none := 0.0, 0.0, 0.0
			for _, f := range layerOf(t, s.layers(t, quad+rowColumn(tile)+"?site=Low%20Quarter"), "exposure").Features {
				got += number(f.Properties["harm_sum"])
				for name, v := range f.Properties {
					if name == "rating_none" {
						none += v.(float64)
					} else if strings.HasPrefix(name, "rating_") {
						n += v.(float64)
					}
				}
			}
			if math.Abs(got-want) > 0.005*want || n != rated || n+none != 260 || want == 0 {
				t.Errorf("level %d: harm %v of %v rated and %v other trees, want %v of %v", z, got, n, none, want, rated)
			}
		}
	})
	t.Run("in a tile of the world that is small", func(t *testing.T) {
		for _, path := range []string{"/collections/trees" + quad + "/0/0/0", quad + "/0/0/0?collections=exposure", quad + "/0/0/0?collections=targets"} {
			if r := s.get(t, path); r.status != 200 || len(r.body) > 500_000 {
				t.Errorf("%s: %d, %d bytes", path, r.status, len(r.body))
			}
		}
		list := s.layers(t, quad+"/0/0/0")
		if n := len(layerOf(t, list, "trees").Features); n < 1000 || n > 4096 {
			t.Errorf("%d points for 20,000 trees", n)
		}
	})
	t.Run("across the antimeridian", func(t *testing.T) {
		// The tree at 180 is in the easternmost tile, and in the buffer of the
		// westernmost one.
		for _, c := range []struct {
			x    int
			want bool
		}{{1<<14 - 1, true}, {0, true}, {1, false}} {
			found := false
			for _, l := range s.layers(t, fmt.Sprintf("/collections/trees%s/14/%d/%d", quad, over(0, 40.97989806962013, 14).Y, c.x)) {
				for _, f := range l.Features {
					found = found || f.Properties["tag"] == "E179.9999999/40.97989806962013"
				}
			}
			if found != c.want {
				t.Errorf("column %d has the tree at the antimeridian: %v", c.x, found)
			}
		}
	})
}

func number(v any) float64 { f, _ := v.(float64); return f }

// run2 works the exposures of the quarter out where there are two sites.
func (s *service) run2(t testing.TB) {
	t.Helper()
	if r := s.get(t, "/ranking?limit=1&site=Low%20Quarter"); r.status != 200 {
		t.Fatal(r.status, string(r.body))
	}
}

// sumOf adds up the trees of a layer's features within the tile itself.
func sumOf(t *testing.T, l *mvt.Layer, name string) (sum float64) {
	if l.Name != name {
		return 0
	}
	for _, f := range l.Features {
		if p, ok := f.Geometry.(orb.Point); ok && (p[0] < 0 || p[1] < 0 || p[0] >= 4096 || p[1] >= 4096) {
			continue
		}
		sum += f.Properties["trees"].(float64)
	}
	return sum
}

// countingStore counts the layers that are made.
type countingStore struct {
	*postgres.DB
	made atomic.Int64
}

func (c *countingStore) FindTile(ctx context.Context, q inventory.TileQuery) ([]byte, error) {
	c.made.Add(1)
	return c.DB.FindTile(ctx, q)
}

func TestTileCache(t *testing.T) {
	store := &countingStore{}
	s := serve(t, nil)
	store.DB = s.db
	s = serveOn(t, s, func(c *api.Config) { c.Store = store })
	s.run(t)
	path := "/collections/trees" + quad + rowColumn(quarterTile)
	var wg sync.WaitGroup
	for range 12 {
		wg.Add(1)
		go func() { defer wg.Done(); s.layers(t, path) }()
	}
	wg.Wait()
	if n := store.made.Load(); n != 1 {
		t.Errorf("12 requests made the tile %d times", n)
	}
	first := s.get(t, path)
	tag := first.header.Get("ETag")
	if tag == "" || strings.HasPrefix(tag, "W/") {
		t.Errorf("tag %q", tag)
	}
	for range 20 {
		again := s.get(t, path)
		if again.header.Get("ETag") != tag || !bytes.Equal(again.body, first.body) {
			t.Fatal("the same tile has another tag or other bytes")
		}
	}
	if r := s.get(t, path, "If-None-Match", tag); r.status != 304 || len(r.body) != 0 || r.header.Get("ETag") != tag {
		t.Errorf("%d, %d bytes", r.status, len(r.body))
	}
	if r := s.do(t, "HEAD", path); r.status != 200 || len(r.body) != 0 || r.header.Get("Content-Length") != strconv.Itoa(len(first.body)) {
		t.Errorf("HEAD: %d, %v", r.status, r.header)
	}
	zipped := s.get(t, path, "Accept-Encoding", "gzip")
	if zipped.header.Get("Content-Encoding") != "gzip" || zipped.header.Get("ETag") == tag || !strings.Contains(strings.Join(zipped.header.Values("Vary"), ","), "Accept-Encoding") {
		t.Errorf("%v", zipped.header)
	}
	plain, err := gzip.NewReader(bytes.NewReader(zipped.body))
	if err != nil {
		t.Fatal(err)
	}
	if b, err := io.ReadAll(plain); err != nil || !bytes.Equal(b, first.body) {
		t.Errorf("gzip holds other bytes: %v", err)
	}
	if r := s.get(t, path, "Accept-Encoding", "gzip", "If-None-Match", zipped.header.Get("ETag")); r.status != 304 {
		t.Errorf("the tag of the gzipped tile gives %d", r.status)
	}
	if n := store.made.Load(); n != 1 {
		t.Errorf("the tile was made %d times", n)
	}
	// Another server over the same inventory makes the same bytes.
	if other := serveOn(t, s, nil).get(t, path); !bytes.Equal(other.body, first.body) || other.header.Get("ETag") != tag {
		t.Error("another server has another tile")
	}
	s.exec(t, `UPDATE trees SET tag = 'renamed' WHERE tree_id = 105`)
	after := s.get(t, path, "If-None-Match", tag)
	if after.status != 200 || after.header.Get("ETag") == tag || bytes.Equal(after.body, first.body) || !bytes.Contains(after.body, []byte("renamed")) {
		t.Errorf("after an edit: %d, tag %s", after.status, after.header.Get("ETag"))
	}
	if r := s.get(t, "/collections/trees"+quad+"/10/0/0"); r.status != 204 || len(r.body) != 0 {
		t.Errorf("an empty tile: %d, %q", r.status, r.body)
	}
}

func TestTileFaults(t *testing.T) {
	s := serve(t, nil)
	for path, want := range map[string]int{
		"/collections/trees" + quad + "/19/0/0":                       404,
		"/collections/trees" + quad + "/3/8/0":                        404,
		"/collections/trees" + quad + "/3/0/8":                        404,
		"/collections/trees" + quad + "/3/-1/0":                       404,
		"/collections/trees" + quad + "/03/1/1":                       404,
		"/collections/trees" + quad + "/a/b/c":                        404,
		"/collections/zones" + quad + "/15/0/0":                       404,
		"/collections/trees/tiles/WorldCRS84Quad/0/0/0":               404,
		"/collections/trees/tiles/WorldCRS84Quad":                     404,
		"/collections/cuts/tiles":                                     404,
		"/collections/overlaps" + quad:                                404,
		"/collections/none/tiles":                                     404,
		"/tileMatrixSets/WorldCRS84Quad":                              404,
		"/collections/trees" + quad + "/3/0/0?unknown=1":              400,
		"/collections/trees" + quad + "/3/0/0?filter=nothing%3D1":     400,
		"/collections/trees" + quad + "/3/0/0?filter=tag%3D":          400,
		"/collections/zones" + quad + "/16/0/0?filter=tag%3D%27T1%27": 400,
		"/collections/trees" + quad + "/3/0/0?site=none":              400,
		"/collections/trees" + quad + "/3/0/0?f=png":                  400,
		quad + "/3/0/0?collections=cuts":                              400,
		quad + "/3/0/0?filter=tag%3D%27T1%27":                         400,
		"/collections/trees" + quad + "/3/0/0?limit=1":                400,
		"/collections/trees" + quad + "/3/0/0":                        204,
	} {
		r := s.get(t, path, "Origin", "https://elsewhere.example")
		if r.status != want {
			t.Errorf("%s: %d, want %d: %s", path, r.status, want, r.body)
		}
		if r.header.Get("Access-Control-Allow-Origin") != "*" || want >= 400 && r.header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: %v", path, r.header)
		}
	}
	if r := s.get(t, quad+"/3/0/0", "Accept", "image/png"); r.status != 406 {
		t.Errorf("Accept image/png: %d", r.status)
	}
}

func TestTileFilter(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	path := "/collections/trees" + quad + rowColumn(quarterTile)
	all := layerOf(t, s.layers(t, path), "trees").Features
	dead := layerOf(t, s.layers(t, path+"?filter=status%3D%27dead%27"), "trees").Features
	want := 0
	for _, f := range all {
		if f.Properties["status"] == "dead" {
			want++
		}
	}
	if len(dead) != want || want == 0 || want == len(all) {
		t.Errorf("%d dead trees, want %d of %d", len(dead), want, len(all))
	}
}

func TestTileDocuments(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	type set struct {
		DataType         string
		CRS              string
		TileMatrixSetURI string
		Links            []struct {
			Href, Rel, Type string
			Templated       bool
		}
		TileMatrixSetLimits []struct {
			TileMatrix                                     string
			MinTileRow, MaxTileRow, MinTileCol, MaxTileCol int
		}
	}
	for _, of := range []string{"", "/collections/trees", "/collections/targets", "/collections/zones"} {
		var list struct{ Tilesets []set }
		if err := json.Unmarshal(s.get(t, of+"/tiles").body, &list); err != nil || len(list.Tilesets) != 1 || list.Tilesets[0].DataType != "vector" {
			t.Fatalf("%s: %+v %v", of, list, err)
		}
		self := ""
		for _, l := range list.Tilesets[0].Links {
			if l.Rel == "self" {
				self = l.Href
			}
		}
		var one set
		if err := json.Unmarshal(s.get(t, self).body, &one); err != nil {
			t.Fatal(err)
		}
		if one.DataType != "vector" || one.CRS != "http://www.opengis.net/def/crs/EPSG/0/3857" || one.TileMatrixSetURI != "http://www.opengis.net/def/tilematrixset/OGC/1.0/WebMercatorQuad" {
			t.Errorf("%s: %+v", of, one)
		}
		links := map[string]string{}
		for _, l := range one.Links {
			links[l.Rel] = l.Href
			if l.Rel == "item" && (!l.Templated || l.Type != "application/vnd.mapbox-vector-tile") {
				t.Errorf("%s: %+v", of, l)
			}
		}
		// The tile over the quarter is within the limits and at the linked address.
		within := false
		for _, l := range one.TileMatrixSetLimits {
			within = within || l.TileMatrix == "16" && l.MinTileRow <= int(quarterTile.Y) && int(quarterTile.Y) <= l.MaxTileRow && l.MinTileCol <= int(quarterTile.X) && int(quarterTile.X) <= l.MaxTileCol && l.MaxTileCol-l.MinTileCol < 8
		}
		if !within {
			t.Errorf("%s: limits %+v", of, one.TileMatrixSetLimits)
		}
		tile := strings.NewReplacer("{tileMatrix}", "16", "{tileRow}", fmt.Sprint(quarterTile.Y), "{tileCol}", fmt.Sprint(quarterTile.X)).Replace(links["item"])
		if len(s.layers(t, tile)) == 0 {
			t.Errorf("%s: nothing at %s", of, tile)
		}
		var scheme struct {
			ID           string
			TileMatrices []struct {
				ID                        string
				ScaleDenominator          float64
				CellSize                  float64
				PointOfOrigin             [2]float64
				MatrixWidth, MatrixHeight int
			}
		}
		if err := json.Unmarshal(s.get(t, links["http://www.opengis.net/def/rel/ogc/1.0/tiling-scheme"]).body, &scheme); err != nil {
			t.Fatal(err)
		}
		// The figures of level 3 as the registry of the standard has them.
		m := scheme.TileMatrices[3]
		if scheme.ID != "WebMercatorQuad" || len(scheme.TileMatrices) != 25 || m.ID != "3" || math.Abs(m.ScaleDenominator-69885283.0035897) > 1e-6 || math.Abs(m.CellSize-19567.8792410051) > 1e-9 ||
			math.Abs(m.PointOfOrigin[0]+20037508.3427892) > 1e-6 || m.MatrixWidth != 8 || m.MatrixHeight != 8 {
			t.Errorf("%+v", m)
		}
	}
	var style struct {
		Version int
		Center  orb.Point
		Sources map[string]struct {
			Type  string
			Tiles []string
		}
		Layers []struct {
			ID     string
			Source string
			Layer  string `json:"source-layer"`
		}
	}
	if err := json.Unmarshal(s.get(t, "/style.json?site=Low%20Quarter").body, &style); err != nil {
		t.Fatal(err)
	}
	drawn := map[string]bool{}
	for _, l := range style.Layers {
		drawn[l.Layer] = true
	}
	if style.Version != 8 || !drawn["trees"] || !drawn["targets"] || !drawn["zones"] || !drawn["exposure"] || math.Abs(style.Center[0]-25.281) > 0.01 || !strings.HasSuffix(style.Sources["underbough"].Tiles[0], "/{z}/{y}/{x}?site=Low+Quarter") {
		t.Errorf("%+v", style)
	}
}

// GDAL's MVT driver reads each layer, and puts the trees where they are.
func TestTileReadByGDAL(t *testing.T) {
	if _, err := exec.LookPath("ogr2ogr"); err != nil {
		t.Skip("ogr2ogr is not there")
	}
	s := serve(t, nil)
	s.run(t)
	file := filepath.Join(t.TempDir(), "tile.mvt")
	if err := os.WriteFile(file, s.get(t, quad+rowColumn(quarterTile)).body, 0o644); err != nil {
		t.Fatal(err)
	}
	counts := map[string]int{}
	for _, layer := range []string{"trees", "targets", "zones"} {
		cmd := exec.Command("ogr2ogr", "-f", "GeoJSON", "/vsistdout/", "-t_srs", "EPSG:4326", "-s_srs", "EPSG:3857", "-oo", "CLIP=NO",
			"-oo", fmt.Sprint("X=", quarterTile.X), "-oo", fmt.Sprint("Y=", quarterTile.Y), "-oo", fmt.Sprint("Z=", quarterTile.Z), "MVT:"+file, layer)
		out, err := cmd.Output()
		if err != nil {
			t.Fatalf("%s: %v %s", layer, err, out)
		}
		var c struct {
			Features []struct {
				Properties map[string]any
				Geometry   struct {
					Type        string
					Coordinates json.RawMessage
				}
			}
		}
		if err := json.Unmarshal(out, &c); err != nil {
			t.Fatal(err)
		}
		counts[layer] = len(c.Features)
		for _, f := range c.Features {
			if layer != "trees" {
				continue
			}
			var p orb.Point
			if err := json.Unmarshal(f.Geometry.Coordinates, &p); err != nil {
				t.Fatal(err)
			}
			n := f.Properties["mvt_id"].(float64)
			want := orb.Point{25.28 + math.Mod(n, 20)*0.000144, 54.68 + math.Floor(n/20)*0.00009}
			if math.Abs(p[0]-want[0]) > 2e-6 || math.Abs(p[1]-want[1]) > 2e-6 {
				t.Fatalf("tree %v is at %v, want %v", n, p, want)
			}
		}
	}
	list := s.layers(t, quad+rowColumn(quarterTile))
	for name := range maps.Keys(counts) {
		if counts[name] != len(layerOf(t, list, name).Features) || counts[name] == 0 {
			t.Errorf("%s: %d features to GDAL, %d to orb", name, counts[name], len(layerOf(t, list, name).Features))
		}
	}
}

func BenchmarkTileCached(b *testing.B) {
	s := serve(b, nil)
	s.run(b)
	for b.Loop() {
		if r := s.get(b, quad+rowColumn(quarterTile), "Accept-Encoding", "gzip"); r.status != 200 {
			b.Fatal(r.status)
		}
	}
}
