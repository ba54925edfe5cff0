package tiling

import "math"

// Cells divides a tile into squares, some along its side, and knows those of a
// ring around it as well. A square is the same whichever tile looks at it, and a
// place is in one square of a level: what lies on a side belongs to the east and
// the south of it.
type Cells struct {
	tile Tile
	side int
}

// NewCells returns the cells of a tile, side along its side.
func NewCells(t Tile, side int) Cells { return Cells{t, side} }

// Len is how many cells there are, the ring included.
func (c Cells) Len() int { return (c.side + 2) * (c.side + 2) }

// At returns the number of the cell of a place, given as Project does, and whether
// it lies within the tile rather than in the ring; -1 for neither.
func (c Cells) At(x, y float64) (at int, within bool) {
	n := float64(int(1) << c.tile.Z)
	all := int(n) * c.side
	column := min(int(math.Floor(x*n*float64(c.side))), all-1) - c.tile.X*c.side
	row := min(int(math.Floor(y*n*float64(c.side))), all-1) - c.tile.Y*c.side
	// Across the antimeridian the ring goes on at the other side.
	if column == all-1-c.tile.X*c.side && c.tile.X == 0 && c.tile.Z > 0 {
		column = -1
	} else if c.tile.X == 1<<c.tile.Z-1 && column == -c.tile.X*c.side && c.tile.Z > 0 {
		column = c.side
	}
	if column < -1 || column > c.side || row < -1 || row > c.side {
		return -1, false
	}
	return (row+1)*(c.side+2) + column + 1, column >= 0 && column < c.side && row >= 0 && row < c.side
}

// Within reports whether a cell is of the tile itself, and returns its square in
// units, turning clockwise as seen.
func (c Cells) Within(at int) (square [][2]int32, ok bool) {
	column, row := at%(c.side+2)-1, at/(c.side+2)-1
	if column < 0 || column >= c.side || row < 0 || row >= c.side {
		return nil, false
	}
	unit := Extent / c.side
	x0, y0 := int32(column*unit), int32(row*unit)
	x1, y1 := x0+int32(unit), y0+int32(unit)
	return [][2]int32{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}, true
}

// Into moves a place, in units, that rounding took out of its cell back into it:
// then the place says which cell it stands for.
func (c Cells) Into(at int, p [2]int32) [2]int32 {
	unit := int32(Extent / c.side)
	x0, y0 := int32(at%(c.side+2)-1)*unit, int32(at/(c.side+2)-1)*unit
	return [2]int32{max(x0, min(x0+unit-1, p[0])), max(y0, min(y0+unit-1, p[1]))}
}

// ID numbers the cells of a level; it is below 2^53 for levels to 20 and 64 cells
// along a tile.
func (c Cells) ID(at int) int64 {
	column, row := int64(at%(c.side+2)-1), int64(at/(c.side+2)-1)
	all := int64(c.side) << c.tile.Z
	return (int64(c.tile.Y)*int64(c.side)+row)*all + int64(c.tile.X)*int64(c.side) + column
}
