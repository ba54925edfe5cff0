package exposure_test

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

const hoursInYear = 8760

// ordinaryYear is the default profile without exceptions.
func ordinaryYear() *profile.Profile {
	p := profile.Default()
	p.Calendar.Exceptions = nil
	return p
}

// daily is a week of like days; the factors are brought to mean 1.
func daily(factor func(hour int) float64) profile.Week {
	var w profile.Week
	sum := 0.0
	for h := range w {
		w[h] = factor(h % 24)
		sum += w[h]
	}
	for h := range w {
		w[h] *= profile.HoursInWeek / sum
	}
	return w
}

// between is 1 in the hours from one to before another, 0 else.
func between(from, to int) func(int) float64 {
	return func(h int) float64 {
		if from <= h && h < to {
			return 1
		}
		return 0
	}
}

// shutFrom shuts a week from a date to the end of the year.
func shutFrom(name, from string) profile.Exception {
	return profile.Exception{Name: "shut", From: from, To: "12-31", Weeks: []string{name}, Factor: 0, Source: "test"}
}

// open measures targets under a disc and returns the meter and the result.
func open(t *testing.T, p *profile.Profile, z geo.Zone, targets ...inventory.Target) (*exposure.Meter, exposure.ZoneExposure) {
	t.Helper()
	b := exposure.NewFieldBuilder(p)
	for i, target := range targets {
		target.ID = inventory.TargetID(i + 1)
		if err := b.Add(target); err != nil {
			t.Fatal(err)
		}
	}
	m := exposure.NewMeter(b.Build())
	out, _ := m.Measure(origin, []exposure.TreeZone{{Part: exposure.Crown, Cut: -1, Zone: z}})
	return m, out[0]
}

func seats(n float64, hours string) inventory.Target {
	s := inventory.Target{Kind: inventory.Seating, Geometry: at(1, 0)}
	s.PeoplePresent, s.Hours = inventory.Some(n), hours
	return s
}

// 120 people an hour for 14 h a day over 20 m at 3.5 ft/s (MUTCD, pedestrian
// clearance): 0.6249 present while they walk, chance of at least one 0.4647,
// 8.75 person-hours a day, 3,193 a year (arithmetic on the inputs).
func TestWalkByTheHour(t *testing.T) {
	p := ordinaryYear()
	p.Targets.WalkingSpeed.Value = 3.5 * 0.3048
	near(t, "3.5 ft/s", p.Targets.WalkingSpeed.Value, 1.067, 5e-4)
	near(t, "3.0 ft/s", 3.0*0.3048, 0.914, 5e-4)
	p.Weeks["fourteen"] = daily(between(7, 21))
	w := inventory.Target{Kind: inventory.Walkway, Geometry: orb.LineString{at(-50, 0), at(50, 0)}}
	w.PeoplePerHour, w.Hours = inventory.Some(120.0*14/24), "fourteen"
	m, z := open(t, p, geo.Disc(10), w)
	near(t, "person-hours a year", z.Count.People*hoursInYear, 3193, 1)
	h := m.Hours(z)
	near(t, "at 6", h.People[6], 0, 0)
	near(t, "at 7", h.People[7], 0.6249, 1e-4)
	near(t, "peak", h.Peak, 0.6249, 1e-4)
	if h.PeakHour != 7 {
		t.Errorf("peak at hour %d, expected the first of those alike, 7", h.PeakHour)
	}
	near(t, "occupied", m.Week(z).Occupied, 0.4647*14/24, 5e-5)
}

// 60 boardings an hour who wait 6 minutes: 6.00 (Little's law).
func TestStopByTheHour(t *testing.T) {
	s := inventory.Target{Kind: inventory.TransitStop, Geometry: at(1, 0)}
	s.PeoplePerHour, s.DwellMinutes, s.Hours = inventory.Some(60.0), inventory.Some(6.0), "even"
	_, z := open(t, ordinaryYear(), geo.Disc(5), s)
	near(t, "waiting", z.Count.People, 6, 1e-12)
}

// 24 seats, 55 % taken 8 h a day on 180 days: 13.2 in use, 19,008 person-hours a
// year, annual mean 2.170, hours used 0.1644 of the year (arithmetic).
func TestSeatsOfASeason(t *testing.T) {
	p := ordinaryYear()
	p.Weeks["terrace"] = daily(between(10, 18))
	p.Calendar.Exceptions = []profile.Exception{shutFrom("terrace", "06-30")} // after 180 days
	m, z := open(t, p, geo.Disc(5), seats(24*0.55*8/24, "terrace"))
	near(t, "annual mean", z.Count.People, 2.170, 5e-4)
	near(t, "person-hours a year", z.Count.People*hoursInYear, 19008, 1e-6)
	near(t, "in use", m.Hours(z).Peak, 13.2, 1e-9)
	s := m.Week(z)
	near(t, "busiest", s.Busiest, 13.2, 1e-9)
	near(t, "hours used", s.Occupied, 0.1644, 5e-5)
}

// 900 pupils pass twice a day along 15 m at 1.2 m/s on 190 days, half an hour
// each time: 6.25 while they pass, 6.25 person-hours a day, 1,187.5 a year,
// annual mean 0.1356, somebody there 0.0217 of the year: occasional by the year,
// constant in the peak (arithmetic). The two half hours are put into one, since
// the week has whole hours; in two hours 3.125 would be there in each.
func TestSchoolWalk(t *testing.T) {
	p := ordinaryYear()
	p.Weeks["passes"] = daily(between(8, 9))
	p.Calendar.Exceptions = []profile.Exception{shutFrom("passes", "07-10")} // after 190 days
	p.Targets.WalkingSpeed.Value = 1.2
	w := inventory.Target{Kind: inventory.Walkway, Geometry: orb.LineString{at(-50, 0), at(50, 0)}}
	w.PeoplePerHour, w.Hours = inventory.Some(900.0*2/24), "passes"
	m, z := open(t, p, geo.Disc(7.5), w)
	near(t, "while they pass", m.Hours(z).Peak, 6.25, 1e-4)
	near(t, "person-hours a year", z.Count.People*hoursInYear, 1187.5, 0.05)
	near(t, "annual mean", z.Count.People, 0.1356, 5e-5)
	s := m.Week(z)
	// 0.0217 is the share of the year in which they pass; the chance that one of
	// 6.25 is there at a time is 0.9981.
	near(t, "present", s.Occupied, 0.0217*0.9981, 5e-5)
	if o := p.Occupancy; s.Occupied < o.Occasional.Value || s.Occupied >= o.Frequent.Value {
		t.Errorf("present %v of the year, expected the occasional class", s.Occupied)
	}
	if peak := exposure.AtLeastOne(s.Busiest); peak < p.Occupancy.Constant.Value {
		t.Errorf("chance of somebody in the peak %v, expected the constant class", peak)
	}
}

// The chance is averaged over the hours, not taken of the mean number: two
// people half of the time are there 0.4323 of the time, not 1 − e^(−1) = 0.6321.
func TestOccupiedIsTheMeanOfChances(t *testing.T) {
	p := ordinaryYear()
	p.Weeks["half"] = daily(between(0, 12))
	m, z := open(t, p, geo.Disc(5), seats(1, "half"))
	near(t, "occupied", m.Week(z).Occupied, -math.Expm1(-2)/2, 1e-12)
}

// Day by day and hour by hour over the year, by the definition: for one week,
// for several and with a counted one, few people and many.
func TestWeekSummaryByTheDefinition(t *testing.T) {
	for _, season := range profile.Seasons {
		p := profile.Default()
		p.Calendar.Season = season
		p.Calendar.Exceptions = append(p.Calendar.Exceptions, profile.Exception{
			Name: "fair", From: "12-20", To: "01-06", Weeks: []string{"market", "shopping"}, Factor: 2.5, Source: "test"})
		for _, weeks := range [][]string{{"school"}, {"market"}, {"commuter_street"}, {"school", "market"}, {"even", "shopping", "school"}, {"counted"}, {"counted", "school", "market"}} {
			for _, people := range []float64{0.002, 0.02, 0.07, 0.2, 0.9, 7, 40} {
				var targets []inventory.Target
				for _, w := range weeks {
					target := seats(people, w)
					if w == "counted" {
						target.Kind, target.Hours, target.PeopleCounted = inventory.TransitStop, "", countedWeek(people)
						target.DwellMinutes = inventory.Some(60.0)
					}
					targets = append(targets, target)
				}
				m, z := open(t, p, geo.Disc(5), targets...)
				name := string(season) + " " + weeks[0]
				got, want, mean := m.Week(z), exposure.WeekSummary{Busiest: -1}, 0.0
				days := 0.0
				for _, period := range p.Calendar.Periods(weeks) {
					days += float64(period.Days)
					for h := range profile.HoursInWeek {
						n := 0.0
						for i, w := range weeks {
							shape := p.Weeks[w]
							if w == "counted" {
								shape[h] = countedWeek(1).PerHour[h]
							}
							n += people * period.Factors[i] * shape[h]
						}
						if n > want.Busiest*(1+1e-12) {
							want.Busiest, want.BusiestHour = n, h
						}
						mean += n * float64(period.Days) / profile.HoursInWeek
						want.Occupied -= math.Expm1(-n) * float64(period.Days) / profile.HoursInWeek
					}
				}
				near(t, name+" mean", z.Count.People, mean/days, 1e-12*people)
				near(t, name+" busiest", got.Busiest, want.Busiest, 1e-11*people)
				near(t, name+" occupied", got.Occupied, want.Occupied/days, 1e-11*people)
				if got.BusiestHour != want.BusiestHour {
					t.Errorf("%s: busiest hour %d, by the definition %d", name, got.BusiestHour, want.BusiestHour)
				}
			}
		}
	}
}

// countedWeek rises from hour to hour, with the mean asked for.
func countedWeek(mean float64) *inventory.CountedWeek {
	c := &inventory.CountedWeek{}
	for h := range c.PerHour {
		c.PerHour[h], c.Seen[h] = mean*float64(2*h+1)/168, 4
	}
	return c
}

func TestEmptyWeek(t *testing.T) {
	m, z := open(t, profile.Default(), geo.Disc(5))
	if s := m.Week(z); s != (exposure.WeekSummary{}) {
		t.Errorf("%+v over nothing", s)
	}
	if h := m.Hours(z); h.Peak != 0 || h.Vehicles[12] != 0 {
		t.Errorf("peak %v over nothing", h.Peak)
	}
}

// People and vehicles of one road keep weeks of their own where the profile
// says so, and the sheltered stay apart.
func TestHoursApart(t *testing.T) {
	p := ordinaryYear()
	road := p.Targets.Kinds[inventory.Road]
	road.Week, road.VehiclesWeek = "market", "commuter_street"
	p.Targets.Kinds[inventory.Road] = road
	r := inventory.Target{Kind: inventory.Road, Geometry: orb.LineString{at(-50, 0), at(50, 0)}}
	r.PeoplePerHour, r.VehiclesPerDay = inventory.Some(60.0), inventory.Some(4000.0)
	house := inventory.Target{Kind: inventory.Building, Geometry: rectangle(-3, -3, 3, 3)}
	house.PeoplePresent, house.Hours = inventory.Some(4.0), "school"
	m, z := open(t, p, geo.Disc(10), r, house)
	h := m.Hours(z)
	people, vehicles, sheltered := 60.0/3600/p.Targets.WalkingSpeed.Value*20, 4000.0/86400/p.Targets.VehicleSpeed.Value*20, 4.0
	for hour := range h.People {
		near(t, "people", h.People[hour], people*p.Weeks["market"][hour], 1e-5)
		near(t, "vehicles", h.Vehicles[hour], vehicles*p.Weeks["commuter_street"][hour], 1e-5)
		near(t, "in vehicles", h.InVehicles[hour], 1.67*vehicles*p.Weeks["commuter_street"][hour], 1e-5)
		near(t, "sheltered", h.Sheltered[hour], sheltered*p.Weeks["school"][hour], 1e-3)
		near(t, "persons", h.Persons()[hour], h.People[hour]+h.InVehicles[hour], 0)
	}
}

func TestQuietest(t *testing.T) {
	hours := make([]float64, 168)
	for i := range hours {
		hours[i] = 10
	}
	hours[167], hours[0], hours[1] = 1, 2, 3
	hours[50] = 0.5
	for _, c := range []struct {
		name   string
		length int
		within func(int) bool
		start  int
		total  float64
		ok     bool
	}{
		{"one hour", 1, nil, 50, 0.5, true},
		{"over Sunday night", 3, nil, 167, 6, true},
		{"all", 168, nil, 0, 165*10 + 6.5 - 10, true},
		{"by day only", 2, func(h int) bool { return h%24 >= 7 && h%24 < 19 }, 7, 20, true},
		{"none fits", 5, func(h int) bool { return h%24 < 4 }, 0, 0, false},
		{"no length", 0, nil, 0, 0, false},
		{"too long", 169, nil, 0, 0, false},
	} {
		start, total, ok := exposure.Quietest(hours, c.length, c.within)
		if start != c.start || math.Abs(total-c.total) > 1e-9 || ok != c.ok {
			t.Errorf("%s: from %d with %v (%v), expected %d with %v (%v)", c.name, start, total, ok, c.start, c.total, c.ok)
		}
	}
}

// Two people by night only, and a wind that blows by day only: none of them is
// there when anything falls; half and half weighs as the mean does.
func TestWindWeighsTheHours(t *testing.T) {
	p := ordinaryYear()
	p.Weeks["night"], p.Weeks["day"] = daily(between(0, 12)), daily(between(12, 24))
	wind := daily(between(12, 24))
	p.Wind = &wind
	for _, c := range []struct {
		week string
		want float64
	}{{"night", 0}, {"day", 4}, {"even", 2}} {
		_, z := open(t, p, geo.Disc(5), seats(2, c.week))
		near(t, c.week+", shown", z.Count.People, 2, 1e-12)
		near(t, c.week+", for harm", z.Harm.People, c.want, 1e-12)
	}
	p.Wind = nil
	if _, z := open(t, p, geo.Disc(5), seats(2, "night")); z.Harm != z.Count {
		t.Errorf("without wind %+v for harm, expected the plain mean %+v", z.Harm, z.Count)
	}
	// A counted week by its own hours: it rises through the week, mean of
	// (2h+1)/168 over the afternoons weighted 2.
	p.Wind = &wind
	s := seats(0, "even")
	s.Kind, s.PeopleCounted, s.DwellMinutes = inventory.TransitStop, countedWeek(2), inventory.Some(60.0)
	want := 0.0
	for h := range 168 {
		if h%24 >= 12 {
			want += 2 * 2 * float64(2*h+1) / 168 / 168
		}
	}
	_, z := open(t, p, geo.Disc(5), s)
	near(t, "counted, for harm", z.Harm.People, want, 1e-12)
}
