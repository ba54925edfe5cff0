package profile_test

import (
	"math"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory/profile"
)

// Luley et al. 2002 (Arboriculture and Urban Forestry 28(3):137), Rochester NY,
// eight years: 6.5 branch failures per 1,000 trees a year among trees with work,
// 7.6 among trees with requests.
func TestChancesComeOutAtThePublishedRate(t *testing.T) {
	for _, name := range profile.BuiltinNames {
		rate := builtin(t, name).BranchFailuresPer1000()
		if rate < 6.5 || rate > 7.6 {
			t.Errorf("%s: %.2f branch failures per 1,000 trees a year, published 6.5 to 7.6", name, rate)
		}
	}
	// By hand from the default's figures.
	if got, want := profile.Default().BranchFailuresPer1000(), 1000*(0.9*0.004+0.08*0.015+0.018*0.06+0.002*0.5); math.Abs(got-want) > 1e-12 {
		t.Errorf("%v, by hand %v", got, want)
	}
}

// The same study: three times as many failures in leaf as out of leaf. The days
// of the default's season, 1 May to 31 October, are 184 of 365.
func TestSeasonChance(t *testing.T) {
	p := profile.Default()
	in, out := p.SeasonChance(profile.LeafOn, false), p.SeasonChance(profile.LeafOff, false)
	if math.Abs(in/out-3) > 1e-12 {
		t.Errorf("in leaf %v, out of leaf %v: published three times", in, out)
	}
	if mean := (184*in + 181*out) / 365; math.Abs(mean-1) > 1e-12 {
		t.Errorf("the year's mean is %v, expected 1", mean)
	}
	for _, s := range profile.Seasons {
		if f := p.SeasonChance(s, true); f != 1 {
			t.Errorf("an evergreen in season %s: %v, expected 1", s, f)
		}
	}
	if f := p.SeasonChance(profile.WholeYear, false); f != 1 {
		t.Errorf("the whole year: %v, expected 1", f)
	}
}

func builtin(t *testing.T, name string) *profile.Profile {
	t.Helper()
	text, ok := profile.Builtin(name)
	if !ok {
		t.Fatalf("no built-in profile %q", name)
	}
	p, err := profile.Parse(text)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return p
}

func TestBuiltin(t *testing.T) {
	byDefault, byPoints := builtin(t, "default"), builtin(t, "points")
	if byDefault.Rating.Method != profile.Matrices || byPoints.Rating.Method != profile.Points {
		t.Errorf("methods %q and %q", byDefault.Rating.Method, byPoints.Rating.Method)
	}
	if byDefault.Name != "default" || byPoints.Name != "points" || byDefault.Digest == byPoints.Digest {
		t.Errorf("names %q and %q, digests alike: %v", byDefault.Name, byPoints.Name, byDefault.Digest == byPoints.Digest)
	}
	// Nothing but the two lines differs.
	a, _ := profile.Builtin("default")
	b, _ := profile.Builtin("points")
	was, is := strings.Split(string(a), "\n"), strings.Split(string(b), "\n")
	if len(was) != len(is) {
		t.Fatalf("%d lines and %d", len(was), len(is))
	}
	var changed []string
	for i := range was {
		if was[i] != is[i] {
			changed = append(changed, is[i])
		}
	}
	if got := strings.Join(changed, "|"); got != "name: points|  method: points" {
		t.Errorf("changed lines %q", got)
	}
	if _, ok := profile.Builtin("other"); ok {
		t.Error("a profile that is not built in was given")
	}
}

func TestRatingSectionsSayWhatIsWrong(t *testing.T) {
	good := string(profile.DefaultText())
	for _, c := range []struct{ name, old, new, want string }{
		{"method", "method: matrices", "method: words", `rating.method: "words": expected one of [matrices points]`},
		{"half a point", "brittle_points: {value: 1,", "brittle_points: {value: 0.5,", "rating.points.brittle_points: 0.5: expected a whole number from 0 to 2"},
		{"fewer points for a likelier failure", "      probable: {value: 3, source: \"assumption, which", "      probable: {value: 1, source: \"assumption, which", "rating.points.failure.probable: 1: expected no fewer points"},
		{"sizes", "large_part_m: {value: 0.51,", "large_part_m: {value: 0.05,", "rating.points.medium_part_m: 0.1 is above large_part_m, 0.05"},
		{"ratio", "shoot_ratio: {value: 0.6,", "shoot_ratio: {value: 0.8,", "screening.shoot_ratio: 0.8 is above shoot_ratio_work, 0.7"},
		{"share", "with_opening: {value: 0.33,", "with_opening: {value: 33,", "screening.cavity.with_opening: 33: expected a share from 0 to 1"},
		{"no source in a nested part", `coder_hazard: {value: 0.44, source: "Coder 1989: hazard above 0.44"}`, "coder_hazard: {value: 0.44}", "screening.cavity.coder_hazard is missing or has no source"},
		{"light wind", "gust_mps: {value: 25,", "gust_mps: {value: 10,", "mechanics.gust_mps: 10 is below drag_speed_mps, 20"},
		{"no slenderness", "shoot_slenderness: {value: 56.25,", "shoot_slenderness: {value: 0,", "mechanics.shoot_slenderness: expected more than 0"},
		{"mix", "improbable: {value: 0.9,", "improbable: {value: 0.8,", "calibration.crown: the shares add up to 0.9"},
		{"leaf factor", "in_leaf_factor: {value: 3,", "in_leaf_factor: {value: 0,", "calibration.in_leaf_factor: 0"},
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
