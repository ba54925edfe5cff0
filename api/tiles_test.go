package api_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
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
	// Parts, of the plain form (RFC 9110, section 14).
	part := s.get(t, path, "Range", "bytes=10-29")
	if part.status != 206 || !bytes.Equal(part.body, first.body[10:30]) || part.header.Get("Content-Range") != fmt.Sprintf("bytes 10-29/%d", len(first.body)) || part.header.Get("ETag") != tag {
		t.Errorf("a part: %d, %v", part.status, part.header)
	}
	if r := s.get(t, path, "Range", "bytes=-7"); r.status != 206 || !bytes.Equal(r.body, first.body[len(first.body)-7:]) {
		t.Errorf("the end: %d, %d bytes", r.status, len(r.body))
	}
	for _, odd := range []string{"bytes=0-1,4-5", "bytes=999999-", "bytes=9-3", "bytes=-0", "bytes=-", "lines=1-2"} {
		if r := s.get(t, path, "Range", odd); r.status != 200 || !bytes.Equal(r.body, first.body) {
			t.Errorf("%s: %d, %d bytes", odd, r.status, len(r.body))
		}
	}
	if r := s.get(t, path, "Range", "bytes=10-29", "If-Range", `"another"`); r.status != 200 || !bytes.Equal(r.body, first.body) {
		t.Errorf("a part of another: %d, %d bytes", r.status, len(r.body))
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
