package question

import (
	"slices"
	"strings"

	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/season"
)

// windows answers which years of a programme have a day on which a visit may be
// made. Trees of one species over the same kinds of place are worked out once.
type windows struct {
	practice  *practice.Practice
	calendars []*season.Calendar // by year
	known     map[windowKey]openYears
}

// windowKey is what the windows of a visit hang on.
type windowKey struct {
	species string
	over    ranking.Kinds
	live    bool
}

// openYears are years with an open day, a bit each, and the windows that close the
// others.
type openYears struct {
	mask uint16
	by   []string
}

func (m *maker) newWindows() *windows {
	w := &windows{practice: m.Practice, known: make(map[windowKey]openYears)}
	for y := range m.q.Years {
		from := yearBegin(m.from.Year() + y)
		if y == 0 {
			from = m.from
		}
		w.calendars = append(w.calendars, season.NewCalendar(&m.Practice.Windows, from, yearEnd(from)))
	}
	return w
}

// of returns the years in which a visit, counted from 1, may be made.
func (w *windows) of(t *WorkTree, visit int) openYears {
	if windowsOf(t, visit, w.practice) != &w.practice.Windows {
		return openYears{mask: 1<<len(w.calendars) - 1} // a look waits for no window
	}
	key := windowKey{t.Tree.Species, t.Result.OverKinds(), t.Spec.Visits[visit-1].Dose > 0}
	open, ok := w.known[key]
	if ok {
		return open
	}
	for y, calendar := range w.calendars {
		o := calendar.Openings(seasonCase(t, visit))
		if len(o.Open) > 0 {
			open.mask |= 1 << y
			continue
		}
		for _, closed := range o.Closed {
			for _, by := range closed.Windows {
				if !slices.Contains(open.by, by.Name) {
					open.by = append(open.by, by.Name)
				}
			}
		}
	}
	w.known[key] = open
	return open
}

// close rules out the first years that would put a visit in a year without an open
// day. done is how many visits are made already.
func (w *windows) close(c *programme.Candidate, t *WorkTree, done int) {
	var by []string
	for k, v := range c.Visits {
		open := w.of(t, done+k+1)
		for start := 0; start+v.After < len(w.calendars); start++ {
			if open.mask>>(start+v.After)&1 == 0 {
				c.Closed |= 1 << start
			}
		}
		for _, name := range open.by {
			if !slices.Contains(by, name) {
				by = append(by, name)
			}
		}
	}
	c.ClosedBy = strings.Join(by, ", ")
}
