package season

import (
	"slices"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// Case is work on a tree.
type Case struct {
	Species   string                 // botanical name, as recorded
	Over      []inventory.TargetKind // what the crown stands over
	TakesLive bool                   // live crown is taken
	Urgent    bool                   // a hazard that cannot wait
}

// Window is a window, or a drought, in force for some work on some day.
type Window struct {
	Name   string `json:"name"`
	Reason string `json:"reason"`
	Source string `json:"source"`
	// Unsure says why it is not known that the window applies; it is taken to. Empty
	// where it is known.
	Unsure string `json:"unsure,omitempty"`
}

// Day is what holds on one day.
type Day struct {
	Allowed    bool
	Conditions []string // under which urgent work is allowed, in words
	Blocked    []Window // that close the day; none where it is allowed
}

// Opening is a run of days, both ends included, on which the work may be done
// under the same conditions.
type Opening struct {
	From, To   time.Time
	Conditions []string // empty for work that is not urgent
}

// Closing is a run of days, both ends included, that the same windows close.
type Closing struct {
	From, To time.Time
	Windows  []Window
}

// Openings are the days of a stretch of time that are open for some work, and
// those that are not. Days are midnights, UTC. Open and Closed together are every
// day from From to To once, in order; there are none where To comes before From.
type Openings struct {
	From, To time.Time
	Open     []Opening
	Closed   []Closing
	urgent   bool
	rules    []applied
}

// applied is a window that applies to some work. A drought is one too.
type applied struct {
	Window
	covers func(day time.Time) bool
	urgent string // as of practice.Window
	note   string
	survey bool
}

// Open says which days from one to another are open for some work, both included.
// Who asks for many trees makes a Calendar once.
func Open(c Case, p *practice.Windows, from, to time.Time) Openings {
	return *NewCalendar(p, from, to).Openings(c)
}

// On says what holds on a day, which may lie outside From and To.
func (o *Openings) On(day time.Time) Day {
	var d Day
	day = midnight(day)
	for i := range o.rules {
		r := &o.rules[i]
		switch {
		case !r.covers(day):
		case !o.urgent || r.urgent == "blocked":
			d.Blocked = append(d.Blocked, r.Window)
		default:
			if condition := r.condition(); !slices.Contains(d.Conditions, condition) {
				d.Conditions = append(d.Conditions, condition)
			}
		}
	}
	if d.Allowed = len(d.Blocked) == 0; !d.Allowed {
		d.Conditions = nil
	}
	return d
}

// condition is under what urgent work is allowed in the window.
func (r *applied) condition() string {
	text := r.note
	switch {
	case text != "":
	case r.urgent == "survey":
		text = "only after a survey of the day"
	default:
		text = "allowed as urgent within the window " + r.Name
	}
	if r.Unsure != "" {
		return text + " (" + r.Unsure + ")"
	}
	return text
}

// fill sorts the days from From to To.
func (o *Openings) fill() {
	for day := o.From; !day.After(o.To); day = day.AddDate(0, 0, 1) {
		d := o.On(day)
		before := day.AddDate(0, 0, -1)
		if d.Allowed {
			if n := len(o.Open); n > 0 && o.Open[n-1].To.Equal(before) && slices.Equal(o.Open[n-1].Conditions, d.Conditions) {
				o.Open[n-1].To = day
				continue
			}
			o.Open = append(o.Open, Opening{From: day, To: day, Conditions: d.Conditions})
			continue
		}
		if n := len(o.Closed); n > 0 && o.Closed[n-1].To.Equal(before) && slices.Equal(o.Closed[n-1].Windows, d.Blocked) {
			o.Closed[n-1].To = day
			continue
		}
		o.Closed = append(o.Closed, Closing{From: day, To: day, Windows: d.Blocked})
	}
}

// midnight is the day that a time shows on its own clock.
func midnight(t time.Time) time.Time {
	year, month, day := t.Date()
	return time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
}
