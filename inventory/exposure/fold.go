package exposure

import (
	"math"
	"math/bits"

	"github.com/underbough/underbough/inventory/profile"
)

// fold is the season of a set of weeks with like hours taken together: one
// column for all hours of all periods in which each week of the set has the
// same factor. Nothing is lost by it; a week of 168 hours has some twenty
// columns. It belongs to one goroutine.
type fold struct {
	weeks   []int
	factors []float64 // columns × weeks
	shares  []float64 // of the season's hours, by column
	first   []int     // the first hour of the week, by column
	// The columns that can be the busiest: no other has as much in every week.
	peaks []int
	// Series of Occupied, for one week and for two.
	one []seriesAt
	two *pairSeries
}

// fold folds the weeks whose bits are set in busy.
func (h *hours) fold(busy uint64) *fold {
	f := &fold{}
	for rest := busy; rest != 0; rest &= rest - 1 {
		f.weeks = append(f.weeks, bits.TrailingZeros64(rest))
	}
	places := make(map[string]int)
	column := make([]float64, len(f.weeks))
	key := make([]byte, 0, 8*len(f.weeks))
	for _, period := range h.periods {
		share := float64(period.Days) / h.days / profile.HoursInWeek
		for hour := range profile.HoursInWeek {
			key = key[:0]
			for i, w := range f.weeks {
				column[i] = h.shapes[w][hour] * period.Factors[w]
				for v := math.Float64bits(column[i]); len(key) < 8*(i+1); v >>= 8 {
					key = append(key, byte(v))
				}
			}
			if at, ok := places[string(key)]; ok {
				f.shares[at] += share
				continue
			}
			places[string(key)] = len(f.shares)
			f.factors = append(f.factors, column...)
			f.shares = append(f.shares, share)
			f.first = append(f.first, hour)
		}
	}
	for c := range f.shares {
		if !f.outdone(c) {
			f.peaks = append(f.peaks, c)
		}
	}
	f.expand()
	return f
}

func (f *fold) column(c int) []float64 { return f.factors[c*len(f.weeks) : (c+1)*len(f.weeks)] }

// outdone reports whether another column has as much as c in every week; no
// two columns are the same.
func (f *fold) outdone(c int) bool {
next:
	for other := range f.shares {
		if other == c {
			continue
		}
		for i, x := range f.column(c) {
			if f.column(other)[i] < x {
				continue next
			}
		}
		return true
	}
	return false
}

// of sums up the weeks of the fold with so many persons, or vehicles, in the
// mean of each one's ordinary week.
func (f *fold) of(persons []float64) WeekSummary {
	s := WeekSummary{Busiest: -1}
	for _, c := range f.peaks {
		if n := dot(persons, f.column(c)); n > s.Busiest {
			s.Busiest, s.BusiestHour = n, f.first[c]
		}
	}
	switch {
	case len(persons) == 1 && s.Busiest < seriesReach*float64(len(f.one)-1):
		s.Occupied = f.ofOne(persons[0], s.Busiest)
	case len(persons) == 2 && s.Busiest <= pairReach:
		s.Occupied = f.ofTwo(persons[0], persons[1], s.Busiest)
	default:
		for c, share := range f.shares {
			s.Occupied += share * AtLeastOne(dot(persons, f.column(c)))
		}
	}
	return s
}

func dot(a, b []float64) float64 {
	sum := 0.0
	for i, x := range b[:len(a)] {
		sum += a[i] * x
	}
	return sum
}

// AtLeastOne is the chance that at least one of a mean number n is there,
// arrivals independent: 1 − e^(−n). Below 0.1 the series is exact to 1e-12 of
// the whole, loses no digits and is several times faster.
func AtLeastOne(n float64) float64 {
	if n < 0.1 {
		return n * (1 - n*(1.0/2)*(1-n*(1.0/3)*(1-n*(1.0/4)*(1-n*(1.0/5)*(1-n*(1.0/6)*(1-n*(1.0/7)*(1-n*(1.0/8))))))))
	}
	return 1 - math.Exp(-n)
}
