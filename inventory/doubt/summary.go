package doubt

import "math/bits"

// tileTrees is how many trees are summarized at a time: their ranks lie together
// in each row, and all of them fit the processor's cache.
const tileTrees = 64

// summarize settles the plants from low on.
func (m *model) summarize(out []Interval, ranks *grid, low int, o Options) {
	width := min(ranks.width, len(m.plants)-low)
	at := [...]int{quantile(o.Low, o.Draws), quantile(0.5, o.Draws), quantile(o.High, o.Draws)}
	share(ceilDiv(width, tileTrees), o.Workers, func() func(int) {
		tile := make([]uint32, tileTrees*o.Draws)
		sorter := newSorter(o.Draws)
		return func(t int) {
			from := t * tileTrees
			n := min(tileTrees, width-from)
			for d := range o.Draws {
				drawn := ranks.row(d).part(from, n)
				high := drawn.high[:len(drawn.low)]
				for j, low := range drawn.low {
					tile[j*o.Draws+d] = uint32(high[j])<<16 | uint32(low)
				}
			}
			for j := range n {
				drawn := tile[j*o.Draws : (j+1)*o.Draws]
				top := 0
				for _, r := range drawn {
					if int(r) < o.Top {
						top++
					}
				}
				sorter.sort(drawn)
				out[m.origin[low+from+j]] = Interval{
					Low: int32(drawn[at[0]] + 1), Median: int32(drawn[at[1]] + 1), High: int32(drawn[at[2]] + 1),
					TopShare: float32(top) / float32(o.Draws),
				}
			}
		}
	})
}

// sorter puts ranks in order by radix sort in two digits, wide enough for the
// ranks' own range: the time does not depend on how they lie.
type sorter struct {
	high, low []uint32
	out       []uint32
}

func newSorter(n int) *sorter { return &sorter{out: make([]uint32, n)} }

func (s *sorter) sort(ranks []uint32) {
	least, most := ranks[0], ranks[0]
	for _, r := range ranks {
		least, most = min(least, r), max(most, r)
	}
	digit := (bits.Len32(most-least) + 1) / 2
	size, mask := 1<<digit, uint32(1)<<digit-1
	if len(s.high) < size {
		s.high, s.low = make([]uint32, size), make([]uint32, size)
	}
	high, low := s.high[:size], s.low[:size]
	clear(high)
	clear(low)
	for _, r := range ranks {
		high[(r-least)>>digit]++
		low[(r-least)&mask]++
	}
	running(high, 0)
	running(low, 0)
	for _, r := range ranks {
		at := &low[(r-least)&mask]
		s.out[*at] = r
		*at++
	}
	for _, r := range s.out {
		at := &high[(r-least)>>digit]
		ranks[*at] = r
		*at++
	}
}
