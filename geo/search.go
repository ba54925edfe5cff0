package geo

import (
	"slices"

	"github.com/paulmach/orb"
)

// Visit calls fn once for each piece whose box meets a bound in degrees, which
// may run past ±180. What fn is given are the caller's number of the target,
// the shape, and the piece's own box.
func (ix *Index) Visit(bound orb.Bound, fn func(ref int32, shape Shape, piece orb.Bound)) {
	if len(ix.pieces) == 0 {
		return
	}
	search := box{bound.Min[0], bound.Min[1], bound.Max[0], bound.Max[1]}
	if search.maxX-search.minX >= 360 {
		search.minX, search.maxX = ix.bounds.minX, ix.bounds.maxX
	}
	var ids []int32
	for _, shift := range turns {
		if !search.east(shift).meets(ix.bounds) {
			continue
		}
		for _, id := range ix.gather(nil, ix.grid.steps(search.east(shift))) {
			// Steps are coarser than degrees: some miss by a hair.
			if ix.boxOf(id).meets(search.east(shift)) {
				ids = append(ids, id)
			}
		}
	}
	slices.Sort(ids)
	for _, id := range slices.Compact(ids) {
		p, b := &ix.pieces[id], ix.boxOf(id)
		fn(p.ref, p.shape(), orb.Bound{Min: orb.Point{b.minX, b.minY}, Max: orb.Point{b.maxX, b.maxY}})
	}
}

func (ix *Index) boxOf(id int32) box {
	p := &ix.pieces[id]
	coords := ix.coords[2*int(p.start):]
	b := boxOf(nil)
	for i := range p.positions() {
		b.minX, b.maxX = min(b.minX, coords[2*i]), max(b.maxX, coords[2*i])
		b.minY, b.maxY = min(b.minY, coords[2*i+1]), max(b.maxY, coords[2*i+1])
	}
	return b
}

// turns are the ways an origin in [-180, 180] can meet the index's longitudes,
// which run from -360 to 360 at most.
var turns = [3]float64{0, 360, -360}

func (b box) east(degrees float64) box {
	b.minX += degrees
	b.maxX += degrees
	return b
}

func searchBox(p *Plane, radius float64) box {
	pad := radius + boxSlackM
	// Under half a turn, or a piece could be met twice close to a pole.
	lon := min(pad/p.kx, 179.9)
	lat := pad / p.ky
	return box{p.lon0 - lon, p.lat0 - lat, p.lon0 + lon, p.lat0 + lat}
}

// boxSlackM keeps rounding from deciding whether a box meets a zone, metres.
const boxSlackM = 1e-6

// gather appends the numbers of the pieces whose box meets a search, each
// once: a piece in several cells counts in the first of them that is searched.
func (ix *Index) gather(ids []int32, want steps) []int32 {
	g := &ix.grid
	c := g.cells(want)
	if uint64(c.x1-c.x0+1)*uint64(c.y1-c.y0+1) > uint64(len(ix.pieces)) {
		return ix.gatherAll(ids, want)
	}
	for row := c.y0; row <= c.y1; row++ {
		for column := c.x0; column <= c.x1; column++ {
			for _, id := range ix.cell(g.key(column, row)) {
				p := &ix.pieces[id]
				if p.meets(want) && max(p.x0>>g.shift, c.x0) == column && max(p.y0>>g.shift, c.y0) == row {
					ids = append(ids, id)
				}
			}
		}
	}
	return ids
}

func (ix *Index) gatherAll(ids []int32, want steps) []int32 {
	for i := range ix.pieces {
		if ix.pieces[i].meets(want) {
			ids = append(ids, int32(i))
		}
	}
	return ids
}
