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
		{"no walking", "walking_speed_mps: {value: 1.2,", "walking_speed_mps: {value: 0,", "targets.walking_speed_mps: 0, expected a number above 0 to 20"},
		{"nobody", "walking_speed_mps: {value: 1.2,", "walking_speed_mps: {value: .nan,", "targets.walking_speed_mps: NaN"},
		{"endless", "persons_per_vehicle: {value: 1.67,", "persons_per_vehicle: {value: .inf,", "targets.persons_per_vehicle: +Inf"},
		{"more than sure", "imminent: {value: 0.5,", "imminent: {value: 1.6,", "weights.chance.imminent: 1.6, expected a number from 0 to 1"},
		{"thrown far", "dead_reach_factor: {value: 1.5,", "dead_reach_factor: {value: 1e300,", "sizing.dead_reach_factor: 1e+300"},
		{"no crown", "max_crown_radius_m: {value: 15,", "max_crown_radius_m: {value: 0,", "sizing.max_crown_radius_m: 0"},
		{"fuller than full", "share_occupied: {value: 0.35,", "share_occupied: {value: 1.5,", "targets.kinds.parking.share_occupied: 1.5"},
		{"a kind below nothing", "people_present: {value: 1.5,", "people_present: {value: -1.5,", "targets.kinds.playground.people_present: -1.5 is negative"},
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
