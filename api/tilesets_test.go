package api_test

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/paulmach/orb"
)

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
