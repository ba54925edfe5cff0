package tiling

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/maptile"
	"pgregory.net/rapid"
)

// The figures are those of WebMercatorQuad in OGC 17-083r4, annex D.1, as the
// registry of the standard has them (opengeospatial/2D-Tile-Matrix-Set).
func TestTileMatrixSet(t *testing.T) {
	for _, c := range []struct {
		z           int
		scale, cell float64
	}{
		{0, 559082264.028717, 156543.033928041},
		{1, 279541132.014358, 78271.5169640204},
		{5, 17471320.7508974, 4891.96981025128},
		{10, 545978.773465544, 152.874056570353},
		{14, 34123.6733415964, 9.55462853564703},
		{18, 2132.72958384978, 0.597164283477939},
		{24, 33.3238997476528, 0.0093306919293428},
	} {
		if got := ScaleDenominator(c.z); math.Abs(got-c.scale)/c.scale > 1e-12 {
			t.Errorf("scale denominator of level %d: %.9f, want %.9f", c.z, got, c.scale)
		}
		if got := CellSize(c.z); math.Abs(got-c.cell)/c.cell > 1e-12 {
			t.Errorf("cell size of level %d: %.12f, want %.12f", c.z, got, c.cell)
		}
	}
	if math.Abs(HalfWorld-20037508.3427892) > 1e-7 {
		t.Errorf("point of origin %.7f", HalfWorld)
	}
}

// orb's maptile follows the formulas of slippy maps.
func TestTilesAgainstMaptile(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := orb.Point{rapid.Float64Range(-179.99, 179.99).Draw(t, "lon"), rapid.Float64Range(-84.9, 84.9).Draw(t, "lat")}
		z := rapid.IntRange(0, 20).Draw(t, "z")
		want := maptile.Fraction(p, maptile.Zoom(z))
		n := float64(int(1) << z)
		x, y := Project(p)
		if math.Abs(x*n-want[0]) > 1e-7 || math.Abs(y*n-want[1]) > 1e-7 {
			t.Fatalf("%v at level %d: %v, %v; want %v", p, z, x*n, y*n, want)
		}
		if back := Unproject(x, y); math.Abs(back[0]-p[0]) > 1e-9 || math.Abs(back[1]-p[1]) > 1e-9 {
			t.Fatalf("%v comes back as %v", p, back)
		}
		tile := Tile{z, int(want[0]), int(want[1])}
		box, wantBox := tile.Degrees(0)[0], maptile.New(uint32(tile.X), uint32(tile.Y), maptile.Zoom(z)).Bound()
		for _, d := range []float64{box.Min[0] - wantBox.Min[0], box.Max[0] - wantBox.Max[0]} {
			if math.Abs(d) > 1e-9 {
				t.Fatalf("%v: %v, want %v", tile, box, wantBox)
			}
		}
		// The outermost rows reach to the poles here.
		if tile.Y > 0 && math.Abs(box.Max[1]-wantBox.Max[1]) > 1e-9 || tile.Y < 1<<z-1 && math.Abs(box.Min[1]-wantBox.Min[1]) > 1e-9 {
			t.Fatalf("%v: %v, want %v", tile, box, wantBox)
		}
		// On an edge either tile is right.
		edge := func(v float64) bool { return math.Abs(v-math.Round(v)) < 1e-6 }
		if l := Cover(orb.Bound{Min: p, Max: p}, z); edge(want[0]) || edge(want[1]) {
			return
		} else if !l.Contains(tile) || l.MinX != l.MaxX || l.MinY != l.MaxY {
			t.Fatalf("%v is covered by %v, want %v", p, l, tile)
		}
	})
}

func TestValid(t *testing.T) {
	for _, tile := range []Tile{{-1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {3, 8, 0}, {3, 0, 8}, {3, -1, 0}, {25, 0, 0}} {
		if tile.Valid() {
			t.Errorf("%v passes", tile)
		}
	}
	if !(Tile{3, 7, 7}).Valid() {
		t.Error("3/7/7 does not pass")
	}
}

func TestAcrossTheAntimeridian(t *testing.T) {
	east, west := Tile{10, 1023, 500}, Tile{10, 0, 500}
	if boxes := east.Degrees(Buffer); len(boxes) != 2 || boxes[1].Min[0] != -180 || !(boxes[1].Max[0] > -180 && boxes[1].Max[0] < -179.99) {
		t.Errorf("the easternmost tile: %v", boxes)
	}
	if boxes := west.Degrees(Buffer); len(boxes) != 2 || boxes[1].Max[0] != 180 {
		t.Errorf("the westernmost tile: %v", boxes)
	}
	if boxes := (Tile{0, 0, 0}).Degrees(Buffer); len(boxes) != 1 || boxes[0].Min != (orb.Point{-180, -90}) || boxes[0].Max != (orb.Point{180, 90}) {
		t.Errorf("the world: %v", boxes)
	}
	if x, _ := east.Place(orb.Point{-179.9999, 4}); x < Extent || x > Extent+2 {
		t.Errorf("just across: %v", x)
	}
	if x, _ := west.Place(orb.Point{179.9999, 4}); x > 0 || x < -2 {
		t.Errorf("just across: %v", x)
	}
}

// A place is in one cell of a level, and the ring of a tile is the cells of its
// neighbours.
func TestCells(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z := rapid.IntRange(0, 3).Draw(t, "z")
		p := orb.Point{rapid.SampledFrom([]float64{-180, -90, -45, 0, 33.75, 90, 179.9999999, 180}).Draw(t, "lon"), rapid.SampledFrom([]float64{-90, -85.05112877980659, -66.51326044311186, 0, 40.97989806962013, 85.05112877980659, 89}).Draw(t, "lat")}
		if rapid.Bool().Draw(t, "anywhere") {
			p = orb.Point{rapid.Float64Range(-180, 180).Draw(t, "x"), rapid.Float64Range(-90, 90).Draw(t, "y")}
		}
		within := map[int64]int{}
		ring := map[int64]bool{}
		for x := range 1 << z {
			for y := range 1 << z {
				cells := NewCells(Tile{z, x, y}, 64)
				at, in := cells.At(Project(p))
				if at < 0 {
					continue
				}
				if _, ok := cells.Within(at); ok != in {
					t.Fatalf("cell %d of %d/%d/%d: %v, %v", at, z, x, y, in, ok)
				}
				if in {
					within[cells.ID(at)]++
				} else if column := at%66 - 1; column >= 0 && column < 64 {
					ring[cells.ID(at)] = true
				}
			}
		}
		if len(within) != 1 {
			t.Fatalf("%v is in the cells %v", p, within)
		}
		for id, n := range within {
			if n != 1 {
				t.Fatalf("%v is in cell %d of %d tiles", p, id, n)
			}
			for r := range ring {
				if r != id {
					t.Fatalf("%v is in cell %d and in cell %d of a ring", p, id, r)
				}
			}
		}
	})
}

// Things in order are found by tile, at any level.
func TestGathered(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		places := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) orb.Point {
			return orb.Point{rapid.Float64Range(-180, 180).Draw(t, "lon"), rapid.Float64Range(-90, 90).Draw(t, "lat")}
		}), 1, 60).Draw(t, "places")
		g := make(Gathered, len(places))
		for i, p := range places {
			g[i].ID = int64(i)
			g[i].Put(p)
			x, y := g[i].At()
			wantX, wantY := Project(p)
			if math.Abs(x-wantX) > 1e-9 || math.Abs(y-wantY) > 1e-9 {
				t.Fatalf("%v is put at %v, %v; want %v, %v", p, x, y, wantX, wantY)
			}
		}
		sorted := make(Gathered, len(g))
		for to, from := range g.Order() {
			sorted[to] = g[from]
		}
		g = sorted
		z := rapid.IntRange(0, 4).Draw(t, "z")
		found := map[int64]Tile{}
		for x := range 1 << z {
			for y := range 1 << z {
				from, to := g.In(Tile{z, x, y})
				for _, one := range g[from:to] {
					if other, ok := found[one.ID]; ok {
						t.Fatalf("%d is in %v and in %v", one.ID, other, Tile{z, x, y})
					}
					found[one.ID] = Tile{z, x, y}
				}
			}
		}
		for i, p := range places {
			l := Cover(orb.Bound{Min: p, Max: p}, z)
			if found[int64(i)] != (Tile{z, l.MinX, l.MinY}) {
				t.Fatalf("%v is in %v, want %v", p, found[int64(i)], l)
			}
		}
	})
}
