package question

import (
	"context"
	"slices"

	"golang.org/x/sync/errgroup"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/tiling"
	"github.com/underbough/underbough/inventory/tiling/pmtiles"
)

// Tile joins the layers of a tile: as the format has it, their bytes one after
// the other. state is what the store said of the inventory, or empty.
func Tile(ctx context.Context, store inventory.TileStore, layers []inventory.TileQuery, tile tiling.Tile, state string) ([]byte, error) {
	var out []byte
	for _, q := range layers {
		if !q.Layer.At(tile.Z) {
			continue
		}
		q.Tile, q.State = tile, state
		layer, err := store.FindTile(ctx, q)
		if err != nil {
			return nil, err
		}
		out = append(out, layer...)
	}
	return out, nil
}

// tilesAhead is how many tiles are made at a time.
const tilesAhead = 4

// EachTile hands on every tile from one level to another that holds something, in
// the order of PMTiles. level is told how many tiles of a level are to be looked
// at.
func EachTile(ctx context.Context, store inventory.TileStore, layers []inventory.TileQuery, least, most int, state string, level func(z, tiles int), take func(tiling.Tile, []byte) error) error {
	full := map[tiling.Tile]bool{}
	tiles := []tiling.Tile{{}}
	for z := 0; z <= most; z++ {
		if z > 0 {
			tiles = below(full, z == inventory.ZonesFrom)
			full = map[tiling.Tile]bool{}
		}
		slices.SortFunc(tiles, func(a, b tiling.Tile) int {
			if pmtiles.ID(a) < pmtiles.ID(b) {
				return -1
			}
			return 1
		})
		level(z, len(tiles))
		if err := inOrder(ctx, tiles, func(ctx context.Context, t tiling.Tile) ([]byte, error) {
			return Tile(ctx, store, layers, t, state)
		}, func(t tiling.Tile, b []byte) error {
			if len(b) == 0 {
				return nil
			}
			full[t] = true
			if z < least {
				return nil
			}
			return take(t, b)
		}); err != nil {
			return err
		}
	}
	return nil
}

// below lists the tiles of the next level in tiles that hold something: what is
// in a tile or its buffer is in that of the level before. Zones reach farther
// than the buffer where they begin, but not beyond the next tile.
func below(full map[tiling.Tile]bool, wide bool) []tiling.Tile {
	seen := map[tiling.Tile]bool{}
	var out []tiling.Tile
	for t := range full {
		from := []tiling.Tile{t}
		if wide {
			from = t.Around()
		}
		for _, t := range from {
			for i := range 4 {
				next := tiling.Tile{Z: t.Z + 1, X: 2*t.X + i&1, Y: 2*t.Y + i>>1}
				if !seen[next] {
					seen[next] = true
					out = append(out, next)
				}
			}
		}
	}
	return out
}

// inOrder makes tiles several at a time and takes them in order.
func inOrder(ctx context.Context, tiles []tiling.Tile, make1 func(context.Context, tiling.Tile) ([]byte, error), take func(tiling.Tile, []byte) error) error {
	g, ctx := errgroup.WithContext(ctx)
	type job struct {
		tile tiling.Tile
		done chan []byte
	}
	toDo, inTurn := make(chan job), make(chan job, tilesAhead)
	g.Go(func() (err error) {
		defer inventory.Recover(&err)
		defer close(toDo)
		defer close(inTurn)
		for _, t := range tiles {
			j := job{t, make(chan []byte, 1)}
			for _, to := range []chan job{toDo, inTurn} {
				select {
				case to <- j:
				case <-ctx.Done():
					return ctx.Err()
				}
			}
		}
		return nil
	})
	for range tilesAhead {
		g.Go(func() (err error) {
			defer inventory.Recover(&err)
			for j := range toDo {
				b, err := make1(ctx, j.tile)
				if err != nil {
					return err
				}
				j.done <- b
			}
			return nil
		})
	}
	g.Go(func() (err error) {
		defer inventory.Recover(&err)
		for j := range inTurn {
			select {
			case b := <-j.done:
				if err := take(j.tile, b); err != nil {
					return err
				}
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	return g.Wait()
}
