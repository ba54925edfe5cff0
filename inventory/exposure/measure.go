package exposure

import (
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// kinds is the number of kinds of target.
var kinds = len(inventory.TargetKinds)

// Amount is how much of one kind of target a zone covers and what is on it.
type Amount struct {
	Targets int // targets met; their pieces count once
	Points  int
	LengthM float64
	AreaM2  float64
	Count   Count
}

// Met reports whether the zone meets any target of the kind.
func (a Amount) Met() bool { return a.Targets > 0 }

// ZoneExposure is what one zone covers. Its counts are means over the season's
// hours, except for the weeks kept inside, which are the ordinary ones.
type ZoneExposure struct {
	Count Count // plain mean, the one to show
	// Harm is Count with each hour weighted by its wind, for what wind brings
	// down; the same as Count where the profile has no wind.
	Harm    Count
	Meeting Meeting
	ByKind  []Amount // by place in inventory.TargetKinds
	weeks   []Count  // ordinary mean by week of the profile
	counted []countedShare
}

// countedShare is what keeps a counted week.
type countedShare struct {
	week int32 // place in hours
	Count
}

// Overlap is one target under one zone, as an opened sum shows it.
type Overlap struct {
	Target inventory.TargetID
	Zone   int // place of the zone
	Kind   inventory.TargetKind
	geo.Measure
	Count   Count
	Harm    Count
	Meeting Meeting
}

// Meter measures zones over one field. It keeps its working memory between
// trees and belongs to one goroutine.
type Meter struct {
	field   *Field
	scratch geo.Scratch
	zones   []geo.Zone
	at      []int
	out     []ZoneExposure
	numbers [profile.MaxWeeks]float64
	alone   []*fold          // by week of the profile
	folds   map[uint64]*fold // by the bits of the weeks folded
}

// NewMeter returns a meter over f.
func NewMeter(f *Field) *Meter {
	return &Meter{field: f, alone: make([]*fold, f.hours.weeks), folds: make(map[uint64]*fold)}
}

// Measure returns what each zone about origin covers, in the order of zones,
// and the number of overlaps. The result is valid until the next call. Equal
// zones are measured once.
func (m *Meter) Measure(origin orb.Point, zones []TreeZone) ([]ZoneExposure, int) {
	m.distinct(zones)
	m.reset()
	hours := &m.field.hours
	hits := m.field.index.Overlaps(origin, m.zones, &m.scratch)
	for i := range hits {
		h := &hits[i]
		d := &m.field.targets[h.Ref]
		z := &m.out[h.Zone]
		a := &z.ByKind[d.kind]
		if i == 0 || hits[i-1].Ref != h.Ref || hits[i-1].Zone != h.Zone {
			a.Targets++
			z.Meeting.Vehicles += d.approach * hours.mean[d.drive]
		}
		a.Points += int(h.Count)
		a.LengthM += h.LengthM
		a.AreaM2 += h.AreaM2
		if h.Shape != d.shape {
			continue
		}
		ordinary := d.per.times(hitUnits(h))
		n := over(hours.mean, d, ordinary)
		a.Count.add(n)
		z.Count.add(n)
		if hours.wind {
			z.Harm.add(over(hours.windy, d, ordinary))
		}
		if d.approach > 0 {
			z.Meeting.Vehicles += n.Vehicles
		}
		z.keep(hours.weeks, d, ordinary)
	}
	for i := range m.zones {
		z := &m.out[i]
		if !hours.wind {
			z.Harm = z.Count
		}
		z.Meeting.Persons = z.Meeting.Vehicles * m.field.perVehicle
	}
	return m.spread(zones), len(hits)
}

// keep adds the ordinary mean to the weeks of people and vehicles.
func (z *ZoneExposure) keep(weeks int, d *density, n Count) {
	people := z.week(weeks, d.week)
	people.People += n.People
	people.Sheltered += n.Sheltered
	// Only now: finding a week can move the ones found before.
	vehicles := z.week(weeks, d.drive)
	vehicles.InVehicles += n.InVehicles
	vehicles.Vehicles += n.Vehicles
}

func (z *ZoneExposure) week(weeks int, at int32) *Count {
	if int(at) < weeks {
		return &z.weeks[at]
	}
	for i := range z.counted {
		if z.counted[i].week == at {
			return &z.counted[i].Count
		}
	}
	z.counted = append(z.counted, countedShare{week: at})
	return &z.counted[len(z.counted)-1].Count
}

// Overlaps returns the targets under each zone one by one.
func (m *Meter) Overlaps(origin orb.Point, zones []TreeZone) []Overlap {
	m.distinct(zones)
	m.reset()
	hits := m.field.index.Overlaps(origin, m.zones, &m.scratch)
	var out []Overlap
	for zi := range zones {
		for i := range hits {
			if int(hits[i].Zone) == m.at[zi] {
				out = m.list(out, &hits[i], zi)
			}
		}
	}
	return out
}

// list adds a hit to the overlaps, onto the last one where it is of the same
// target.
func (m *Meter) list(out []Overlap, h *geo.Hit, zone int) []Overlap {
	hours := &m.field.hours
	d := &m.field.targets[h.Ref]
	if n := len(out); n == 0 || out[n-1].Target != d.id || out[n-1].Zone != zone {
		out = append(out, Overlap{Target: d.id, Zone: zone, Kind: inventory.TargetKinds[d.kind]})
		out[n].Meeting.Vehicles = d.approach * hours.mean[d.drive]
	}
	o := &out[len(out)-1]
	o.Points += int(h.Count)
	o.LengthM += h.LengthM
	o.AreaM2 += h.AreaM2
	if h.Shape == d.shape {
		ordinary := d.per.times(hitUnits(h))
		n := over(hours.mean, d, ordinary)
		o.Count.add(n)
		o.Harm.add(over(hours.windy, d, ordinary))
		if d.approach > 0 {
			o.Meeting.Vehicles += n.Vehicles
		}
	}
	o.Meeting.Persons = o.Meeting.Vehicles * m.field.perVehicle
	return out
}

// distinct lists the zones that differ and where each zone is found among them.
func (m *Meter) distinct(zones []TreeZone) {
	m.zones, m.at = m.zones[:0], m.at[:0]
next:
	for i := range zones {
		for k := range m.zones {
			if m.zones[k] == zones[i].Zone {
				m.at = append(m.at, k)
				continue next
			}
		}
		m.at = append(m.at, len(m.zones))
		m.zones = append(m.zones, zones[i].Zone)
	}
}

// reset makes room for one result a zone: the distinct ones first, then copies
// for zones that are alike.
func (m *Meter) reset() {
	need := len(m.zones) + len(m.at)
	for len(m.out) < need {
		m.out = append(m.out, ZoneExposure{ByKind: make([]Amount, kinds), weeks: make([]Count, m.field.hours.weeks)})
	}
	for i := range m.out[:len(m.zones)] {
		z := &m.out[i]
		z.Count, z.Harm, z.Meeting = Count{}, Count{}, Meeting{}
		clear(z.ByKind)
		clear(z.weeks)
		z.counted = z.counted[:0]
	}
}

// spread returns one result a zone in the order of the zones asked for.
func (m *Meter) spread(zones []TreeZone) []ZoneExposure {
	n := len(m.zones)
	if n == len(zones) {
		return m.out[:n]
	}
	for i := range zones {
		from, to := &m.out[m.at[i]], &m.out[n+i]
		to.Count, to.Harm, to.Meeting = from.Count, from.Harm, from.Meeting
		copy(to.ByKind, from.ByKind)
		copy(to.weeks, from.weeks)
		to.counted = append(to.counted[:0], from.counted...)
	}
	return m.out[n : n+len(zones)]
}

func hitUnits(h *geo.Hit) float64 {
	switch h.Shape {
	case geo.ShapeArea:
		return h.AreaM2
	case geo.ShapeLine:
		return h.LengthM
	}
	return float64(h.Count)
}
