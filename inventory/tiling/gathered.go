package tiling

import (
	"cmp"
	"slices"
	"sort"

	"github.com/paulmach/orb"
)

// Placed is what is summed up of a thing at a place. Forty bytes: a million of
// them are kept in memory.
type Placed struct {
	place            uint64 // x and y of Project, bit by bit in turn, so that each tile's are together
	ID               int64
	Harm             float64
	People, Vehicles float32
	Rating           uint8
	Rated            bool
}

// Put sets where it is, to a centimetre.
func (p *Placed) Put(at orb.Point) {
	x, y := Project(at)
	p.place = spread(unit32(x)) | spread(unit32(y))<<1
}

// At returns where it is, as Project does.
func (p *Placed) At() (x, y float64) {
	return float64(gather(p.place)) / (1 << 32), float64(gather(p.place>>1)) / (1 << 32)
}

// Before reports whether p comes before another in the order of their places.
func (p *Placed) Before(other *Placed) bool { return p.place < other.place }

func unit32(v float64) uint32 { return uint32(min(uint64(v*(1<<32)), 1<<32-1)) }

// spread puts a zero before each bit.
func spread(v uint32) uint64 {
	x := uint64(v)
	x = (x | x<<16) & 0x0000ffff0000ffff
	x = (x | x<<8) & 0x00ff00ff00ff00ff
	x = (x | x<<4) & 0x0f0f0f0f0f0f0f0f
	x = (x | x<<2) & 0x3333333333333333
	return (x | x<<1) & 0x5555555555555555
}

func gather(x uint64) uint32 {
	x &= 0x5555555555555555
	x = (x | x>>1) & 0x3333333333333333
	x = (x | x>>2) & 0x0f0f0f0f0f0f0f0f
	x = (x | x>>4) & 0x00ff00ff00ff00ff
	x = (x | x>>8) & 0x0000ffff0000ffff
	return uint32(x | x>>16)
}

// Gathered are things in the order of their places.
type Gathered []Placed

// Order returns the places in g of the things in their order: of those at one
// place the one that comes first in g first.
func (g Gathered) Order() []int32 {
	type key struct {
		place uint64
		at    int32
	}
	keys := make([]key, len(g))
	for i := range g {
		keys[i] = key{g[i].place, int32(i)}
	}
	slices.SortFunc(keys, func(a, b key) int {
		if a.place != b.place {
			return cmp.Compare(a.place, b.place)
		}
		return cmp.Compare(a.at, b.at)
	})
	order := make([]int32, len(g))
	for i := range keys {
		order[i] = keys[i].at
	}
	return order
}

// In returns where in g those in a tile begin and end.
func (g Gathered) In(t Tile) (from, to int) {
	if !t.Valid() {
		return 0, 0
	}
	if t.Z == 0 {
		return 0, len(g)
	}
	shift := 64 - 2*t.Z
	first := (spread(uint32(t.X)) | spread(uint32(t.Y))<<1) << shift
	last := first | (1<<shift - 1)
	from = sort.Search(len(g), func(i int) bool { return g[i].place >= first })
	return from, from + sort.Search(len(g)-from, func(i int) bool { return g[from+i].place > last })
}

// Around returns the tile and those next to it, across the antimeridian too.
func (t Tile) Around() []Tile {
	out := []Tile{t}
	n := 1 << t.Z
	for dx := -1; dx <= 1; dx++ {
		for dy := -1; dy <= 1; dy++ {
			next := Tile{t.Z, (t.X + dx + n) % n, t.Y + dy}
			if next.Valid() && !slices.Contains(out, next) {
				out = append(out, next)
			}
		}
	}
	return out
}
