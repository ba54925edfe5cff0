package geo

import (
	"math"
	"math/bits"

	"github.com/paulmach/orb"
)

// grid numbers cells from the corner of the indexed bounds. A cell is 1<<shift
// steps wide and high, so that a box needs only its steps: whole numbers that
// take half the room of degrees, compare in one step of the machine and give
// the cell by a shift. Steps are as fine as 32 bits allow: micrometres for a
// town, some centimetres for the whole earth.
type grid struct {
	minX, minY float64
	perX, perY float64 // steps a degree
	endX, endY float64 // the last step
	nx, ny     int     // columns and rows of cells
	shift      uint
	blockShift uint // a block of 1<<blockShift steps is minBlockM or more wide
}

// steps is a box rounded down to steps of the grid. Rounding down keeps order,
// so boxes that meet in degrees meet in steps.
type steps struct{ x0, y0, x1, y1 uint32 }

func (s steps) meets(o steps) bool {
	return s.x0 <= o.x1 && s.x1 >= o.x0 && s.y0 <= o.y1 && s.y1 >= o.y0
}

func (g *grid) steps(b box) steps {
	return steps{
		uint32(min(max((b.minX-g.minX)*g.perX, 0), g.endX)), uint32(min(max((b.minY-g.minY)*g.perY, 0), g.endY)),
		uint32(min(max((b.maxX-g.minX)*g.perX, 0), g.endX)), uint32(min(max((b.maxY-g.minY)*g.perY, 0), g.endY)),
	}
}

// cells are the columns and rows of a box.
func (g *grid) cells(s steps) steps {
	return steps{s.x0 >> g.shift, s.y0 >> g.shift, s.x1 >> g.shift, s.y1 >> g.shift}
}

func (g *grid) key(column, row uint32) uint64 { return uint64(row)*uint64(g.nx) + uint64(column) }

// Cells are a little larger than the average piece, so that most pieces lie
// in few cells and a tree's zone touches few too. Both ends are limits of use:
// smaller cells than a crown gain nothing, and a list of mixed sizes (a
// country's outline among kerbs) must not fill memory with cells.
const (
	cellPerPiece = 1.5
	minCellM     = 30.0
	maxCellM     = 2000.0
	maxListed    = 8 // cells a piece, on average
	minBlockM    = 100.0
)

func chooseGrid(pieces []rawPiece, b box) grid {
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
		g := newGrid(b, &plane, cell)
		if g.listedBy(pieces) <= maxListed*len(pieces)+1000 {
			return g
		}
		cell *= 2
	}
}

func newGrid(b box, plane *Plane, cellM float64) grid {
	perX, perY := plane.kx/cellM, plane.ky/cellM
	g := grid{minX: b.minX, minY: b.minY}
	g.nx = int((b.maxX-b.minX)*perX) + 1
	g.ny = int((b.maxY-b.minY)*perY) + 1
	g.shift = uint(32 - bits.Len(uint(max(g.nx, g.ny))))
	g.blockShift = g.shift
	for width := cellM; width < minBlockM && g.blockShift < 31; width *= 2 {
		g.blockShift++
	}
	g.perX, g.perY = math.Ldexp(perX, int(g.shift)), math.Ldexp(perY, int(g.shift))
	g.endX, g.endY = float64(g.nx<<g.shift-1), float64(g.ny<<g.shift-1)
	return g
}

func (g *grid) listedBy(pieces []rawPiece) int {
	sum := 0
	for i := range pieces {
		c := g.cells(g.steps(pieces[i].box))
		sum += int(c.x1-c.x0+1) * int(c.y1-c.y0+1)
	}
	return sum
}
