package pmtiles

import (
	"testing"

	"github.com/underbough/underbough/inventory/tiling"
)

// The places that the format's specification gives as examples (spec/v3, 4.1).
func TestID(t *testing.T) {
	for _, c := range []struct {
		z, x, y int
		id      uint64
	}{
		{0, 0, 0, 0}, {1, 0, 0, 1}, {1, 0, 1, 2}, {1, 1, 1, 3}, {1, 1, 0, 4}, {2, 0, 0, 5}, {12, 3423, 1763, 19078479},
	} {
		if got := ID(tiling.Tile{Z: c.z, X: c.x, Y: c.y}); got != c.id {
			t.Errorf("%d/%d/%d is at %d, want %d", c.z, c.x, c.y, got, c.id)
		}
	}
	// Each place of a level is taken once, and neighbours on the curve touch.
	seen := map[uint64]tiling.Tile{}
	for x := range 16 {
		for y := range 16 {
			seen[ID(tiling.Tile{Z: 4, X: x, Y: y})] = tiling.Tile{Z: 4, X: x, Y: y}
		}
	}
	first := uint64(1 + 4 + 16 + 64)
	for id := first; id < first+256; id++ {
		a, ok := seen[id]
		if !ok {
			t.Fatalf("no tile is at %d", id)
		}
		if id > first {
			b := seen[id-1]
			if d := (a.X-b.X)*(a.X-b.X) + (a.Y-b.Y)*(a.Y-b.Y); d != 1 {
				t.Fatalf("%v comes after %v", a, b)
			}
		}
	}
}

func TestDirectory(t *testing.T) {
	var d Directory
	for i, c := range []struct {
		id     uint64
		digest string
		fresh  bool
	}{{5, "a", true}, {6, "a", false}, {7, "b", true}, {9, "b", false}, {10, "a", false}} {
		if got := d.Add(c.id, c.digest, 100); got != c.fresh {
			t.Errorf("tile %d: new is %v", i, got)
		}
	}
	if tiles, contents := d.Tiles(); tiles != 5 || contents != 2 || len(d.entries) != 4 || d.entries[0].run != 2 || d.bytes != 200 {
		t.Errorf("%d tiles, %d contents, %+v", tiles, contents, d.entries)
	}
}
