package profile_test

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/profile"
)

func TestParseSaysWhatIsWrongWithDoubt(t *testing.T) {
	good := string(profile.DefaultText())
	for _, c := range []struct{ name, old, new, want string }{
		{"spread", "occupancy_counted: {value: 0.3,", "occupancy_counted: {value: 3,", "doubt.occupancy_counted: 3 is a standard deviation of a logarithm"},
		{"chances", "higher: {value: 0.25, source: \"assumption: nobody", "higher: {value: 0.8, source: \"assumption: nobody", "doubt.likelihood_inferred: higher 0.8 and lower 0.25 are together more than 1"},
		{"missing", "    lower: {value: 0.15, source: \"assumption, as judged\"}\n", "", "doubt.likelihood_stale.lower is missing"},
		{"negative", "occupancy_given: {value: 0.5,", "occupancy_given: {value: -0.5,", "doubt.occupancy_given: -0.5 is negative"},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(good, c.old, c.new, 1)
			if text == good {
				t.Fatal("the change did not apply")
			}
			if _, err := profile.Parse([]byte(text)); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, expected it to say %q", err, c.want)
			}
		})
	}
}
