package exposure

import (
	"math"

	"github.com/underbough/underbough/inventory/profile"
)

// hours holds the weeks of a profile side by side, with hours of the week that
// are alike in every week folded into one column, so that a tree's week is
// worked out over the few that differ.
type hours struct {
	weeks   int
	columns int
	factors []float64 // columns × weeks
	times   []float64 // how many of the 168 hours a column stands for
	first   []int     // the first hour of the week that a column stands for
}

func newHours(p *profile.Profile) hours {
	names := p.WeekNames()
	h := hours{weeks: len(names)}
	seen := make(map[string]int)
	for hour := range profile.HoursInWeek {
		column := make([]float64, len(names))
		key := make([]byte, 0, 8*len(names))
		for i, n := range names {
			column[i] = p.Weeks[n][hour]
			bits := math.Float64bits(column[i])
			for range 8 {
				key = append(key, byte(bits))
				bits >>= 8
			}
		}
		if at, ok := seen[string(key)]; ok {
			h.times[at]++
			continue
		}
		seen[string(key)] = h.columns
		h.columns++
		h.factors = append(h.factors, column...)
		h.times = append(h.times, 1)
		h.first = append(h.first, hour)
	}
	return h
}

// WeekSummary is the week under a zone in three figures.
type WeekSummary struct {
	Busiest     float64 // persons in the busiest hour
	BusiestHour int     // that hour of the week, 0 = Monday 00:00; the first of several alike
	Occupied    float64 // mean over the hours of the chance that at least one person is there
}

// summary works out the week of mean persons by profile week. The chance of at
// least one is 1 − e^(−N) hour by hour: people arrive independently.
func (h *hours) summary(persons []float64) WeekSummary {
	var busy [profile.MaxWeeks]int
	n := 0
	for w, p := range persons {
		if p > 0 {
			busy[n] = w
			n++
		}
	}
	var s WeekSummary
	if n == 0 {
		return s
	}
	s.Busiest = -1
	for c := range h.columns {
		factors := h.factors[c*h.weeks : (c+1)*h.weeks]
		sum := 0.0
		for _, w := range busy[:n] {
			sum += persons[w] * factors[w]
		}
		if sum > s.Busiest {
			s.Busiest, s.BusiestHour = sum, h.first[c]
		}
		s.Occupied += h.times[c] * AtLeastOne(sum)
	}
	s.Occupied /= profile.HoursInWeek
	return s
}

// AtLeastOne is the chance that at least one of a mean number n is there,
// arrivals independent: 1 − e^(−n). Below 0.1 the series is exact to 1e-12 of
// the whole, loses no digits and is several times faster.
func AtLeastOne(n float64) float64 {
	if n < 0.1 {
		return n * (1 - n/2*(1-n/3*(1-n/4*(1-n/5*(1-n/6*(1-n/7*(1-n/8)))))))
	}
	return 1 - math.Exp(-n)
}
