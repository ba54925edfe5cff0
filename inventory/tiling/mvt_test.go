package tiling

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/mvt"
	"github.com/paulmach/orb/geojson"
	"pgregory.net/rapid"
)

// sample is a layer with every kind of geometry and value.
func sample() *Layer {
	l := NewLayer("sample")
	l.Begin(7)
	l.Text("tag", []byte("T ž"))
	l.Int("n", 3)
	l.Int("below", -5)
	l.Float("f", 0.125)
	l.Points([2]int32{10, 20})
	l.End()
	l.Begin(1<<53 - 1)
	l.Text("tag", []byte("T ž"))
	l.Text("none", nil)
	l.Float("nan", math.NaN())
	l.Line([][2]int32{{0, 0}, {0, 0}, {100, 50}, {100, 50}, {-64, 4160}})
	l.End()
	l.Begin(9)
	l.Int("n", 3)
	l.Ring([][2]int32{{0, 0}, {0, 1000}, {1000, 1000}, {1000, 0}, {0, 0}}, false) // the wrong way round
	l.Ring([][2]int32{{100, 100}, {200, 100}, {200, 200}, {100, 200}}, true)
	l.Ring([][2]int32{{2000, 2000}, {2100, 2000}, {2100, 2100}}, false)
	l.End()
	l.Begin(10)
	l.Ring([][2]int32{{5, 5}, {5, 5}, {6, 6}}, false) // without area
	l.End()
	l.Begin(11)
	l.Line([][2]int32{{5, 5}, {5, 5}}) // without length
	l.End()
	return l
}

// orb reads what is written, with its own decoder.
func TestLayerReadByOrb(t *testing.T) {
	layers, err := mvt.Unmarshal(append(sample().Bytes(), sample().Bytes()...))
	if err != nil {
		t.Fatal(err)
	}
	if len(layers) != 2 || layers[0].Name != "sample" || layers[0].Version != 2 || layers[0].Extent != Extent {
		t.Fatalf("%+v", layers[0])
	}
	f := layers[0].Features
	if len(f) != 3 {
		t.Fatalf("%d features, want 3: what has no extent is left out", len(f))
	}
	if f[0].ID != 7.0 || f[0].Geometry != (orb.Point{10, 20}) {
		t.Errorf("%v %v", f[0].ID, f[0].Geometry)
	}
	want := geojson.Properties{"tag": "T ž", "n": 3.0, "below": -5.0, "f": 0.125}
	for k, v := range want {
		if got := f[0].Properties[k]; got != v {
			t.Errorf("%s: %v (%T), want %v", k, got, got, v)
		}
	}
	if len(f[0].Properties) != len(want) || len(f[1].Properties) != 1 || f[1].ID != float64(1<<53-1) {
		t.Errorf("%v; %v %v", f[0].Properties, f[1].ID, f[1].Properties)
	}
	if line := f[1].Geometry.(orb.LineString); len(line) != 3 || line[2] != (orb.Point{-64, 4160}) {
		t.Errorf("%v", line)
	}
	polygons := f[2].Geometry.(orb.MultiPolygon)
	if len(polygons) != 2 || len(polygons[0]) != 2 {
		t.Fatalf("%v", polygons)
	}
	// y is downwards: what turns clockwise as seen turns the other way to orb.
	if polygons[0][0].Orientation() != orb.CCW || polygons[0][1].Orientation() != orb.CW {
		t.Error("the rings turn the wrong way")
	}
}

// GDAL's MVT driver reads what is written.
func TestLayerReadByGDAL(t *testing.T) {
	if _, err := exec.LookPath("ogrinfo"); err != nil {
		t.Skip("ogrinfo is not there")
	}
	file := filepath.Join(t.TempDir(), "0.mvt")
	if err := os.WriteFile(file, sample().Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("ogrinfo", "-al", "-oo", "CLIP=NO", "MVT:"+file).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	for _, want := range []string{"Layer name: sample", "Feature Count: 3", "mvt_id (Integer64) = 9007199254740991", "tag (String) = T ž", "n (Integer) = 3", "below (Integer) = -5",
		"f (Real) = 0.125", "POINT (10 4076)", "LINESTRING (0 4096,100 4046,-64 -64)",
		"MULTIPOLYGON (((1000 4096,1000 3096,0 3096,0 4096,1000 4096),(100 3896,200 3896,200 3996,100 3996,100 3896)),((2000 2096,2100 2096,2100 1996,2000 2096)))"} {
		if !strings.Contains(string(out), want) {
			t.Errorf("%q is not in\n%s", want, out)
		}
	}
}

// A disc has its area whatever the latitude and level, but for the chords; it
// is cut along the buffer.
func TestGround(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lat := rapid.Float64Range(-75, 75).Draw(t, "lat")
		z := rapid.IntRange(16, 18).Draw(t, "z")
		radius := rapid.Float64Range(4, 60).Draw(t, "radius")
		at := orb.Point{25, lat}
		l := Cover(orb.Bound{Min: at, Max: at}, z)
		middle := Tile{z, l.MinX, l.MinY}.Degrees(0)[0].Center()
		tile := Tile{z, l.MinX, l.MinY}
		ring := tile.Ground(middle, radius, 0, 360)
		east, north := tile.UnitsPerMetre(middle[1])
		if radius*east > Extent/2 {
			return
		}
		want := math.Pi * radius * radius * east * north
		around := 2 * math.Sqrt(math.Pi*want)
		if got := Area(ring); got > want+around/4 || got < want*0.998-0.6*around {
			t.Fatalf("%v m at %v: %v units, want about %v", radius, lat, got, want)
		}
		half := tile.Ground(middle, radius, 90, 180)
		if got := Area(half); math.Abs(got-want/2) > 0.002*want+0.6*around {
			t.Fatalf("half of %v m at %v: %v units, want about %v", radius, lat, got, want/2)
		}
		x, _ := tile.Place(middle)
		for _, p := range half {
			if float64(p[0]) < x-1 {
				t.Fatalf("the eastern half has %v, west of %v", p, x)
			}
		}
	})
	tile := Tile{16, 37400, 20900}
	edge := tile.Degrees(0)[0].Min
	for _, p := range tile.Ground(edge, 40, 0, 360) {
		if p[0] < -Buffer || p[1] > Extent+Buffer {
			t.Errorf("%v is beyond the buffer", p)
		}
	}
	if far := tile.Ground(orb.Point{edge[0] - 0.01, edge[1]}, 40, 0, 360); far != nil {
		t.Errorf("%v of a disc far away", far)
	}
}
