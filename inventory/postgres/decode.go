package postgres

import (
	"fmt"
	"slices"

	"github.com/paulmach/orb/encoding/ewkb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

// lot is some trees of a chunk that lie near one another.
type lot struct {
	*chunk
	turns []turn
}

// turn is one tree of a chunk: where its row, cuts and visits are.
type turn struct {
	row         uint32
	cut, cuts   uint32 // first, and past the last
	visit, seen uint32
}

// lotTrees is how many trees a worker takes at a time.
const lotTrees = 4096

// placeBits are enough for the trees of a chunk, whose rows take 60 bytes at
// least, and leave room for the 36 bits of geo.AlongGround.
const placeBits = 28

// lots lays a chunk out in the order in which its trees lie on the ground: those
// after one another meet the same targets while the processor still has them at
// hand.
func (c *chunk) lots() []lot {
	turns := make([]turn, 0, len(c.rows)/100)
	// Where a tree stands, and its place in turns: to be sorted as plain numbers,
	// several times as fast as structures are.
	order := make([]uint64, 0, cap(turns))
	cut, visit := 0, 0
	for rows := (rowReader{c.rows}); ; {
		t := turn{row: uint32(len(c.rows) - len(rows.b))}
		if !rows.next() {
			break
		}
		id := inventory.TreeID(rows.int64())
		p, _ := rows.point() // what is wrong with it the decoder says
		order = append(order, geo.AlongGround(p)<<placeBits|uint64(len(turns)))
		rows.skip(treeStreamFields - 2)
		t.cut, t.cuts = ofTree(c.cuts, &cut, id, func(c *inventory.Cut) inventory.TreeID { return c.Tree })
		t.visit, t.seen = ofTree(c.visits, &visit, id, func(v *inventory.Visit) inventory.TreeID { return v.Tree })
		turns = append(turns, t)
	}
	slices.Sort(order)
	sorted := make([]turn, len(turns))
	for i, o := range order {
		sorted[i] = turns[o&(1<<placeBits-1)]
	}
	var lots []lot
	for part := range slices.Chunk(sorted, lotTrees) {
		lots = append(lots, lot{c, part})
	}
	return lots
}

// decoder turns lots into trees. It belongs to one goroutine and uses its memory
// again.
type decoder struct {
	list    []ranking.Facts
	species map[string]string // one string for each name, however many trees bear it
}

// decode reads a lot's trees, each with its cuts and visits.
func (d *decoder) decode(l lot) ([]ranking.Facts, error) {
	d.list = slices.Grow(d.list[:0], len(l.turns))[:len(l.turns)]
	for i := range l.turns {
		t, f := &l.turns[i], &d.list[i]
		*f = ranking.Facts{Cuts: l.cuts[t.cut:t.cuts:t.cuts], Visits: l.visits[t.visit:t.seen:t.seen]}
		rows := rowReader{l.rows[t.row:]}
		rows.next()
		if err := d.tree(&rows, &f.Tree); err != nil {
			return nil, err
		}
	}
	return d.list, nil
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
	for i := range t.CrownRadii {
		t.CrownRadii[i] = rows.float64()
	}
	t.RadiusFromSides()
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

// status avoids a string a row for the two words that are read.
func status(b []byte) inventory.TreeStatus {
	if string(b) == string(inventory.Dead) {
		return inventory.Dead
	}
	return inventory.Alive
}

// ofTree finds the rows of one tree from at on; rows of trees passed over
// (stumps, removed trees) are skipped.
func ofTree[T any](rows []T, at *int, id inventory.TreeID, of func(*T) inventory.TreeID) (from, to uint32) {
	for *at < len(rows) && of(&rows[*at]) < id {
		*at++
	}
	from = uint32(*at)
	for *at < len(rows) && of(&rows[*at]) == id {
		*at++
	}
	return from, uint32(*at)
}
