package geo

import (
	"math/bits"
	"slices"
)

// vicinities remember the blocks of the grid searched last. Trees come mostly
// near one another, and most of a search is the same for all trees of a block.
// A curve that fills the plane comes back to a block several times, so several
// are kept: the nearest 4 by 4.
type vicinities struct {
	ix           *Index
	blocks       [16]vicinity
	ids          []int32
	order        []uint64
	column, row  uint32 // of the last search's block
	roomX, roomY uint32 // steps about a block that its list covers
}

// vicinity is the list of pieces in and around one block, made once, in the
// order hits are wanted in, and kept in a form that takes 8 bytes and a few
// sums a piece to look through.
type vicinity struct {
	column, row uint32 // of the block, from 1; 0 is none
	cover       steps  // searches within it may use the list
	shift       uint   // from steps to lanes
	lanes       []uint64
	ids         []int32
}

// find lists the pieces of which the box meets a search, by place. A search
// far from the last is done as such: only one nearby shows that more may come.
func (v *vicinities) find(ix *Index, search box) []int32 {
	if v.ix != ix {
		v.forget(ix)
	}
	want := ix.grid.steps(search)
	halfX, halfY := (want.x1-want.x0)/2, (want.y1-want.y0)/2
	shift := ix.grid.blockShift
	column, row := (want.x0+halfX)>>shift+1, (want.y0+halfY)>>shift+1
	near := column-v.column+1 <= 2 && row-v.row+1 <= 2 // the same or a neighbour
	v.column, v.row = column, row
	b := &v.blocks[column%4*4+row%4]
	if b.column != column || b.row != row {
		if !near {
			v.ids = v.inOrder(ix, ix.gather(v.ids[:0], want))
			return v.ids
		}
		b.column, b.row, b.cover = column, row, nothing
	}
	if !b.cover.holds(want) {
		// Room for zones a quarter larger, and for the largest so far; but one
		// huge zone must not weigh on all that follow.
		v.roomX = max(v.roomX-v.roomX/16, halfX+halfX/4+1)
		v.roomY = max(v.roomY-v.roomY/16, halfY+halfY/4+1)
		b.coverAbout(&ix.grid, v.roomX, v.roomY)
		b.ids = v.inOrder(ix, ix.gather(b.ids[:0], b.cover))
		b.list(ix)
	}
	v.ids = b.pick(want, v.ids[:0])
	return v.ids
}

func (v *vicinities) forget(ix *Index) {
	v.ix, v.column, v.row, v.roomX, v.roomY = ix, 0, 0, 0, 0
	for i := range v.blocks {
		v.blocks[i].column = 0
	}
}

// inOrder sorts pieces by place.
func (v *vicinities) inOrder(ix *Index, ids []int32) []int32 {
	v.order = v.order[:0]
	for _, id := range ids {
		v.order = append(v.order, uint64(ix.pieces[id].place)<<32|uint64(id))
	}
	slices.Sort(v.order)
	for i, n := range v.order {
		ids[i] = int32(uint32(n))
	}
	return ids
}

// nothing holds no search.
var nothing = steps{x0: 1}

func (s steps) holds(o steps) bool {
	return o.x0 >= s.x0 && o.x1 <= s.x1 && o.y0 >= s.y0 && o.y1 <= s.y1
}

func (b *vicinity) coverAbout(g *grid, roomX, roomY uint32) {
	shift := g.blockShift
	x0, x1 := around(b.column-1, shift, roomX, g.endX)
	y0, y1 := around(b.row-1, shift, roomY, g.endY)
	b.cover = steps{x0, y0, x1, y1}
	b.shift = 0
	for max(x1-x0, y1-y0)>>b.shift > laneMax {
		b.shift++
	}
}

func (b *vicinity) list(ix *Index) {
	b.lanes = b.lanes[:0]
	for _, id := range b.ids {
		p := &ix.pieces[id]
		b.lanes = append(b.lanes, b.pack(p.x1, p.y1, p.x0, p.y0)|lanesTop)
	}
}

// around is a block's range of steps with room about it, within the grid.
func around(n uint32, shift uint, room uint32, end float64) (from, to uint32) {
	first, last := int64(n)<<shift, (int64(n)+1)<<shift-1
	return uint32(max(first-int64(room), 0)), uint32(min(last+int64(room), int64(end)))
}

// A box is packed into four lanes of 14 bits: its far sides and, counted from
// the other end, its near ones. The bit above a lane is set in the box, so that
// taking a search away lane by lane leaves it set where the box is not below
// the search: four comparisons in one step. Lanes are steps rounded down in the
// cover, which keeps order, so no box is missed.
const (
	laneBits = 15
	laneMax  = 1<<14 - 1
	lanesTop = 1<<14 | 1<<29 | 1<<44 | 1<<59
)

func (b *vicinity) pack(x, y, fromX, fromY uint32) uint64 {
	lane := func(n, low, high uint32) uint64 { return uint64((min(max(n, low), high) - low) >> b.shift) }
	c := &b.cover
	return lane(x, c.x0, c.x1) | lane(y, c.y0, c.y1)<<laneBits |
		(laneMax-lane(fromX, c.x0, c.x1))<<(2*laneBits) | (laneMax-lane(fromY, c.y0, c.y1))<<(3*laneBits)
}

// pick appends the pieces whose box meets a search within the cover.
func (b *vicinity) pick(want steps, ids []int32) []int32 {
	search := b.pack(want.x0, want.y0, want.x1, want.y1)
	for from := 0; from < len(b.lanes); from += 64 {
		found := uint64(0)
		some := b.lanes[from:min(from+64, len(b.lanes))]
		for i := len(some) - 1; i >= 0; i-- {
			missed := (some[i]-search)&lanesTop ^ lanesTop
			found = found<<1 | (missed-1)>>63 // 1 where no lane is missed
		}
		for ; found != 0; found &= found - 1 {
			ids = append(ids, b.ids[from+bits.TrailingZeros64(found)])
		}
	}
	return ids
}
