package practice_test

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/practice"
)

// Hours counted by hand. A night is of the day it begins on, as in a question for
// the quietest hours (question.HoursQuery).
func TestWorkHoursHold(t *testing.T) {
	number := func(v float64) practice.Number { return practice.Number{Value: v, Source: "test"} }
	for _, c := range []struct {
		from, to float64
		days     string
		hours    int // that hold in a week
		in, out  []int
	}{
		{7, 17, "mon tue wed thu fri sat", 60, []int{7, 16, 5*24 + 7}, []int{6, 17, 6*24 + 7, 0}},
		{0, 24, "sun", 24, []int{144, 167}, []int{143, 0}},
		{20, 6, "sun", 10, []int{6*24 + 20, 167, 0, 5}, []int{6, 6*24 + 19, 6 * 24}},
		{22, 24, "mon", 2, []int{22, 23}, []int{21, 24}},
	} {
		w := practice.WorkHours{From: number(c.from), To: number(c.to), Days: strings.Fields(c.days), Window: number(1)}
		n := 0
		for hour := range 168 {
			if w.Holds(hour) {
				n++
			}
		}
		if n != c.hours {
			t.Errorf("%v to %v on %s: %d hours of the week, expected %d", c.from, c.to, c.days, n, c.hours)
		}
		for _, hour := range c.in {
			if !w.Holds(hour) {
				t.Errorf("%v to %v on %s: hour %d is left out", c.from, c.to, c.days, hour)
			}
		}
		for _, hour := range c.out {
			if w.Holds(hour) {
				t.Errorf("%v to %v on %s: hour %d is taken in", c.from, c.to, c.days, hour)
			}
		}
	}
}

func TestWorkHoursRefused(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{"from: {value: 7,", "from: {value: 7.5,", "work_hours.from"},
		{"to: {value: 17,", "to: {value: 25,", "work_hours.to"},
		{"to: {value: 17,", "to: {value: 7,", "work_hours.to"},
		{"[mon, tue,", "[monday, tue,", "monday"},
		{"days: [mon, tue, wed, thu, fri, sat]", "days: []", "work_hours.days"},
		{"window_hours: {value: 4,", "window_hours: {value: 11,", "do not fit"},
	} {
		text := strings.Replace(string(practice.DefaultText()), c.from, c.to, 1)
		if text == string(practice.DefaultText()) {
			t.Fatalf("%q is not in the text", c.from)
		}
		if _, err := practice.Parse([]byte(text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, expected an error about %q", c.to, err, c.want)
		}
	}
}
