package exposure

import (
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
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

// ZoneExposure is what one zone covers.
type ZoneExposure struct {
	Count  Count
	ByKind []Amount // by place in inventory.TargetKinds
	weeks  []float64
}

// Overlap is one target under one zone, as an opened sum shows it.
type Overlap struct {
	Target inventory.TargetID
	Zone   int // place of the zone
	Kind   inventory.TargetKind
	geo.Measure
	Count Count
}

// Meter measures zones over one field. It keeps its working memory between
// trees and belongs to one goroutine.
type Meter struct {
	field   *Field
	scratch geo.Scratch
	zones   []geo.Zone
	at      []int
	out     []ZoneExposure
}

// NewMeter returns a meter over f.
func NewMeter(f *Field) *Meter { return &Meter{field: f} }

// Measure returns what each zone about origin covers, in the order of zones,
// and the number of overlaps. The result is valid until the next call. Equal
// zones are measured once.
func (m *Meter) Measure(origin orb.Point, zones []TreeZone) ([]ZoneExposure, int) {
	m.distinct(zones)
	m.reset()
	hits := m.field.index.Overlaps(origin, m.zones, &m.scratch)
	for i := range hits {
		h := &hits[i]
		d := &m.field.targets[h.Ref]
		z := &m.out[h.Zone]
		a := &z.ByKind[d.kind]
		a.Targets++
		if i > 0 && hits[i-1].Ref == h.Ref && hits[i-1].Zone == h.Zone {
			a.Targets-- // another shape of the same target
		}
		a.Points += int(h.Count)
		a.LengthM += h.LengthM
		a.AreaM2 += h.AreaM2
		if h.Shape != d.shape {
			continue
		}
		n := d.per.times(hitUnits(h))
		a.Count.add(n)
		z.Count.add(n)
		z.weeks[d.week] += n.Persons()
	}
	return m.spread(zones), len(hits)
}

// Overlaps returns the targets under each zone one by one.
func (m *Meter) Overlaps(origin orb.Point, zones []TreeZone) []Overlap {
	m.distinct(zones)
	m.reset()
	hits := m.field.index.Overlaps(origin, m.zones, &m.scratch)
	var out []Overlap
	for zi := range zones {
		for i := range hits {
			h := &hits[i]
			if int(h.Zone) != m.at[zi] {
				continue
			}
			d := &m.field.targets[h.Ref]
			o := Overlap{
				Target: d.id, Zone: zi, Kind: inventory.TargetKinds[d.kind],
				Measure: geo.Measure{Points: int(h.Count), LengthM: h.LengthM, AreaM2: h.AreaM2},
			}
			if h.Shape == d.shape {
				o.Count = d.per.times(hitUnits(h))
			}
			if n := len(out); n > 0 && out[n-1].Target == o.Target && out[n-1].Zone == zi {
				last := &out[n-1]
				last.Points += o.Points
				last.LengthM += o.LengthM
				last.AreaM2 += o.AreaM2
				last.Count.add(o.Count)
				continue
			}
			out = append(out, o)
		}
	}
	return out
}

// Week sums up the week under a zone that Measure returned.
func (m *Meter) Week(z ZoneExposure) WeekSummary { return m.field.hours.summary(z.weeks) }

// distinct lists the zones that differ and where each zone is found among them.
func (m *Meter) distinct(zones []TreeZone) {
	m.zones, m.at = m.zones[:0], m.at[:0]
next:
	for _, z := range zones {
		for i, seen := range m.zones {
			if seen == z.Zone {
				m.at = append(m.at, i)
				continue next
			}
		}
		m.at = append(m.at, len(m.zones))
		m.zones = append(m.zones, z.Zone)
	}
}

// reset makes room for one result a zone: the distinct ones first, then copies
// for zones that are alike.
func (m *Meter) reset() {
	need := len(m.zones) + len(m.at)
	for len(m.out) < need {
		m.out = append(m.out, ZoneExposure{ByKind: make([]Amount, kinds), weeks: make([]float64, m.field.hours.weeks)})
	}
	for i := range m.out[:len(m.zones)] {
		z := &m.out[i]
		z.Count = Count{}
		clear(z.ByKind)
		clear(z.weeks)
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
		to.Count = from.Count
		copy(to.ByKind, from.ByKind)
		copy(to.weeks, from.weeks)
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
