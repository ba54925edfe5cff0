package profile_test

import (
	"math"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/profile"
)

func TestDefaultParses(t *testing.T) {
	p := profile.Default()
	for name, w := range p.Weeks {
		sum := 0.0
		for _, v := range w {
			sum += v
		}
		if math.Abs(sum-profile.HoursInWeek) > 1e-9 {
			t.Errorf("week %s has mean %v, expected 1", name, sum/profile.HoursInWeek)
		}
	}
}

func TestParseSaysWhatIsWrong(t *testing.T) {
	good := string(profile.DefaultText())
	for _, c := range []struct{ name, old, new, want string }{
		{"unknown field", "sizing:\n", "sizing:\n  crown: 3\n", "crown"},
		{"unknown week", "week: playground", "week: park", `targets.kinds.playground.week: no week named "park"`},
		{"no source", `dead_reach_factor: {value: 1.5, source: "field forms: 1.5 times the height for dead or brittle trees"}`, "dead_reach_factor: {value: 1.5}", "sizing.dead_reach_factor is missing or has no source"},
		{"not a number", "{value: 25,", "{value: wide,", "wide"},
		{"short day", "    weekday: [1, 1,", "    weekday: [1,", "weekday has 23 figures"},
		{"missing kind", "    other:\n      week: even\n", "", "targets.kinds.other is missing"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(good, c.old, c.new, 1)
			if text == good {
				t.Fatal("the change did not apply")
			}
			_, err := profile.Parse([]byte(text))
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, expected it to name %q", err, c.want)
			}
		})
	}
}
