package exposure

import (
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// WeekShare is how many persons, in the open and in vehicles, keep one week: the
// mean of the ordinary week. In hour h of it there are Persons times the week's
// factor of that hour.
type WeekShare struct {
	Week    int // place among the weeks
	Persons float64
}

// KeptWeek is a week that persons keep.
type KeptWeek struct {
	Name string // of the profile; empty for one that was counted
	// Counted is the target that it was counted on.
	Counted inventory.Opt[inventory.TargetID]
	Factors profile.Week // mean 1
}

// Shares appends to dst the weeks that persons under a zone keep. The zone is one
// that Measure returned.
func (m *Meter) Shares(dst []WeekShare, z *ZoneExposure) []WeekShare { return z.shares(dst) }

func (z *ZoneExposure) shares(dst []WeekShare) []WeekShare {
	for w := range z.weeks {
		if n := z.weeks[w].Persons(); n > 0 {
			dst = append(dst, WeekShare{w, n})
		}
	}
	for i := range z.counted {
		if n := z.counted[i].Persons(); n > 0 {
			dst = append(dst, WeekShare{int(z.counted[i].week), n})
		}
	}
	return dst
}

// Week returns the week at a place that shares name.
func (f *Field) Week(at int) KeptWeek {
	k := KeptWeek{Factors: f.hours.shapes[at]}
	if at < f.hours.weeks {
		k.Name = f.names[at]
		return k
	}
	for i := range f.targets {
		if d := &f.targets[i]; int(d.week) == at || int(d.drive) == at {
			k.Counted = inventory.Some(d.id)
			break
		}
	}
	return k
}
