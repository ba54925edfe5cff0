package doubt

// grid holds the ranks of some plants in each draw, three bytes a rank.
type grid struct {
	width int // plants
	low   []uint16
	high  []uint8
}

const (
	bytesPerRank = 3
	maxTrees     = 1 << (8 * bytesPerRank)
)

func newGrid(width, draws int) *grid {
	return &grid{width: width, low: make([]uint16, width*draws), high: make([]uint8, width*draws)}
}

// row is the ranks of one draw.
type row struct {
	low  []uint16
	high []uint8
}

func (g *grid) row(draw int) row {
	from, to := draw*g.width, (draw+1)*g.width
	return row{low: g.low[from:to], high: g.high[from:to]}
}

// set keeps a plant's rank, unless the plant is none of the row's.
func (r row) set(plant int, rank uint32) {
	if uint(plant) < uint(len(r.low)) && uint(plant) < uint(len(r.high)) {
		r.low[plant], r.high[plant] = uint16(rank), uint8(rank>>16)
	}
}

// part is the ranks of n plants from one on.
func (r row) part(from, n int) row {
	return row{low: r.low[from : from+n], high: r.high[from : from+n]}
}
