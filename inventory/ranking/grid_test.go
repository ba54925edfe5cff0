package ranking_test

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"pgregory.net/rapid"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory/ranking"
)

// Cells cover the plane without gap or overlap: a point lies in the outline of
// its own cell by the ray-casting test of the orb library, and a cell has the
// area of its kind by elementary geometry, size² or size²·√3/2.
func TestGridCoversThePlane(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shape := rapid.SampledFrom([]string{"square", "hexagon"}).Draw(t, "shape")
		size := rapid.Float64Range(ranking.MinCell, 500).Draw(t, "size")
		middle := orb.Point{rapid.Float64Range(-170, 170).Draw(t, "lon"), rapid.Float64Range(-70, 70).Draw(t, "lat")}
		g, err := ranking.NewGrid(shape, size, middle)
		if err != nil {
			t.Fatal(err)
		}
		p := geo.NewPlane(middle).ToPoint(rapid.Float64Range(-3000, 3000).Draw(t, "x"), rapid.Float64Range(-3000, 3000).Draw(t, "y"))
		c := g.CellOf(p)
		outline := g.Outline(c)
		if !planar.PolygonContains(outline, p) {
			// On an edge either neighbour is right.
			if d := planar.DistanceFrom(outline[0], p); d > 1e-9 {
				t.Fatalf("%v is not in the outline of its cell %v", p, c)
			}
		}
		want := size * size
		if shape == "hexagon" {
			want *= math.Sqrt(3) / 2
		}
		plane := geo.NewPlane(middle)
		area := 0.0
		for i := 1; i < len(outline[0]); i++ {
			x0, y0 := plane.ToPlane(outline[0][i-1])
			x1, y1 := plane.ToPlane(outline[0][i])
			area += (x0*y1 - x1*y0) / 2
		}
		if math.Abs(area/want-1) > 1e-6 {
			t.Fatalf("area %v, expected %v", area, want)
		}
	})
}
