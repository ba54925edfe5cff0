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
func (m *Meter) Hours(z ZoneExposure) Hours { return m.field.hours.open(&z) }

func (h *hours) open(z *ZoneExposure) Hours {
	var out Hours
	for w := range z.weeks {
		out.add(&z.weeks[w], &h.shapes[w])
	}
	for i := range z.counted {
		c := &z.counted[i]
		out.add(&c.Count, &h.shapes[c.week])
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

// Run is some hours in a row.
type Run struct{ Start, Length int } // hours of the week

// Peaks returns the runs of hours with at least a share of the most of any hour,
// from the first hour on; one that goes over the end of the week goes on at its
// begin. None where nobody is there at all.
func Peaks(hours []float64, share float64) []Run {
	most := 0.0
	for _, n := range hours {
		most = max(most, n)
	}
	if most == 0 {
		return nil
	}
	var out []Run
	for h, n := range hours {
		// What is alike but for rounding is alike.
		if n < most*share*(1-1e-9) {
			continue
		}
		if k := len(out); k > 0 && out[k-1].Start+out[k-1].Length == h {
			out[k-1].Length++
			continue
		}
		out = append(out, Run{h, 1})
	}
	if k := len(out); k > 1 && out[0].Start == 0 && out[k-1].Start+out[k-1].Length == len(hours) {
		out[k-1].Length += out[0].Length
		out = out[1:]
	}
	return out
}
