package practice_test

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// The published limits hold for every practice: a lateral under a third makes a
// heading cut (UF/IFAS, reduction cuts); a quarter of the live crown is the most
// of a season (published restatements of the pruning standard, METHOD 1.2).
func TestPublishedLimits(t *testing.T) {
	for _, c := range []struct{ from, to, want string }{
		{"lateral_share: {value: 0.3333333333", "lateral_share: {value: 0.33", "heading cut"},
		{"young: {value: 0.25", "young: {value: 0.26", "pruning.dose.young"},
		{"established: {value: 0.2,", "established: {value: 0.3,", "pruning.dose.established"},
		{"mature: {value: 0.1,", "mature: {value: 0.5,", "pruning.dose.mature"},
		{"structural: {value: 0.15", "structural: {value: 0.4", "work_dose.structural"},
		{"dose_never_share: {value: 0.5", "dose_never_share: {value: 0.9", "dose_never_share"},
		{"dose: {value: 0.15, source: assumption}", "dose: {value: 0.3, source: assumption}", "restoration.visits.2.dose"},
		{"over_dose_years: {value: 3", "over_dose_years: {value: 2.5", "over_dose_years"},
		{"look_years: {value: 2", "look_years: {value: 0", "look_years"},
		{"[walkway, road, playground, seating, transit_stop, plaza]", "[walkway, pond]", "pond"},
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

func TestParseFile(t *testing.T) {
	if p, err := practice.ParseFile(practice.DefaultText()); err != nil || p.Digest != practice.Default().Digest {
		t.Errorf("the built-in text: %v", err)
	}
	changed := strings.Replace(string(practice.DefaultText()), `currency: ""`, `currency: "EUR"`, 1)
	if _, err := practice.ParseFile([]byte(changed)); inventory.KindOf(err) != inventory.Invalid || !strings.Contains(err.Error(), "name of its own") {
		t.Errorf("a changed copy called default: %v", err)
	}
	if _, err := practice.ParseFile([]byte(strings.Replace(changed, "name: default", "name: town", 1))); err != nil {
		t.Errorf("a changed copy with a name of its own: %v", err)
	}
}

func TestWarnings(t *testing.T) {
	if w := practice.Default().Warnings(); len(w) != 0 {
		t.Errorf("the built-in practice warns: %v", w)
	}
	for _, c := range []struct {
		want   string
		change func(*practice.Practice)
	}{
		{"windows.list is empty", func(p *practice.Practice) { p.Windows.List = nil }},
		{"every window is open", func(p *practice.Practice) {
			for i := range p.Windows.List {
				p.Windows.List[i].Open = true
			}
		}},
		{"window nesting (03-01 to 08-31) is open", func(p *practice.Practice) { p.Windows.List[2].Open = true }},
		{"window oak wilt (04-01 to 07-31) is gone", func(p *practice.Practice) { p.Windows.List = p.Windows.List[1:] }},
		{"pruning.dose.mature is 0.2, above the built-in 0.1", func(p *practice.Practice) { p.Pruning.Dose.Mature.Value = 0.2 }},
		{"lateral_share_preferred is 0.35, below", func(p *practice.Practice) { p.Pruning.LateralSharePreferred.Value = 0.35 }},
		{"dying_words is empty", func(p *practice.Practice) { p.Pruning.DyingWords = nil }},
	} {
		p := practice.Default()
		c.change(p)
		if w := p.Warnings(); len(w) != 1 || !strings.Contains(w[0], c.want) {
			t.Errorf("expected a warning of %q, got %v", c.want, w)
		}
	}
}
