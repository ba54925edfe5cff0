package exposure

import (
	"github.com/underbough/underbough/inventory/profile"
)

// hours holds how the weeks of a profile run over the year, and after them the
// weeks that were counted.
type hours struct {
	weeks   int // of the profile
	shapes  []profile.Week
	mean    []float64 // mean factor of a week over the season against its ordinary week
	windy   []float64 // the same with each hour weighted by its wind
	wind    bool
	periods []profile.Period
	days    float64
}

func newHours(p *profile.Profile) hours {
	names := p.WeekNames()
	h := hours{weeks: len(names), periods: p.Calendar.Periods(names), wind: p.Wind != nil}
	for _, period := range h.periods {
		h.days += float64(period.Days)
	}
	for w, name := range names {
		week := p.Weeks[name]
		mean := 0.0
		for _, period := range h.periods {
			mean += period.Factors[w] * float64(period.Days) / h.days
		}
		h.shapes = append(h.shapes, week)
		h.mean = append(h.mean, mean)
		h.windy = append(h.windy, mean*p.WindShare(&week))
	}
	return h
}

// add takes in a counted week and returns its place.
func (h *hours) add(shape profile.Week, p *profile.Profile) int32 {
	h.shapes = append(h.shapes, shape)
	h.mean = append(h.mean, 1)
	h.windy = append(h.windy, p.WindShare(&shape))
	return int32(len(h.shapes) - 1)
}

// over returns what d carries in the mean over the season, from its ordinary
// week, by mean or windy.
func over(factors []float64, d *density, ordinary Count) Count {
	people, vehicles := factors[d.week], factors[d.drive]
	return Count{
		People:     ordinary.People * people,
		Sheltered:  ordinary.Sheltered * people,
		InVehicles: ordinary.InVehicles * vehicles,
		Vehicles:   ordinary.Vehicles * vehicles,
	}
}

// WeekSummary is the week under a zone in three figures, of persons or of
// vehicles.
type WeekSummary struct {
	// Busiest is the number in the busiest hour: of the ordinary week, or of a
	// busier one where the season has such.
	Busiest     float64
	BusiestHour int     // that hour of the week, 0 = Monday 00:00; the first of several alike
	Occupied    float64 // mean over the season's hours of the chance that at least one is there
}

// Week sums up the persons under a zone that Measure returned, in the open and
// in vehicles. The chance of at least one is 1 − e^(−N) hour by hour: people
// arrive independently.
func (m *Meter) Week(z ZoneExposure) WeekSummary { return m.summary(&z, ofPersons) }

// VehicleWeek sums up the vehicles under a zone that Measure returned.
func (m *Meter) VehicleWeek(z ZoneExposure) WeekSummary { return m.summary(&z, ofVehicles) }

// what says what is summed up.
type what bool

const (
	ofPersons  what = false
	ofVehicles what = true
)

func (w what) in(c *Count) float64 {
	if w == ofVehicles {
		return c.Vehicles
	}
	return c.Persons()
}

func (m *Meter) summary(z *ZoneExposure, what what) WeekSummary {
	h := &m.field.hours
	if len(z.counted) > 0 {
		return h.hourByHour(z, what)
	}
	busy, last := uint64(0), 0
	n := 0
	for w := range z.weeks {
		if v := what.in(&z.weeks[w]); v > 0 {
			busy |= 1 << w
			last = w
			m.numbers[n] = v
			n++
		}
	}
	switch n {
	case 0:
		return WeekSummary{}
	case 1:
		return m.folded(busy, &m.alone[last]).of(m.numbers[:1])
	}
	f := m.folds[busy]
	return m.folded(busy, &f).of(m.numbers[:n])
}

// folded makes a fold when it is first asked for: a field of one tree's targets
// needs few of them.
func (m *Meter) folded(busy uint64, f **fold) *fold {
	if *f == nil {
		*f = m.field.hours.fold(busy)
		m.folds[busy] = *f
	}
	return *f
}

// hourByHour is the summary by its definition. It is for zones with a counted
// week: every count has hours of its own, and no fold would be used twice.
func (h *hours) hourByHour(z *ZoneExposure, what what) WeekSummary {
	var counted profile.Week
	for i := range z.counted {
		c := &z.counted[i]
		for hour, v := range h.shapes[c.week] {
			counted[hour] += what.in(&c.Count) * v
		}
	}
	periods := h.periods
	kept := false
	for w := range z.weeks {
		kept = kept || what.in(&z.weeks[w]) > 0
	}
	if !kept {
		periods = []profile.Period{{Days: int(h.days), Factors: h.mean}}
	}
	s := WeekSummary{Busiest: -1}
	for _, period := range periods {
		sums := counted
		for w := range z.weeks {
			if n := what.in(&z.weeks[w]) * period.Factors[w]; n > 0 {
				for hour, v := range h.shapes[w] {
					sums[hour] += n * v
				}
			}
		}
		share := float64(period.Days) / h.days / profile.HoursInWeek
		for hour, n := range sums {
			if n > s.Busiest {
				s.Busiest, s.BusiestHour = n, hour
			}
			s.Occupied += share * AtLeastOne(n)
		}
	}
	return s
}
