package geo

import (
	"cmp"
	"slices"

	"github.com/paulmach/orb"
)

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
	coords []float64
	bounds box
	grid   grid
	slots  []slot  // open addressing, a power of two long
	listed []int32 // piece numbers, cell by cell
}

type slot struct {
	key        uint64
	start, end int32 // in listed; end 0 is a free slot
}

// grid numbers cells from the corner of the indexed bounds.
type grid struct {
	minX, minY float64
	perX, perY float64 // cells a degree
	nx, ny     int     // columns and rows
}

func (g *grid) column(lon float64) int {
	return min(max(int((lon-g.minX)*g.perX), 0), g.nx-1)
}

func (g *grid) row(lat float64) int {
	return min(max(int((lat-g.minY)*g.perY), 0), g.ny-1)
}

func (g *grid) key(column, row int) uint64 { return uint64(row)*uint64(g.nx) + uint64(column) }

// Build makes the index. The Builder must not be used afterwards.
func (b *Builder) Build() *Index {
	ix := &Index{pieces: b.pieces}
	coords := b.coords
	b.pieces, b.coords, b.buf = nil, nil, nil
	if len(ix.pieces) == 0 {
		return ix
	}
	ix.bounds = boundsOf(ix.pieces)
	ix.grid = chooseGrid(ix.pieces, ix.bounds)
	ix.order(coords)
	ix.list()
	return ix
}

func boundsOf(pieces []piece) box {
	b := pieces[0].box
	for i := range pieces {
		p := &pieces[i]
		b.minX, b.maxX = min(b.minX, p.minX), max(b.maxX, p.maxX)
		b.minY, b.maxY = min(b.minY, p.minY), max(b.maxY, p.maxY)
	}
	return b
}

// Cells are a little larger than the average piece, so that most pieces lie
// in few cells and a tree's zone touches few too. Both ends are limits of use:
// smaller cells than a crown gain nothing, and a list of mixed sizes (a
// country's outline among kerbs) must not fill memory with cells.
const (
	cellPerPiece = 1.5
	minCellM     = 30.0
	maxCellM     = 2000.0
	maxListed    = 8 // cells a piece, on average
)

func chooseGrid(pieces []piece, b box) grid {
	var lat, width, height float64
	for i := range pieces {
		p := &pieces[i]
		lat += (p.minY + p.maxY) / 2
		width += p.maxX - p.minX
		height += p.maxY - p.minY
	}
	n := float64(len(pieces))
	plane := NewPlane(orb.Point{0, min(max(lat/n, -85), 85)})
	cell := cellPerPiece * max(width/n*plane.kx, height/n*plane.ky)
	cell = min(max(cell, minCellM), maxCellM)
	for {
		g := grid{minX: b.minX, minY: b.minY, perX: plane.kx / cell, perY: plane.ky / cell}
		g.nx = int((b.maxX-b.minX)*g.perX) + 1
		g.ny = int((b.maxY-b.minY)*g.perY) + 1
		if g.listedBy(pieces) <= maxListed*len(pieces)+1000 {
			return g
		}
		cell *= 2
	}
}

func (g *grid) listedBy(pieces []piece) int {
	sum := 0
	for i := range pieces {
		p := &pieces[i]
		sum += (g.column(p.maxX) - g.column(p.minX) + 1) * (g.row(p.maxY) - g.row(p.minY) + 1)
	}
	return sum
}

// order sorts the pieces along a Z-order curve through their middles and
// copies the positions to match.
func (ix *Index) order(coords []float64) {
	type ranked struct {
		curve uint64
		id    int32
	}
	ranks := make([]ranked, len(ix.pieces))
	for i := range ix.pieces {
		p := &ix.pieces[i]
		column, row := ix.grid.column((p.minX+p.maxX)/2), ix.grid.row((p.minY+p.maxY)/2)
		ranks[i] = ranked{spread(column) | spread(row)<<1, int32(i)}
	}
	slices.SortFunc(ranks, func(a, b ranked) int {
		return cmp.Or(cmp.Compare(a.curve, b.curve), cmp.Compare(a.id, b.id))
	})
	sorted := make([]piece, len(ranks))
	ix.coords = make([]float64, 0, len(coords))
	for i, r := range ranks {
		p := ix.pieces[r.id]
		from := coords[2*int(p.start) : 2*(int(p.start)+int(p.n))]
		p.start = uint32(len(ix.coords) / 2)
		ix.coords = append(ix.coords, from...)
		sorted[i] = p
	}
	ix.pieces = sorted
}

// spread puts a zero between the low 32 bits.
func spread(v int) uint64 {
	x := uint64(uint32(v))
	x = (x | x<<16) & 0x0000ffff0000ffff
	x = (x | x<<8) & 0x00ff00ff00ff00ff
	x = (x | x<<4) & 0x0f0f0f0f0f0f0f0f
	x = (x | x<<2) & 0x3333333333333333
	return (x | x<<1) & 0x5555555555555555
}

// list fills the cells.
func (ix *Index) list() {
	type listing struct {
		key uint64
		id  int32
	}
	all := make([]listing, 0, ix.grid.listedBy(ix.pieces))
	g := &ix.grid
	for i := range ix.pieces {
		p := &ix.pieces[i]
		for row := g.row(p.minY); row <= g.row(p.maxY); row++ {
			for column := g.column(p.minX); column <= g.column(p.maxX); column++ {
				all = append(all, listing{g.key(column, row), int32(i)})
			}
		}
	}
	slices.SortFunc(all, func(a, b listing) int {
		return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.id, b.id))
	})
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
	const pieceBytes, slotBytes = 48, 16
	return int64(cap(ix.pieces))*pieceBytes + int64(cap(ix.coords))*8 +
		int64(cap(ix.slots))*slotBytes + int64(cap(ix.listed))*4
}

// Pieces is the number of stored pieces.
func (ix *Index) Pieces() int { return len(ix.pieces) }
