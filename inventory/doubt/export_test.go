package doubt

import "testing"

// The parts of a draw that are checked by themselves.
var (
	Mix  = mix
	Exp2 = exp2
)

const (
	Step       = step
	NormalBits = normalBits
)

// Normal returns the normal numbers of a draw by their bits.
func Normal() func(uint64) float32 { return newNormals().at }

// RankOf returns the place of each harm, from base on.
func RankOf(harms []float32, base int) []uint32 {
	var o orderer
	g := newGrid(len(harms), 1)
	o.rank(harms, g.row(0), 0, base)
	out := make([]uint32, len(harms))
	for i := range out {
		out[i] = uint32(g.high[i])<<16 | uint32(g.low[i])
	}
	return out
}

// SortRanks sorts by the sorter that summaries use.
func SortRanks(_ *testing.T, lists ...[]uint32) {
	for _, l := range lists {
		newSorter(len(l)).sort(l)
	}
}
