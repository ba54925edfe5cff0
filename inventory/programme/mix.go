package programme

import "math"

// mixed makes one choice of the several that the last step's mix is of. At the
// best prices many groups are as well off in one year as in another, and any one
// choice puts them all in the same; the mix spreads them so that the budgets come
// out. Each group takes its part of one of the choices whole, the one that keeps
// the running total of what is used nearest to that of the mix, deviations and
// losses both counted in harm at the prices.
func (b *bundle) mixed() []int32 {
	m := b.m
	b.next() // the weights at the centre
	var from []*cut
	for i := range b.cuts {
		if b.cuts[i].weight > 1e-9 {
			from = append(from, &b.cuts[i])
		}
	}
	choice := make([]int32, len(m.order))
	ahead := make([]float64, m.years) // of the mix, by year
	for g, run := range m.runs {
		sums := make([]groupSum, len(from))
		top := math.Inf(-1)
		for i, c := range from {
			sums[i] = m.groupSumOf(g, c.choice, b.centre)
			top = max(top, sums[i].value)
			for y := range ahead {
				ahead[y] -= c.weight * sums[i].used[y]
			}
		}
		best, least := 0, math.Inf(1)
		for i := range from {
			square := 0.0
			for y := range ahead {
				off := b.centre[y] * (ahead[y] + sums[i].used[y])
				square += off * off
			}
			if score := math.Sqrt(square) + top - sums[i].value; score < least {
				best, least = i, score
			}
		}
		for y := range ahead {
			ahead[y] += sums[best].used[y]
		}
		copy(choice[run[0]:run[1]], from[best].choice[run[0]:run[1]])
	}
	return choice
}

// groupSumOf is what a choice comes to in a group at some prices.
func (m *model) groupSumOf(g int, choice []int32, price []float64) groupSum {
	var sum groupSum
	var worked uint16
	for k := m.runs[g][0]; k < m.runs[g][1]; k++ {
		if choice[k] == none {
			continue
		}
		o := &m.opts[choice[k]]
		sum.value += m.priced(o, price)
		worked |= o.mask
		for _, u := range m.uses[o.from:o.to] {
			sum.used[u.year] += u.amount
		}
	}
	for y := range m.years {
		if worked>>y&1 == 1 {
			sum.value -= price[y] * m.setUp
			sum.used[y] += m.setUp
		}
	}
	return sum
}
