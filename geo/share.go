package geo

import (
	"cmp"
	"slices"
)

// share is what one piece has in one zone.
type share struct {
	key   uint64 // target, zone, shape: the order of hits
	place uint32 // of the piece among all: the order to add up in
	value float64
}

func newShare(pc *piece, zone int, value float64) share {
	return share{refKey(pc.ref)<<32 | uint64(zone)<<8 | uint64(pc.shape()), pc.place, value}
}

// refKey orders as refs do: turning the sign bit puts negative numbers first.
func refKey(ref int32) uint64 { return uint64(uint32(ref) ^ 1<<31) }

func (a *share) before(b *share) bool {
	return a.key < b.key || (a.key == b.key && a.place < b.place)
}

// few is how many shares are sooner put in order one by one.
const few = 24

func sortShares(all []share) {
	if len(all) > few {
		slices.SortFunc(all, func(a, b share) int {
			return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.place, b.place))
		})
		return
	}
	for i := 1; i < len(all); i++ {
		moved := all[i]
		k := i
		for ; k > 0 && moved.before(&all[k-1]); k-- {
			all[k] = all[k-1]
		}
		all[k] = moved
	}
}

// settle sums the pieces' shares into hits and drops what comes to nothing.
func (s *Scratch) settle() {
	sortShares(s.shares)
	for i := 0; i < len(s.shares); {
		key, sum := s.shares[i].key, s.shares[i].value
		for i++; i < len(s.shares) && s.shares[i].key == key; i++ {
			sum += s.shares[i].value
		}
		h := Hit{Ref: int32(uint32(key>>32) ^ 1<<31), Shape: Shape(key & 0xff), Zone: uint8(key >> 8)}
		switch h.Shape {
		case ShapePoint:
			h.Count = int32(sum)
		case ShapeLine:
			h.LengthM = sum
		default:
			c := &s.cutters[h.Zone]
			sum = min(settle(sum, c.r), c.area)
			h.AreaM2 = sum
		}
		if sum > 0 {
			s.hits = append(s.hits, h)
		}
	}
}
