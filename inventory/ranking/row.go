package ranking

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/risk"
)

// Query asks for trees in order.
type Query struct {
	Client inventory.ClientID
	Site   inventory.SiteID
	Over   []inventory.TargetKind // over any of these; empty for any place or none
	Cuts   []inventory.CutKind    // carrying any of these cuts; empty for any tree
	Since  int                    // the cut made in this year or later; 0 for any
	By     By
	Limit  int // 0 for all
}

// Row is one tree in its place.
type Row struct {
	Rank int
	Result
	Tag        string
	SourceID   string
	Species    string
	CommonName string
	Point      orb.Point
	DBH        inventory.Opt[float64]
	Cuts       []inventory.Cut // those that were asked for, or all that weaken
	Doubt      inventory.Opt[Doubt]
}

// Doubt is how sure a tree's place is.
type Doubt struct {
	Low, High int     // between these ranks in 90 of 100 draws
	Top       float64 // the share of draws in which it is among the first so many
}

// HoursPerYear is 365 days of 24 hours.
const HoursPerYear = 8760

// PersonHours returns the hours that people spend under the tree in a year.
func (r *Row) PersonHours() float64 { return r.Count.Persons() * HoursPerYear }

// Inferred reports whether a rule, not a person, gave the likelihood.
func (r *Row) Inferred() bool { return r.Rule != risk.Judged }

// HarmIndex is harm in thousandths: what would be struck in a thousand years if
// the assumed chances were true. It orders trees.
func (r *Row) HarmIndex() float64 { return r.Harm * 1000 }

// Reason says in one line of figures why the tree stands where it does.
func (r *Row) Reason() string {
	b := &strings.Builder{}
	fmt.Fprintf(b, "%s %s", r.Part, r.Likelihood)
	switch {
	case r.Inferred():
		fmt.Fprintf(b, " (inferred: %s)", r.Rule)
	case r.Stale:
		b.WriteString(" (judged, visit out of date)")
	default:
		b.WriteString(" (judged)")
	}
	switch {
	case len(r.Over) == 0 && r.PartPeople == 0 && r.PartVehicles == 0:
		b.WriteString(", over nothing recorded")
	case r.PartPeople != r.Count.Persons():
		// The busiest hour is that of another part, and must not pass for this one's.
		where := "over"
		if r.Part == exposure.WholeTree {
			where = "in reach of"
		}
		fmt.Fprintf(b, ", %s %s people and %s vehicles on average; under the crown or a limb up to %s people at %s",
			where, Figure(r.PartPeople), Figure(r.PartVehicles), Figure(r.Week.Busiest), HourName(r.Week.BusiestHour))
	default:
		fmt.Fprintf(b, ", over %s people and %s vehicles on average; up to %s people at %s",
			Figure(r.PartPeople), Figure(r.PartVehicles), Figure(r.Week.Busiest), HourName(r.Week.BusiestHour))
	}
	fmt.Fprintf(b, "; harm index %s", Figure(r.HarmIndex()))
	if r.CrownFrom != exposure.Measured {
		fmt.Fprintf(b, "; crown radius %.1f m estimated (%s)", r.CrownRadius, r.CrownFrom)
	}
	return b.String()
}

// RatingsApart says how people and property rate where that is not all one; else
// it is empty.
func RatingsApart(s risk.Score) string {
	if s.People == s.Property && s.People == s.Busiest {
		return ""
	}
	return "rated " + RatingWords(s)
}

// RatingWords says how people and property rate, and people by the busiest hour
// where that is another rating.
func RatingWords(s risk.Score) string {
	if s.People == s.Busiest {
		return fmt.Sprintf("%s for people, %s for property", s.People, s.Property)
	}
	return fmt.Sprintf("%s for people (%s by the busiest hour), %s for property", s.People, s.Busiest, s.Property)
}

// Figure writes a figure with the digits that mean something, so that figures can
// be compared at a glance.
func Figure(v float64) string {
	switch {
	case v == 0:
		return "0"
	case v >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case v >= 1:
		return strconv.FormatFloat(v, 'f', 2, 64)
	case v >= 0.001:
		return strconv.FormatFloat(v, 'f', 4, 64)
	}
	return "<0.001"
}

// CutSummary says in short which cuts matter: "topped 2012, 2015; 2 stubs".
func (r *Row) CutSummary() string {
	var kinds []inventory.CutKind
	years := make(map[inventory.CutKind][]string)
	for _, c := range r.Cuts {
		if _, ok := years[c.Kind]; !ok {
			kinds = append(kinds, c.Kind)
		}
		year := "?"
		if y, ok := c.MadeYear(); ok {
			year = fmt.Sprint(y)
		}
		if list := years[c.Kind]; len(list) == 0 || list[len(list)-1] != year {
			years[c.Kind] = append(list, year)
		}
	}
	parts := make([]string, len(kinds))
	for i, k := range kinds {
		word := string(k)
		if k == inventory.CutTopping {
			word = "topped"
		}
		parts[i] = word + " " + strings.Join(years[k], ", ")
	}
	return strings.Join(parts, "; ")
}

// LastTopped returns the year of the latest topping among the cuts.
func (r *Row) LastTopped() inventory.Opt[int] {
	var last inventory.Opt[int]
	for _, c := range r.Cuts {
		if y, ok := c.MadeYear(); ok && c.Kind == inventory.CutTopping && (!last.OK || y > last.V) {
			last = inventory.Some(y)
		}
	}
	return last
}

// HourName names an hour of the week: "Mon 08:00".
func HourName(hour int) string {
	days := [...]string{"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"}
	return fmt.Sprintf("%s %02d:00", days[hour/24%7], hour%24)
}
