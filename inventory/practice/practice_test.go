package practice_test

import (
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory/practice"
)

func TestDefault(t *testing.T) {
	p := practice.Default()
	if p.Name != "default" || len(p.Digest) != 64 || len(p.Windows.List) == 0 {
		t.Fatalf("default practice: %q %q, %d windows", p.Name, p.Digest, len(p.Windows.List))
	}
	for _, w := range p.Windows.List {
		if w.Open {
			t.Errorf("window %s is open: windows are closed until the client decides", w.Name)
		}
	}
}

func TestRefused(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{"version: 1", "version: 0", "version"},
		{"lateral_share: {value: 0.3333333333", "lateral_share: {value: 0.9", "lateral_share_preferred"},
		{"young: {value: 0.25", "young: {value: 2.5", "pruning.dose.young"},
		{"between_years: {value: 1", "between_years: {value: 4", "between_years"},
		{"between_years: {value: 1", "between_years: {value: 0.5", "between_years"},
		{"green_density_kgpm3: {value: 1000", "green_density_kgpm3: {value: 0", "green_density_kgpm3"},
		{"limb_taper: {value: 1", "limb_taper: {value: 9", "limb_taper"},
		{"stressed_percent: {value: 40", "stressed_percent: {value: 400", "stressed_percent"},
		{"dose_total_share: {value: 0.6", "dose_total_share: {value: 6", "dose_total_share"},
		{"inner_growth_years: {value: 2", "inner_growth_years: {value: 2.5", "whole number"},
		{"from: 04-01, to: 07-31", "from: 13-01, to: 07-31", "line"},
		{"urgent: survey", "urgent: perhaps", "allowed, survey or blocked"},
		{"[11.3, 16.7,", "[16.7,", "light_minutes"},
		{"    reduction: {value: 0.2,", "    reducing: {value: 0.2,", "reducing"},
		{"name: default", "nom: default", "nom"},
		{"crew_size: {value: 2, source: \"assumption, people; the published minutes do not state it\"}", "crew_size: {value: 2}", "source"},
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

// A window over New Year wraps (METHOD TV-SEASON: windows that cross New Year must wrap).
func TestWindowCovers(t *testing.T) {
	over := practice.Window{From: "11-15", To: "02-10"}
	within := practice.Window{From: "04-01", To: "07-31"}
	for _, c := range []struct {
		w    *practice.Window
		day  string
		want bool
	}{
		{&over, "2026-11-14", false}, {&over, "2026-11-15", true}, {&over, "2026-12-31", true}, {&over, "2027-01-01", true}, {&over, "2027-02-10", true}, {&over, "2027-02-11", false},
		{&within, "2027-03-31", false}, {&within, "2027-04-01", true}, {&within, "2027-05-10", true}, {&within, "2027-07-31", true}, {&within, "2027-08-01", false}, {&within, "2027-12-05", false},
	} {
		day, _ := time.Parse(time.DateOnly, c.day)
		if got := c.w.Covers(day); got != c.want {
			t.Errorf("%s in %s to %s: %v", c.day, c.w.From, c.w.To, got)
		}
	}
}
