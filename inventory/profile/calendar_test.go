package profile_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory/profile"
)

// parse reads the default profile with one piece of its text changed.
func parse(t *testing.T, from, to string) (*profile.Profile, error) {
	t.Helper()
	good := string(profile.DefaultText())
	text := strings.Replace(good, from, to, 1)
	if text == good {
		t.Fatalf("%q is not in the default profile", from)
	}
	return profile.Parse([]byte(text))
}

// The standard library's calendar of a year of 365 days is the judge.
func daysBetween(from, to string) int {
	a, _ := time.Parse(time.DateOnly, "2025-"+from)
	b, _ := time.Parse(time.DateOnly, "2025-"+to)
	if b.Before(a) {
		b = b.AddDate(1, 0, 0)
	}
	return int(b.Sub(a).Hours()/24) + 1
}

func calendar(exceptions ...profile.Exception) *profile.Calendar {
	return &profile.Calendar{
		Season: profile.WholeYear, LeafOn: profile.Leaf{From: "05-01", To: "10-31", Source: "test"}, Exceptions: exceptions,
	}
}

func TestPeriodsCountTheDays(t *testing.T) {
	for _, c := range []struct{ from, to string }{
		{"01-01", "01-01"}, {"02-28", "03-01"}, {"07-05", "08-20"}, {"12-22", "01-04"}, {"12-31", "01-01"}, {"01-01", "12-31"}, {"11-01", "10-30"},
	} {
		days := daysBetween(c.from, c.to)
		periods := calendar(profile.Exception{Name: "x", From: c.from, To: c.to, Weeks: []string{"b"}, Factor: 0.25}).Periods([]string{"a", "b"})
		total, excepted := 0, 0
		for _, p := range periods {
			total += p.Days
			if p.Factors[0] != 1 {
				t.Errorf("%s to %s changed a week it does not name", c.from, c.to)
			}
			if p.Factors[1] == 0.25 {
				excepted += p.Days
			}
		}
		if total != profile.DaysInYear || excepted != days {
			t.Errorf("%s to %s: %d of %d days, expected %d of 365", c.from, c.to, excepted, total, days)
		}
		if days < 365 && periods[0].Factors[1] != 1 {
			t.Errorf("%s to %s: ordinary days do not come first", c.from, c.to)
		}
	}
}

func TestLaterExceptionCounts(t *testing.T) {
	c := calendar(
		profile.Exception{Name: "holidays", From: "07-01", To: "07-31", Weeks: []string{"a"}, Factor: 0},
		profile.Exception{Name: "camp", From: "07-11", To: "07-20", Weeks: []string{"a"}, Factor: 1},
	)
	periods := c.Periods([]string{"a"})
	if len(periods) != 2 || periods[0].Days != 365-21 || periods[1].Days != 21 {
		t.Errorf("%+v, expected 21 days shut", periods)
	}
}

func TestSeasonsShareTheYear(t *testing.T) {
	c := calendar(profile.Exception{Name: "x", From: "10-01", To: "11-30", Weeks: []string{"a"}, Factor: 2})
	inLeaf := daysBetween("05-01", "10-31")
	if got := c.LeafShare(); math.Abs(got-float64(inLeaf)/365) > 1e-15 {
		t.Errorf("leaf share %v, expected %d of 365 days", got, inLeaf)
	}
	for _, s := range []struct {
		season           profile.Season
		ordinary, double int
	}{{profile.WholeYear, 304, 61}, {profile.LeafOn, inLeaf - 31, 31}, {profile.LeafOff, 365 - inLeaf - 30, 30}} {
		c.Season = s.season
		p := c.Periods([]string{"a"})
		if len(p) != 2 || p[0].Days != s.ordinary || p[1].Days != s.double {
			t.Errorf("%s: %+v, expected %d ordinary days and %d others", s.season, p, s.ordinary, s.double)
		}
	}
	// Leaves over New Year, as south of the equator.
	c.LeafOn = profile.Leaf{From: "11-01", To: "04-30"}
	if got := c.LeafShare(); math.Abs(got-float64(daysBetween("11-01", "04-30"))/365) > 1e-15 {
		t.Errorf("leaf share over New Year %v", got)
	}
}

// Full dates count in the year named, and only with the part that lies in it.
func TestDatesOfOneYear(t *testing.T) {
	e := profile.Exception{Name: "works", From: "2025-12-20", To: "2026-01-10", Weeks: []string{"a"}, Factor: 0}
	for year, want := range map[int]int{2024: 0, 2025: 12, 2026: 10, 2027: 0} {
		c := calendar(e)
		c.Year = year
		got := 0
		for _, p := range c.Periods([]string{"a"}) {
			if p.Factors[0] == 0 {
				got += p.Days
			}
		}
		if got != want {
			t.Errorf("%d: %d days, expected %d", year, got, want)
		}
	}
}

func TestCalendarSaysWhatIsWrong(t *testing.T) {
	const summer = "from: 07-05, to: 08-20, weeks: [school], factor: 0.1"
	for _, c := range []struct{ name, old, new, want string }{
		{"date", summer, "from: 7-5, to: 08-20, weeks: [school], factor: 0.1", `calendar.exceptions.summer holidays: from: "7-5" is not a date: expected MM-DD`},
		{"day", summer, "from: 02-30, to: 08-20, weeks: [school], factor: 0.1", "month 2 has days 1 to 28"},
		{"month", summer, "from: 13-01, to: 08-20, weeks: [school], factor: 0.1", "expected MM-DD or YYYY-MM-DD"},
		{"half a year", summer, "from: 2026-07-05, to: 08-20, weeks: [school], factor: 0.1", "give both dates with a year or both without"},
		{"year not named", summer, "from: 2026-07-05, to: 2026-08-20, weeks: [school], factor: 0.1", "calendar.year"},
		{"week", summer, "from: 07-05, to: 08-20, weeks: [pupils], factor: 0.1", `weeks: no week named "pupils"`},
		{"no week", summer, "from: 07-05, to: 08-20, factor: 0.1", "name the weeks it holds for"},
		{"factor", summer, "from: 07-05, to: 08-20, weeks: [school], factor: -1", "factor: -1: expected 0 (shut) or more"},
		{"source", `factor: 0.1, source: "assumption, replace by the school's terms"`, "factor: 0.1", "source is missing"},
		{"season", "season: year", "season: spring", `calendar.season: "spring": expected one of [year leaf-on leaf-off]`},
		{"leaf date", "leaf_on: {from: 05-01", "leaf_on: {from: 2026-05-01", "expected MM-DD without a year"},
		{"leaf", "leaf_on: {from: 05-01, to: 10-31, source: \"assumption, broadleaved trees of a temperate climate\"}", "leaf_on: {}", "calendar.leaf_on is missing"},
		{"wind", "# How windy", "wind: {source: x, weekday: [1]}\n#", "wind: weekday has 1 figures, expected 24"},
		{"wind of no source", "# How windy", "wind: {weekday: [1]}\n#", "wind: source is missing"},
		{"short week", "  market:\n", "  parade: {source: x, hours: [1, 2]}\n  market:\n", "weeks.parade: hours has 2 figures, expected 168"},
		{"two forms", "  market:\n", "  parade: {source: x, hours: [1], weekday: [1]}\n  market:\n", "weeks.parade: give either hours"},
		{"vehicles' week", "    road:\n", "    road:\n      vehicles_week: rush\n", `targets.kinds.road.vehicles_week: no week named "rush"`},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := parse(t, c.old, c.new); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, expected it to name %q", err, c.want)
			}
		})
	}
}

func TestDatesOfOneYearParse(t *testing.T) {
	p, err := parse(t, "season: year\n", "season: leaf-off\n  year: 2026\n")
	if err != nil || p.Calendar.Season != profile.LeafOff || p.Calendar.Year != 2026 {
		t.Fatalf("%+v (%v)", p, err)
	}
	_, err = parse(t, "season: year\n  leaf_on: {from: 05-01, to: 10-31, source: \"assumption, broadleaved trees of a temperate climate\"}\n  exceptions:\n",
		"year: 2026\n  leaf_on: {from: 05-01, to: 10-31, source: x}\n  exceptions:\n    - {name: works, from: 2026-03-01, to: 2026-03-31, weeks: [market, school], factor: 0, source: x}\n")
	if err != nil {
		t.Error(err)
	}
}

// The wind of a week and the same figures as 168 hours are one wind.
func TestWindForms(t *testing.T) {
	day := "[1, 1, 1, 1, 1, 1, 1, 2, 2, 3, 3, 4, 4, 4, 4, 3, 3, 2, 2, 1, 1, 1, 1, 1]"
	hours := strings.TrimSuffix(strings.Repeat(strings.Trim(day, "[]")+", ", 7), ", ")
	a, errA := parse(t, "# How windy", "wind: {source: x, weekday: "+day+"}\n#")
	b, errB := parse(t, "# How windy", "wind: {source: x, hours: ["+hours+"]}\n#")
	if errA != nil || errB != nil || *a.Wind != *b.Wind {
		t.Errorf("the two forms differ (%v, %v)", errA, errB)
	}
	even := a.Weeks["even"]
	if share := a.WindShare(&even); math.Abs(share-1) > 1e-12 {
		t.Errorf("an even week has a share of wind of %v, expected 1", share)
	}
	if p := profile.Default(); p.Wind != nil || p.WindShare(&even) != 1 {
		t.Error("the default profile has wind")
	}
}

// The hospital's parking is open all night, the shops' is shut.
func TestWeeksByName(t *testing.T) {
	p := profile.Default()
	for _, name := range []string{"even", "commuter_street", "shopping", "hospital", "school", "playground", "market"} {
		if _, ok := p.Weeks[name]; !ok {
			t.Errorf("no week named %s", name)
		}
	}
	for day := range 7 {
		if h := day*24 + 3; p.Weeks["hospital"][h] == 0 || p.Weeks["shopping"][h] != 0 {
			t.Errorf("at 3 on day %d: hospital %v, shopping %v", day, p.Weeks["hospital"][h], p.Weeks["shopping"][h])
		}
	}
	if w := p.Weeks["market"]; w[5*24+10] < 10*w[24+10] {
		t.Error("the market day does not stand out")
	}
}
