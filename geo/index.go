package geo

import "unsafe"

// Index finds the pieces of many targets near a point. It does not change
// after Build and may be read from many goroutines at once.
//
// The pieces lie on a uniform grid of which only the cells in use are stored,
// in a hash table: one stray target on another continent costs one cell, and a
// town on both sides of the antimeridian no more than another.
// Pieces and their positions are kept in the order of a space-filling curve,
// so that neighbours are near in memory too.
type Index struct {
	pieces []piece
	coords []float64 // longitude, latitude, …
	bounds box
	grid   grid
	slots  []slot  // open addressing, a power of two long
	listed []int32 // piece numbers, cell by cell
}

// piece is a run of positions: a point, a line, or an open ring. A hole is a
// clockwise ring of its own: areas add up signed. It is kept to 32 bytes, two
// to a cache line, since a search looks at many.
type piece struct {
	steps
	start uint32 // of its first position, in positions
	n     uint32 // positions; the top bits are the shape
	ref   int32
	place uint32 // in the order of targets, then of the Builder
}

const shapeShift = 30

func (p *piece) shape() Shape   { return Shape(p.n >> shapeShift) }
func (p *piece) positions() int { return int(p.n & (1<<shapeShift - 1)) }

type slot struct {
	key        uint64
	start, end int32 // in listed; end 0 is a free slot
}

// Build makes the index. The Builder must not be used afterwards.
func (b *Builder) Build() *Index {
	ix := &Index{}
	pieces, coords := b.pieces, b.coords
	b.pieces, b.coords, b.buf = nil, nil, nil
	if len(pieces) == 0 {
		return ix
	}
	ix.bounds = boundsOf(pieces)
	ix.grid = chooseGrid(pieces, ix.bounds)
	ix.order(pieces, coords)
	ix.list()
	return ix
}

func boundsOf(pieces []rawPiece) box {
	b := pieces[0].box
	for i := range pieces {
		p := &pieces[i]
		b.minX, b.maxX = min(b.minX, p.minX), max(b.maxX, p.maxX)
		b.minY, b.maxY = min(b.minY, p.minY), max(b.maxY, p.maxY)
	}
	return b
}

// order sorts the pieces along a Z-order curve through their middles and
// copies the positions to match.
func (ix *Index) order(pieces []rawPiece, coords []float64) {
	g := &ix.grid
	ranks := make([]ranked, len(pieces))
	for i := range pieces {
		p := &pieces[i]
		x, y := (p.minX+p.maxX)/2, (p.minY+p.maxY)/2
		middle := g.cells(g.steps(box{x, y, x, y}))
		ranks[i] = ranked{curve(middle.x0, middle.y0), int32(i)}
	}
	places := placesOf(pieces)
	ix.pieces = make([]piece, len(ranks))
	ix.coords = make([]float64, 0, len(coords))
	for i, r := range rank(ranks) {
		p := &pieces[r.id]
		ix.pieces[i] = piece{
			steps: g.steps(p.box), start: uint32(len(ix.coords) / 2),
			n: uint32(p.n) | uint32(p.shape)<<shapeShift, ref: p.ref, place: places[r.id],
		}
		first := 2 * int(p.start)
		ix.coords = append(ix.coords, coords[first:first+2*int(p.n)]...)
	}
}

// placesOf numbers the pieces in the order of their targets.
func placesOf(pieces []rawPiece) []uint32 {
	places := make([]uint32, len(pieces))
	sorted := true
	for i := range pieces {
		places[i] = uint32(i)
		sorted = sorted && (i == 0 || pieces[i-1].ref <= pieces[i].ref)
	}
	if sorted {
		return places // as nearly every caller adds them
	}
	ranks := make([]ranked, len(pieces))
	for i := range pieces {
		ranks[i] = ranked{refKey(pieces[i].ref), int32(i)}
	}
	for place, r := range rank(ranks) {
		places[r.id] = uint32(place)
	}
	return places
}

// list fills the cells.
func (ix *Index) list() {
	g := &ix.grid
	n := 0
	for i := range ix.pieces {
		c := g.cells(ix.pieces[i].steps)
		n += int(c.x1-c.x0+1) * int(c.y1-c.y0+1)
	}
	all := make([]ranked, 0, n)
	for i := range ix.pieces {
		c := g.cells(ix.pieces[i].steps)
		for row := c.y0; row <= c.y1; row++ {
			for column := c.x0; column <= c.x1; column++ {
				all = append(all, ranked{g.key(column, row), int32(i)})
			}
		}
	}
	all = rank(all)
	cells := 0
	for i := range all {
		if i == 0 || all[i].key != all[i-1].key {
			cells++
		}
	}
	size := 4
	for size < 2*cells {
		size *= 2
	}
	ix.slots = make([]slot, size)
	ix.listed = make([]int32, len(all))
	for start := 0; start < len(all); {
		end := start
		for ; end < len(all) && all[end].key == all[start].key; end++ {
			ix.listed[end] = all[end].id
		}
		ix.put(slot{all[start].key, int32(start), int32(end)})
		start = end
	}
}

func (ix *Index) put(s slot) {
	mask := uint64(len(ix.slots) - 1)
	at := scatter(s.key) & mask
	for ix.slots[at].end != 0 {
		at = (at + 1) & mask
	}
	ix.slots[at] = s
}

// cell is the pieces listed in a cell.
func (ix *Index) cell(key uint64) []int32 {
	mask := uint64(len(ix.slots) - 1)
	for at := scatter(key) & mask; ; at = (at + 1) & mask {
		s := &ix.slots[at]
		if s.end == 0 {
			return nil
		}
		if s.key == key {
			return ix.listed[s.start:s.end]
		}
	}
}

// scatter is Fibonacci hashing (Knuth, The Art of Computer Programming 3, 6.4).
func scatter(key uint64) uint64 { return key * 0x9e3779b97f4a7c15 >> 20 }

// Memory is the size of the index in bytes.
func (ix *Index) Memory() int64 {
	return int64(unsafe.Sizeof(*ix)) + int64(cap(ix.pieces))*int64(unsafe.Sizeof(piece{})) +
		int64(cap(ix.coords))*8 + int64(cap(ix.slots))*int64(unsafe.Sizeof(slot{})) + int64(cap(ix.listed))*4
}

// Pieces is the number of stored pieces.
func (ix *Index) Pieces() int { return len(ix.pieces) }
