package api_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/mvt"
)

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
	t.Run("and every target", func(t *testing.T) {
		for _, z := range []int{0, 7} {
			tile, sum := over(25.281, 54.6803, z), 0.0
			for _, f := range layerOf(t, s.layers(t, "/collections/targets"+quad+rowColumn(tile)), "targets").Features {
				kinds := 0.0
				for name, v := range f.Properties {
					if name != "targets" {
						kinds += v.(float64)
					}
				}
				if sum += f.Properties["targets"].(float64); kinds != f.Properties["targets"] {
					t.Errorf("level %d: %v", z, f.Properties)
				}
			}
			if sum != 6 {
				t.Errorf("level %d: %v targets, want 6", z, sum)
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
