package practice

import (
	"fmt"
	"math"
	"slices"

	"github.com/underbough/underbough/inventory"
)

// WeekDays are the days of the week as a practice names them.
var WeekDays = []string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}

// WorkHours are when crews work, and how long a place is closed for one tree.
type WorkHours struct {
	From   Number   `yaml:"from"` // hour of the day, 0 to 23
	To     Number   `yaml:"to"`   // hour of the day, 1 to 24; over midnight where it comes before from
	Days   []string `yaml:"days"` // a night is of the day it begins on
	Window Number   `yaml:"window_hours"`
}

// Holds reports whether work may be done in an hour of the week, 0 = Monday 00:00.
func (w *WorkHours) Holds(hour int) bool {
	from, to := int(w.From.Value), int(w.To.Value)
	since := (hour%24 - from + 24) % 24
	if since >= (to-from+23)%24+1 {
		return false
	}
	begin := (hour - since + inventory.HoursInWeek) % inventory.HoursInWeek
	return slices.Contains(w.Days, WeekDays[begin/24])
}

func (w *WorkHours) validate() error {
	for _, h := range []struct {
		name        string
		v           float64
		least, most float64
	}{{"from", w.From.Value, 0, 23}, {"to", w.To.Value, 1, 24}, {"window_hours", w.Window.Value, 1, 24}} {
		if h.v != math.Trunc(h.v) || h.v < h.least || h.v > h.most {
			return fmt.Errorf("work_hours.%s: %v, expected whole hours from %v to %v", h.name, h.v, h.least, h.most)
		}
	}
	if w.From.Value == w.To.Value {
		return fmt.Errorf("work_hours.to: %v is the hour of from: expected another; 0 to 24 is the whole day", w.To.Value)
	}
	if len(w.Days) == 0 {
		return fmt.Errorf("work_hours.days: none is given, expected some of %v", WeekDays)
	}
	for _, d := range w.Days {
		if !slices.Contains(WeekDays, d) {
			return fmt.Errorf("work_hours.days: no day %q, expected some of %v", d, WeekDays)
		}
	}
	if length := math.Mod(w.To.Value-w.From.Value+23, 24) + 1; w.Window.Value > length {
		return fmt.Errorf("work_hours.window_hours: %v do not fit into the %v hours from %v to %v", w.Window.Value, length, w.From.Value, w.To.Value)
	}
	return nil
}
