package postgres

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/ewkb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

// decoder turns chunks into trees. It belongs to one goroutine and uses its
// memory again.
type decoder struct {
	list    []ranking.Facts
	sorted  []ranking.Facts
	turns   []turn
	species map[string]string // one string for each name, however many trees bear it
}

// turn is the place of a tree in a chunk, to be sorted by where it stands.
type turn struct {
	key uint64
	at  int32
}

// decode reads a chunk's trees, each with its cuts and visits, in the order in
// which they lie on the ground: those after one another meet the same targets
// while the processor still has them at hand.
func (d *decoder) decode(c *chunk) ([]ranking.Facts, error) {
	d.list, d.turns = slices.Grow(d.list[:0], c.trees), d.turns[:0]
	rows := rowReader{c.rows}
	cut, visit := 0, 0
	for rows.next() {
		d.list = append(d.list, ranking.Facts{})
		f := &d.list[len(d.list)-1]
		if err := d.tree(&rows, &f.Tree); err != nil {
			return nil, err
		}
		f.Cuts = ofTree(c.cuts, &cut, f.Tree.ID, func(c *inventory.Cut) inventory.TreeID { return c.Tree })
		f.Visits = ofTree(c.visits, &visit, f.Tree.ID, func(v *inventory.Visit) inventory.TreeID { return v.Tree })
		d.turns = append(d.turns, turn{key: alongGround(f.Tree.Point), at: int32(len(d.turns))})
	}
	slices.SortFunc(d.turns, func(a, b turn) int { return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.at, b.at)) })
	d.sorted = slices.Grow(d.sorted[:0], len(d.list))[:len(d.list)]
	for i, t := range d.turns {
		d.sorted[i] = d.list[t.at]
	}
	return d.sorted, nil
}

// tree reads the columns of treeStream.
func (d *decoder) tree(rows *rowReader, t *inventory.Tree) error {
	t.ID = inventory.TreeID(rows.int64())
	var err error
	if t.Point, err = rows.point(); err != nil {
		return err
	}
	t.Status = status(rows.field())
	t.DBH, t.Height, t.CrownRadius = rows.float64(), rows.float64(), rows.float64()
	t.Species = d.name(rows.field())
	t.Lean, t.LeanBearing, t.Brittle = rows.float64(), rows.float64(), rows.bool()
	if crown := rows.field(); crown != nil {
		if t.Crown, _, err = ewkb.Unmarshal(crown); err != nil {
			return fmt.Errorf("tree %d: the surveyed crown: %w", t.ID, err)
		}
	}
	return nil
}

func (d *decoder) name(b []byte) string {
	if s, ok := d.species[string(b)]; ok {
		return s
	}
	s := string(b)
	d.species[s] = s
	return s
}

// alongGround is a key by which places near one another are mostly near in
// order: the bits of a grid of about 150 m, interleaved.
func alongGround(p orb.Point) uint64 {
	return spread(uint32((p[0]+180)*740)) | spread(uint32((p[1]+90)*740))<<1
}

// spread puts a zero between the bits of v.
func spread(v uint32) uint64 {
	x := uint64(v)
	x = (x | x<<16) & 0x0000ffff0000ffff
	x = (x | x<<8) & 0x00ff00ff00ff00ff
	x = (x | x<<4) & 0x0f0f0f0f0f0f0f0f
	x = (x | x<<2) & 0x3333333333333333
	return (x | x<<1) & 0x5555555555555555
}

// status avoids a string a row for the two words that are read.
func status(b []byte) inventory.TreeStatus {
	if string(b) == string(inventory.Dead) {
		return inventory.Dead
	}
	return inventory.Alive
}

// ofTree finds the rows of one tree from at on; rows of trees passed over
// (stumps, removed trees) are skipped.
func ofTree[T any](rows []T, at *int, id inventory.TreeID, of func(*T) inventory.TreeID) []T {
	for *at < len(rows) && of(&rows[*at]) < id {
		*at++
	}
	from := *at
	for *at < len(rows) && of(&rows[*at]) == id {
		*at++
	}
	return rows[from:*at:*at]
}
