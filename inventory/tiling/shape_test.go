package tiling

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
)

// Whatever a row holds, a zone is a ring or nothing.
func TestGroundOfAnything(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	tile := Tile{15, 18684, 10500}
	middle := Unproject((18684.5)/32768, (10500.5)/32768)
	values := []float64{nan, inf, -inf, 0, 90, -90, 95, 1e300}
	for _, v := range values {
		for _, at := range []orb.Point{{v, middle[1]}, {middle[0], v}, {v, v}, middle} {
			for _, r := range []float64{20, v} {
				for _, turn := range []float64{45, v} {
					for _, wide := range []float64{90, 360, v} {
						tile.Ground(at, r, turn, wide)
					}
				}
			}
		}
		if ring := tile.Ground(middle, v, 0, 360); (v != v || v < 0 || math.IsInf(v, 0)) && ring != nil {
			t.Errorf("radius %v: %v", v, ring)
		}
	}
	if tile.Ground(middle, 20, 0, 360) == nil {
		t.Error("nothing in the middle of the tile")
	}
}

// A tree at a pole is drawn on the side of the square and is as small there as
// others: the scale of the projection has no end at the pole.
func TestGroundAtThePole(t *testing.T) {
	for _, lat := range []float64{90, -90, 89.99, 86} {
		row := 0
		if lat < 0 {
			row = 1<<15 - 1
		}
		ring := Tile{15, 100, row}.Ground(orb.Point{(100.5/32768 - 0.5) * 360, lat}, 20, 0, 360)
		if ring == nil {
			t.Errorf("nothing at latitude %v", lat)
		}
		for _, p := range ring {
			// 20 m at 85.05 degrees: 20/cos = 232 m of the 1223 m along the tile's side.
			if p[0] < 2048-790 || p[0] > 2048+790 {
				t.Errorf("at latitude %v it reaches %v", lat, p)
			}
		}
	}
}
