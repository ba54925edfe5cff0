package practice

import (
	"fmt"
	"time"
)

// YearDay is a day of any year.
type YearDay struct {
	Month time.Month
	Day   int
}

// ParseYearDay reads MM-DD. The 29th of February is a day too.
func ParseYearDay(s string) (YearDay, error) {
	t, err := time.Parse(time.DateOnly, "2024-"+s) // a leap year
	if err != nil {
		return YearDay{}, fmt.Errorf("%q is not a day of the year: expected MM-DD", s)
	}
	return YearDay{t.Month(), t.Day()}, nil
}

// before reports whether d comes before e in a year.
func (d YearDay) before(e YearDay) bool {
	return d.Month < e.Month || d.Month == e.Month && d.Day < e.Day
}

// Covers reports whether a window's days hold a day, over New Year where its end
// comes before its begin.
func (w *Window) Covers(day time.Time) bool {
	from, errFrom := ParseYearDay(w.From)
	to, errTo := ParseYearDay(w.To)
	if errFrom != nil || errTo != nil {
		return false
	}
	d := YearDay{day.Month(), day.Day()}
	if to.before(from) {
		return !d.before(from) || !to.before(d)
	}
	return !d.before(from) && !to.before(d)
}
