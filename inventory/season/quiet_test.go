package season_test

import (
	"math"
	"testing"

	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/season"
)

// A week made by hand: one person in each hour, a tenth on Saturday from 9 to 14
// o'clock, nobody on Sunday. In working hours from 7 to 17, six days, windows of 4
// hours begin at 7 to 13 o'clock: 42 of them. Those of Monday to Friday hold 4
// person-hours each; those of Saturday, begun at 7 to 13, 2.2, 1.3, 0.4, 0.4, 1.3, 2.2 and
// 3.1. Sunday is no working day.
func TestQuietHours(t *testing.T) {
	persons := make([]float64, 168)
	for i := range persons {
		persons[i] = 1
		if day, hour := i/24, i%24; day == 6 {
			persons[i] = 0
		} else if day == 5 && hour >= 9 && hour < 14 {
			persons[i] = 0.1
		}
	}
	w := practice.Default().WorkHours
	q, ok := season.QuietHours(persons, &w)
	if want := (35*4 + 2.2 + 1.3 + 0.4 + 0.4 + 1.3 + 2.2 + 3.1) / 42; !ok || q.Start != 5*24+9 || math.Abs(q.PersonHours-0.4) > 1e-12 || math.Abs(q.Mean-want) > 1e-12 {
		t.Errorf("%+v %v, expected Saturday from 9, 0.4 person-hours, mean %v", q, ok, want)
	}
	if got, want := q.String(), "Sat 09:00 to 13:00: 0.4000 person-hours; the mean working window of 4 hours has 3.59 person-hours"; got != want {
		t.Errorf("%q, expected %q", got, want)
	}
	// At night, over midnight; the night of Saturday ends on Sunday: (5 × 8 + 3) / 6.
	w.From.Value, w.To.Value, w.Window.Value = 21, 5, 8
	if q, ok = season.QuietHours(persons, &w); !ok || q.String() != "Sat 21:00 to Sun 05:00: 3.00 person-hours; the mean working window of 8 hours has 7.17 person-hours" {
		t.Errorf("%v %v", q, ok)
	}
	w.Window.Value = 9
	if q, ok = season.QuietHours(persons, &w); ok {
		t.Errorf("9 hours within 8: %v", q)
	}
	w.From.Value, w.To.Value, w.Window.Value, w.Days = 18, 24, 6, []string{"sun"}
	if q, ok = season.QuietHours(persons, &w); !ok || q.String() != "Sun 18:00 to 24:00: 0 person-hours; the mean working window of 6 hours has 0 person-hours" {
		t.Errorf("%v %v", q, ok)
	}
}
