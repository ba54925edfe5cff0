package question_test

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/question"
)

// The days and hours are counted by hand from Monday 00:00.
func TestWindowInWords(t *testing.T) {
	for want, w := range map[string]question.Window{
		"Mon 07:00 to 11:00":     {Start: 7, Length: 4},
		"Sat 18:00 to Sun 00:00": {Start: 5*24 + 18, Length: 6},
		"Sun 22:00 to Mon 02:00": {Start: 6*24 + 22, Length: 4},
		"Mon 00:00 to Mon 00:00": {Start: 0, Length: 168},
	} {
		if got := w.String(); got != want {
			t.Errorf("%+v: %q, want %q", w, got, want)
		}
	}
}

// Nights over midnight can be asked for; an empty day or hours that are none cannot.
func TestHoursOfTheDay(t *testing.T) {
	for _, c := range []struct {
		from, to, window int
		days             []int
		ok               bool
	}{
		{20, 6, 10, nil, true}, {20, 6, 11, nil, false}, {20, 6, 10, []int{6}, true}, {20, 6, 11, []int{5, 6}, false},
		{20, 0, 4, nil, true}, {7, 19, 12, nil, true}, {7, 7, 1, nil, false}, {24, 6, 1, nil, false}, {-1, 6, 1, nil, false}, {7, 25, 1, nil, false},
	} {
		q := question.HoursQuery{From: c.from, To: c.to, Window: c.window, Days: c.days}
		if err := q.Check(); (err == nil) != c.ok {
			t.Errorf("%+v: %v", c, err)
		}
	}
}

func TestShutNote(t *testing.T) {
	var shut, open, empty question.Week
	shut.Peak, open.Peak = 3, 3
	open.Mean = exposure.Count{People: 0.5}
	if note := shut.ShutNote(); !strings.Contains(note, "calendar") {
		t.Errorf("shut: %q", note)
	}
	if open.ShutNote() != "" || empty.ShutNote() != "" {
		t.Errorf("open: %q, nobody: %q", open.ShutNote(), empty.ShutNote())
	}
}
