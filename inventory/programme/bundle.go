package programme

import (
	"context"
	"math"
)

// cut is a plane under the bound as a function of the prices: at + slope·price.
type cut struct {
	at     float64
	slope  []float64
	choice []int32
	weight float64 // in the mix that the last step was made with
}

// bundle minimises the bound over prices from 0 by the proximal bundle method
// (Lemaréchal; Kiwiel 1990): the planes found so far are a model of the bound
// from below, and each step goes to the least of the model plus the squared
// distance from the best prices so far over twice the step.
type bundle struct {
	m      *model
	view   *view
	centre []float64 // the best prices so far
	best   relaxed   // and what the relaxation makes of them
	cuts   []cut
	step   float64
	seen   func(*relaxed) // is shown every evaluation; may be nil
}

// newBundle begins at some prices.
func newBundle(m *model, v *view, price []float64, seen func(*relaxed)) *bundle {
	b := &bundle{m: m, view: v, centre: append([]float64(nil), price...), seen: seen}
	b.best = b.evaluate(b.centre)
	size, slope := 0.0, 0.0
	for y, p := range b.centre {
		size += p * p
		slope += b.best.slack[y] * b.best.slack[y]
	}
	if size == 0 {
		// No price is known: such a step that the whole bound would be at stake.
		size = math.Pow(b.best.value/(1e-300+math.Sqrt(slope)), 2)
	}
	if slope > 0 {
		b.step = 0.3 * math.Sqrt(size/slope)
	}
	return b
}

func (b *bundle) evaluate(price []float64) relaxed {
	r := b.m.relax(price, b.view)
	if math.IsInf(r.value, -1) {
		return r
	}
	at := r.value
	for y, p := range price {
		at -= r.slack[y] * p
	}
	b.cuts = append(b.cuts, cut{at: at, slope: r.slack, choice: r.choice})
	if b.seen != nil {
		b.seen(&r)
	}
	return r
}

// run takes so many steps at the most, fewer where no step promises more than
// enough, or the bound has come down to target.
func (b *bundle) run(ctx context.Context, steps int, enough, target float64) error {
	if b.step == 0 || math.IsInf(b.best.value, -1) {
		return nil
	}
	nulls := 0
	for range steps {
		if err := ctx.Err(); err != nil {
			return err
		}
		price, low := b.next()
		promised := b.best.value - low
		if promised <= enough || b.best.value <= target {
			return nil
		}
		r := b.evaluate(price)
		if math.IsInf(r.value, -1) {
			b.best = r
			return nil
		}
		gained := b.best.value - r.value
		if gained >= 0.1*promised {
			if gained >= 0.5*promised {
				b.step *= 2
			}
			b.centre, b.best, nulls = price, r, 0
		} else {
			if gained > 0 { // keep what there is, though the step was poor
				b.centre, b.best = price, r
			}
			if nulls++; nulls%3 == 0 {
				b.step *= 0.6
			}
		}
		b.forget()
	}
	return nil
}

// mostCuts are kept.
const mostCuts = 60

// forget drops the oldest planes that the last step did not rest on.
func (b *bundle) forget() {
	for i := 0; len(b.cuts) > mostCuts && i < len(b.cuts)-1; {
		if b.cuts[i].weight > 0 {
			i++
			continue
		}
		b.cuts = append(b.cuts[:i], b.cuts[i+1:]...)
	}
	if len(b.cuts) > mostCuts {
		b.cuts = b.cuts[1:]
	}
}

// next returns the prices of the next step and the model's value there. The
// weights of the planes solve the dual of the step's problem; weight moves from
// the lowest plane in use to the highest until they are level (Frank and Wolfe's
// method with pairwise steps).
func (b *bundle) next() ([]float64, float64) {
	years := b.m.years
	sum := 0.0
	for i := range b.cuts {
		sum += b.cuts[i].weight
	}
	if sum <= 0 {
		b.cuts[len(b.cuts)-1].weight = 1
		sum = 1
	}
	mix, price := make([]float64, years), make([]float64, years)
	for i := range b.cuts {
		c := &b.cuts[i]
		c.weight /= sum
		for y := range mix {
			mix[y] += c.weight * c.slope[y]
		}
	}
	enough := 1e-9 * math.Abs(b.best.value)
	high := math.Inf(-1)
	for range 500 {
		b.priceOf(mix, price)
		var top, bottom int
		low := math.Inf(1)
		high = math.Inf(-1)
		for i := range b.cuts {
			h := b.cuts[i].height(price)
			if h > high {
				high, top = h, i
			}
			if b.cuts[i].weight > 0 && h < low {
				low, bottom = h, i
			}
		}
		if high-low <= max(enough, 0.02*(b.best.value-high)) {
			break
		}
		b.shift(&b.cuts[top], &b.cuts[bottom], mix, price)
	}
	return price, high
}

// priceOf is the point that a mix of slopes leads to from the centre.
func (b *bundle) priceOf(mix, price []float64) {
	for y := range price {
		price[y] = max(0, b.centre[y]-b.step*mix[y])
	}
}

func (c *cut) height(price []float64) float64 {
	h := c.at
	for y, p := range price {
		h += c.slope[y] * p
	}
	return h
}

// shift moves the best weight from one plane to another: so much that they are
// level, or all there is. How far the first is above the second falls with what is
// moved, in straight pieces that end where a price meets 0.
func (b *bundle) shift(to, from *cut, mix, price []float64) {
	moved, above := 0.0, to.height(price)-from.height(price)
	for moved < from.weight && above > 0 {
		fall, end := 0.0, from.weight
		for y := range mix {
			turn := to.slope[y] - from.slope[y]
			if turn == 0 {
				continue
			}
			// Where this price meets 0, or leaves it.
			if zero := (b.centre[y]/b.step - mix[y]) / turn; zero > moved {
				end = min(end, zero)
				if turn > 0 {
					fall += b.step * turn * turn
				}
			} else if turn < 0 {
				fall += b.step * turn * turn
			}
		}
		if above <= fall*(end-moved) {
			moved += above / fall
			break
		}
		above -= fall * (end - moved)
		moved = end
	}
	moved = min(moved, from.weight)
	to.weight += moved
	if from.weight -= moved; from.weight < 1e-12 {
		moved += from.weight
		to.weight += from.weight
		from.weight = 0
	}
	for y := range mix {
		mix[y] += moved * (to.slope[y] - from.slope[y])
	}
}
