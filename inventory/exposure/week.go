package exposure

import "github.com/underbough/underbough/inventory/profile"

// Hours is the ordinary week under a zone hour by hour, from Monday 00:00: mean
// numbers present. The calendar's exceptions play no part in it.
type Hours struct {
	People     [profile.HoursInWeek]float64 // in the open
	InVehicles [profile.HoursInWeek]float64
	Sheltered  [profile.HoursInWeek]float64
	Vehicles   [profile.HoursInWeek]float64
	// Peak is the most persons in any hour, in the open and in vehicles;
	// PeakHour the first such hour of the week.
	Peak     float64
	PeakHour int
}

// Persons returns those in the open and in vehicles, hour by hour.
func (h *Hours) Persons() []float64 {
	out := make([]float64, profile.HoursInWeek)
	for i := range out {
		out[i] = h.People[i] + h.InVehicles[i]
	}
	return out
}

// Hours opens the week under a zone that Measure returned.
func (m *Meter) Hours(z ZoneExposure) Hours {
	var out Hours
	for w := range z.weeks {
		out.add(&z.weeks[w], &m.field.hours.shapes[w])
	}
	for i := range z.counted {
		c := &z.counted[i]
		out.add(&c.Count, &m.field.hours.shapes[c.week])
	}
	for hour := range out.People {
		if n := out.People[hour] + out.InVehicles[hour]; n > out.Peak {
			out.Peak, out.PeakHour = n, hour
		}
	}
	return out
}

func (h *Hours) add(c *Count, shape *profile.Week) {
	if *c == (Count{}) {
		return
	}
	for hour, f := range shape {
		h.People[hour] += c.People * f
		h.InVehicles[hour] += c.InVehicles * f
		h.Sheltered[hour] += c.Sheltered * f
		h.Vehicles[hour] += c.Vehicles * f
	}
}

// Quietest finds the window of length whole hours with the least in all: when
// to close a walk to work over it. The hours run round, from the last to the
// first. Only windows whose every hour is within are looked at; a nil within
// allows all. total is the sum over the window: persons times hours where hours
// holds persons. The first of several alike is returned; ok is false where no
// window fits.
func Quietest(hours []float64, length int, within func(hour int) bool) (start int, total float64, ok bool) {
	n := len(hours)
	if length < 1 || length > n {
		return 0, 0, false
	}
	for from := range n {
		sum, fits := 0.0, true
		for i := 0; i < length && fits; i++ {
			hour := (from + i) % n
			fits = within == nil || within(hour)
			sum += hours[hour]
		}
		if fits && (!ok || sum < total) {
			start, total, ok = from, sum, true
		}
	}
	return start, total, ok
}
