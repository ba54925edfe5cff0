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

// Worst hours in words; the days and hours are counted by hand from Monday 00:00.
func TestWorstHours(t *testing.T) {
	week := func(at ...int) []float64 {
		out := make([]float64, 168)
		for i := range out {
			out[i] = 0.8
		}
		for _, hour := range at {
			out[hour] = 0.9
		}
		out[at[0]] = 1
		return out
	}
	for want, hours := range map[string][]float64{
		"Mon 08:00 to 10:00": week(8, 9),
		"Mon to Thu 08:00 to 09:00; Sat, Sun 10:00 to 11:00": week(8, 32, 56, 80, 130, 154),
		"Sat 22:00 to 24:00; Sun 00:00 to 02:00":             week(142, 143, 144, 145),
		"Sun 23:00 to 24:00; Mon 00:00 to 01:00":             week(167, 0),
		"Mon, Wed 17:00 to 18:00; Tue 17:00 to 19:00":        week(17, 65, 41, 42),
		"":                          make([]float64, 168),
		"Mon to Sun 00:00 to 24:00": flat(3),
	} {
		var words []string
		for _, d := range question.Worst(hours) {
			words = append(words, d.String())
		}
		if got := strings.Join(words, "; "); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

func flat(v float64) []float64 {
	out := make([]float64, 168)
	for i := range out {
		out[i] = v
	}
	return out
}
