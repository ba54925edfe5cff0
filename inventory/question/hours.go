package question

import (
	"context"
	"errors"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// Week is the week under one part of a tree.
type Week struct {
	Tree inventory.Tree
	Part exposure.Part
	Cut  inventory.Opt[inventory.Cut] // that the limb carries
	exposure.Hours
	Mean     exposure.Count // of the year or season, exceptions included
	Summary  exposure.WeekSummary
	Quietest inventory.Opt[Window] // to close the place for work
}

// Window is some hours in a row.
type Window struct {
	Start       int     // hour of the week, 0 = Monday 00:00
	Length      int     // hours
	PersonHours float64 // spent under the part in these hours
}

// String says when the window is, with the day of its end where that is another
// than the first: "Mon 07:00 to 11:00", "Sat 18:00 to Sun 00:00".
func (w Window) String() string {
	from, to := ranking.HourName(w.Start), ranking.HourName(w.Start+w.Length)
	if w.Start/24 == (w.Start+w.Length)/24 {
		to = to[len("Mon "):]
	}
	return from + " to " + to
}

// ShutNote says why the mean is 0 where the ordinary week is not; empty where that
// is not so.
func (w *Week) ShutNote() string {
	if w.Peak == 0 || w.Mean.Persons() > 0 {
		return ""
	}
	return "The mean is 0 although the ordinary week is not: by the calendar nobody is here all through the time that the mean is over."
}

// HoursQuery asks for the week under a tree.
type HoursQuery struct {
	Tag string
	// Part is what to look under: the crown or a limb, whichever is over the most,
	// where it is missing.
	Part inventory.Opt[exposure.Part]
	// Window is how many hours in a row are needed for work; 0 asks for none. From
	// and To narrow them to these hours of the day, over midnight where From is
	// after To, and Days to these days of the week, 0 = Monday; all days where none
	// is given. A night is of the day it begins on.
	Window   int
	From, To int
	Days     []int
}

// ErrNoPart is why there is no week under a part that the tree has not.
var ErrNoPart = errors.New("ask for the crown or the whole tree")

// Hours opens the week under one tree.
func Hours(ctx context.Context, store TreeStore, site inventory.Site, q HoursQuery, p *profile.Profile, asOf time.Time) (*Week, error) {
	if err := q.Check(); err != nil {
		return nil, err
	}
	e, err := Explain(ctx, store, site, q.Tag, p, asOf)
	if err != nil {
		return nil, err
	}
	at := e.Assessment.Under
	if q.Part.OK {
		at = partOf(e, q.Part.V)
		if at < 0 {
			return nil, inventory.Errorf(inventory.NotFound, "tree %q has no limb with a weakening cut: %w", q.Tag, ErrNoPart)
		}
	}
	part := &e.Assessment.Parts[at]
	w := &Week{Tree: e.Facts.Tree, Part: part.Part, Hours: e.Meter.Hours(part.Exposure), Mean: part.Exposure.Count, Summary: e.Meter.Week(part.Exposure)}
	if part.Cut >= 0 {
		w.Cut = inventory.Some(e.Facts.Cuts[part.Cut])
	}
	if q.Window > 0 {
		start, total, _ := exposure.Quietest(w.Persons(), q.Window, q.within)
		w.Quietest = inventory.Some(Window{Start: start, Length: q.Window, PersonHours: total})
	}
	return w, nil
}

// Check reports what cannot be asked, without a look at any tree; a To of 0
// becomes 24.
func (q *HoursQuery) Check() error {
	if q.To == 0 {
		q.To = 24
	}
	if q.Window < 0 || q.Window > profile.HoursInWeek {
		return inventory.Errorf(inventory.Invalid, "window: %d hours, expected 1 to %d", q.Window, profile.HoursInWeek)
	}
	if q.From < 0 || q.From > 23 || q.To < 1 || q.To > 24 || q.From == q.To {
		return inventory.Errorf(inventory.Invalid, "hours of the day from %d to %d: expected two hours apart, the first 0 to 23 and the last 1 to 24; 20 to 6 is over midnight", q.From, q.To)
	}
	for _, d := range q.Days {
		if d < 0 || d > 6 {
			return inventory.Errorf(inventory.Invalid, "day %d: expected 0 for Monday to 6 for Sunday", d)
		}
	}
	if q.Window > 0 {
		if _, _, ok := exposure.Quietest(make([]float64, profile.HoursInWeek), q.Window, q.within); !ok {
			return inventory.Errorf(inventory.Invalid, "no %d hours in a row lie between %d and %d o'clock on the days asked for: ask for a shorter window, more hours of the day or more days", q.Window, q.From, q.To)
		}
	}
	return nil
}

// within reports whether work may be done in an hour of the week.
func (q *HoursQuery) within(hour int) bool {
	day, h := hour/24, hour%24
	switch {
	case q.From < q.To:
		if h < q.From || h >= q.To {
			return false
		}
	case h < q.To:
		day = (day + 6) % 7 // the night began the day before
	case h < q.From:
		return false
	}
	if len(q.Days) == 0 {
		return true
	}
	for _, d := range q.Days {
		if d == day {
			return true
		}
	}
	return false
}

// partOf is the place of a kind of part among a tree's parts: of several limbs,
// the one over the most; -1 for none.
func partOf(e *Explanation, part exposure.Part) int {
	at, most := -1, -1.0
	for i := range e.Assessment.Parts {
		if p := &e.Assessment.Parts[i]; p.Part == part && p.Exposure.Count.Persons() > most {
			at, most = i, p.Exposure.Count.Persons()
		}
	}
	return at
}
