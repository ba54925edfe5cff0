package programme

// vary makes further programmes where there are few candidates, whose set-ups
// matter more: of every choice that the bundle holds, and of what the relaxation
// chooses at lower and higher prices, at which groups are worked in in more years
// or in fewer and filled up. It returns the best.
func (m *model) vary(best *state, b *bundle, v *view, base *state) *state {
	if best.value >= b.best.value*(1-gapEnough) {
		return best
	}
	choices := [][]int32{}
	for i := range b.cuts {
		choices = append(choices, b.cuts[i].choice)
	}
	mixed := b.mixed()
	for _, scale := range []float64{0.7, 0.8, 0.9, 1.05, 1.1, 1.15, 1.2, 1.3, 1.4, 1.6, 2, 3} {
		price := make([]float64, m.years)
		for y := range price {
			price[y] = scale * b.centre[y]
		}
		choices = append(choices, m.relax(price, v).choice, m.trimmed(mixed, price))
	}
	for _, choice := range choices {
		s := m.repair(choice, b.centre, base)
		s.improve(b.centre)
		if s.value > best.value*(1+1e-12) {
			best = s
		}
	}
	return best
}

// trimmed is a choice without the groups and years that are not worth their
// set-up at some prices.
func (m *model) trimmed(choice []int32, price []float64) []int32 {
	kept := append([]int32(nil), choice...)
	for _, run := range m.runs {
		for y := range m.years {
			worth := -price[y] * m.setUp
			for k := run[0]; k < run[1]; k++ {
				if o := kept[k]; o != none && m.opts[o].mask>>y&1 == 1 {
					worth += max(0, m.priced(&m.opts[o], price))
				}
			}
			for k := run[0]; k < run[1] && worth < 0; k++ {
				if o := kept[k]; o != none && !m.forced[k] && m.opts[o].mask>>y&1 == 1 {
					kept[k] = none
				}
			}
		}
	}
	return kept
}
