package doubt

import (
	"math"
	"runtime"
	"sync"
	"sync/atomic"

	"github.com/underbough/underbough/inventory"
)

// Options says how to draw.
type Options struct {
	Draws     int     // how many; 0 for 500
	Seed      uint64  // the same seed gives the same intervals
	Top       int     // how many first places TopShare is about
	Low, High float64 // the ends of the interval, shares of the draws; both 0 for 0.05 and 0.95
	// Workers is how many goroutines draw, 0 for as many as run at a time. The
	// result does not depend on it.
	Workers int
	// Memory is how many bytes of ranks are held at a time, three a tree and draw;
	// 0 for 768 MiB. Where all do not fit, the draws are made again for each block
	// of trees that does: slower, with the same result.
	Memory int
}

// Interval is where a tree may stand, ranks from 1.
type Interval struct {
	// Low and High are the ranks at the shares asked for: the least rank that the
	// tree keeps or betters in at least that share of the draws. Median is that of
	// half the draws.
	Low, Median, High int32
	// TopShare is the share of the draws with the tree among the first Top.
	TopShare float32
}

const (
	defaultDraws  = 500
	defaultMemory = 768 << 20
	maxDraws      = 1 << 20
)

func (o Options) withDefaults() Options {
	if o.Draws == 0 {
		o.Draws = defaultDraws
	}
	if o.Low == 0 && o.High == 0 {
		o.Low, o.High = 0.05, 0.95
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	if o.Memory <= 0 {
		o.Memory = defaultMemory
	}
	return o
}

func (o Options) validate() error {
	if o.Draws < 1 || o.Draws > maxDraws {
		return inventory.Errorf(inventory.Invalid, "draws %d: expected 1 to %d", o.Draws, maxDraws)
	}
	if !(o.Low > 0 && o.Low <= o.High && o.High <= 1) {
		return inventory.Errorf(inventory.Invalid, "interval from %v to %v: expected shares above 0 and to 1, the lower first", o.Low, o.High)
	}
	if o.Top < 0 {
		return inventory.Errorf(inventory.Invalid, "top %d: expected 0 or more", o.Top)
	}
	return nil
}

// Ranks returns each tree's interval, in the order of in.Trees. Quantiles are
// exact order statistics of the draws.
//
// Trees that can do no harm in any draw share the last places of their class:
// each has all of these places as its interval, their middle as its median, and
// as TopShare the share of them that lies within Top. A tree that can do harm
// goes before them in every draw, and ties with others by Order.
func Ranks(in *Input, o Options) ([]Interval, error) {
	o = o.withDefaults()
	if err := o.validate(); err != nil {
		return nil, err
	}
	if err := in.Validate(); err != nil {
		return nil, err
	}
	m, err := newModel(in)
	if err != nil {
		return nil, err
	}
	out := make([]Interval, len(in.Trees))
	m.shareTails(out, o)
	if len(m.plants) == 0 {
		return out, nil
	}
	blocks := ceilDiv(len(m.plants), max(o.Memory/bytesPerRank/o.Draws, 1))
	ranks := newGrid(ceilDiv(len(m.plants), blocks), o.Draws)
	for low := 0; low < len(m.plants); low += ranks.width {
		m.draw(ranks, low, o)
		m.summarize(out, ranks, low, o)
	}
	return out, nil
}

// shareTails settles the trees that can do no harm.
func (m *model) shareTails(out []Interval, o Options) {
	for _, s := range m.segments {
		first := s.rank + s.end - s.from // from 0
		last := first + len(s.harmless)
		within := min(max(o.Top-first, 0), len(s.harmless))
		for _, i := range s.harmless {
			out[i] = Interval{
				Low: int32(first + 1), Median: int32((first + 1 + last) / 2), High: int32(last),
				TopShare: float32(within) / float32(len(s.harmless)),
			}
		}
	}
}

// draw fills the ranks of the plants from low on, a row of them for each draw.
func (m *model) draw(ranks *grid, low int, o Options) {
	share(ceilDiv(o.Draws, lanes), o.Workers, func() func(int) {
		var order orderer
		var harms [lanes][]float32
		for l := range harms {
			harms[l] = make([]float32, len(m.plants))
		}
		occupancy := make([][lanes]float32, len(m.targets))
		return func(batch int) {
			d := batch * lanes
			m.occupancies(occupancy, newBases(o.Seed, d, targetStream))
			m.harms(&harms, occupancy, newBases(o.Seed, d, treeStream))
			for l := range min(lanes, o.Draws-d) {
				for _, s := range m.segments {
					order.rank(harms[l][s.from:s.end], ranks.row(d+l), low-s.from, s.rank)
				}
			}
		}
	})
}

// share calls the function that each worker makes for every number below n.
func share(n, workers int, worker func() func(int)) {
	var next atomic.Int64
	var done sync.WaitGroup
	for range min(workers, n) {
		done.Go(func() {
			work := worker()
			for i := next.Add(1) - 1; i < int64(n); i = next.Add(1) - 1 {
				work(int(i))
			}
		})
	}
	done.Wait()
}

// quantile returns which of n draws in order, from 0, is the quantile of a share:
// the first that the share of the draws does not exceed.
func quantile(share float64, n int) int {
	return min(max(int(math.Ceil(share*float64(n)-1e-9))-1, 0), n-1)
}

func ceilDiv(a, b int) int { return (a + b - 1) / b }
