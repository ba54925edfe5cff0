package season_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/season"
)

func day(t *testing.T, text string) time.Time {
	t.Helper()
	d, err := time.Parse(time.DateOnly, text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func window(name, from, to, urgent string, genera ...string) practice.Window {
	return practice.Window{Name: name, From: from, To: to, Urgent: urgent, Genera: genera, Reason: "reason of " + name, Source: "source of " + name}
}

// METHOD TV-SEASON: oak, Midwest, 2027-05-10, not urgent: blocked; 2027-12-05: ok;
// an urgent hanger on 2027-05-10: allowed, with a note on painting wounds. The
// built-in practice has the Midwest's dates.
func TestOakInTheMidwest(t *testing.T) {
	p := &practice.Default().Windows
	oak := season.Case{Species: "Quercus rubra", TakesLive: true}
	urgent := oak
	urgent.Urgent = true
	from, to := day(t, "2027-01-01"), day(t, "2027-12-31")
	calm, hanger := season.Open(oak, p, from, to), season.Open(urgent, p, from, to)
	may, december := day(t, "2027-05-10"), day(t, "2027-12-05")

	d := calm.On(may)
	i := slices.IndexFunc(d.Blocked, func(w season.Window) bool { return w.Name == "oak wilt" })
	if d.Allowed || i < 0 || d.Blocked[i].Reason == "" || d.Blocked[i].Source == "" || d.Blocked[i].Unsure != "" {
		t.Errorf("oak on 2027-05-10: %+v, expected to be blocked by oak wilt", d)
	}
	if d := calm.On(december); !d.Allowed || len(d.Conditions) > 0 || len(d.Blocked) > 0 {
		t.Errorf("oak on 2027-12-05: %+v, expected to be allowed", d)
	}
	if d := hanger.On(may); !d.Allowed || !slices.Contains(d.Conditions, "paint oak wounds at once") || !slices.Contains(d.Conditions, "only after a nest survey of the day") {
		t.Errorf("urgent hanger in an oak on 2027-05-10: %+v, expected to be allowed with wounds painted, after a nest survey", d)
	}
	// Nesting closes 1 March to 31 August, oak wilt and leaf-out lie within.
	if got, want := season.Words(&calm), "1 Jan 2027 to 28 Feb 2027; 1 Sep 2027 to 31 Dec 2027"; got != want {
		t.Errorf("open days %q, expected %q", got, want)
	}
	if n := len(season.Open(season.Case{Species: "Tilia cordata"}, p, may, may).Closed[0].Windows); n != 2 { // nesting and leaf-out
		t.Errorf("a linden on 2027-05-10: %d windows, expected no oak's or elm's", n)
	}
}

// Published dates by region, each the first and last closed day. Texas, Michigan:
// news digests citing the states' agencies (METHOD S28). East Lansing and Dane
// County on elms (S30). A city in Oregon (S31), southern California with raptors
// from the 1st of January (S32).
func TestRegions(t *testing.T) {
	for _, c := range []struct {
		region, species string
		windows         []practice.Window
		want            string
	}{
		{"Texas", "Quercus fusiformis", []practice.Window{window("oak wilt", "02-01", "06-30", "allowed", "Quercus")}, "1 Jan 2028 to 31 Jan 2028; 1 Jul 2028 to 31 Dec 2028"},
		{"Michigan", "Quercus rubra", []practice.Window{window("oak wilt", "04-15", "07-15", "allowed", "Quercus")}, "1 Jan 2028 to 14 Apr 2028; 16 Jul 2028 to 31 Dec 2028"},
		{"Wisconsin", "Ulmus americana", []practice.Window{window("elm disease", "04-01", "10-31", "allowed", "Ulmus")}, "1 Jan 2028 to 31 Mar 2028; 1 Nov 2028 to 31 Dec 2028"},
		{"Oregon", "Acer macrophyllum", []practice.Window{window("early nesting", "02-01", "04-14", "survey"), window("nesting", "04-15", "07-31", "survey")}, "1 Jan 2028 to 31 Jan 2028; 1 Aug 2028 to 31 Dec 2028"},
		{"California", "Platanus racemosa", []practice.Window{window("nesting", "02-15", "08-31", "survey"), window("raptors", "01-01", "08-31", "survey")}, "1 Sep 2028 to 31 Dec 2028"},
	} {
		p := &practice.Windows{List: c.windows}
		o := season.Open(season.Case{Species: c.species, TakesLive: true}, p, day(t, "2028-01-01"), day(t, "2028-12-31"))
		if got := season.Words(&o); got != c.want {
			t.Errorf("%s: %q, expected %q", c.region, got, c.want)
		}
		// Open and closed days are those of the leap year once.
		n := 0
		for _, s := range o.Open {
			n += int(s.To.Sub(s.From).Hours()/24) + 1
		}
		for _, s := range o.Closed {
			n += int(s.To.Sub(s.From).Hours()/24) + 1
		}
		if n != 366 {
			t.Errorf("%s: %d days, expected 366", c.region, n)
		}
	}
	// Oregon's two windows close the days next to each other, each with its own reason.
	o := season.Open(season.Case{}, &practice.Windows{List: []practice.Window{window("early nesting", "02-01", "04-14", "survey"), window("nesting", "04-15", "07-31", "survey")}}, day(t, "2028-01-01"), day(t, "2028-12-31"))
	if len(o.Closed) != 2 || o.Closed[0].Windows[0].Name != "early nesting" || !o.Closed[1].From.Equal(day(t, "2028-04-15")) || o.Closed[1].Windows[0].Source != "source of nesting" {
		t.Errorf("closed: %+v", o.Closed)
	}
}

// METHOD TV-SEASON: windows that cross New Year must wrap.
func TestOverNewYear(t *testing.T) {
	p := &practice.Windows{List: []practice.Window{window("winter nests", "11-15", "02-10", "blocked")}}
	o := season.Open(season.Case{Urgent: true}, p, day(t, "2026-10-01"), day(t, "2027-12-01"))
	if got, want := season.Words(&o), "1 Oct 2026 to 14 Nov 2026; 11 Feb 2027 to 14 Nov 2027"; got != want {
		t.Errorf("%q, expected %q", got, want)
	}
	o = season.Open(season.Case{}, p, day(t, "2026-12-01"), day(t, "2027-01-31"))
	if got, want := season.Words(&o), "no day from 1 Dec 2026 to 31 Jan 2027: closed by winter nests"; got != want {
		t.Errorf("%q, expected %q", got, want)
	}
}

func TestWhereAWindowApplies(t *testing.T) {
	oak, shade := window("oak wilt", "04-01", "07-31", "allowed", "Quercus"), window("shade", "06-15", "08-31", "blocked")
	oak.UrgentNote = "paint oak wounds at once"
	shade.Over, shade.Live = []inventory.TargetKind{inventory.Parking, inventory.Walkway}, true
	opened := oak
	opened.Open = true
	drought := practice.Drought{From: "2027-07-01", To: "2027-07-20", Source: "declared by the county"}
	over := []inventory.TargetKind{inventory.Road, inventory.Parking}
	for _, c := range []struct {
		name    string
		p       practice.Windows
		k       season.Case
		day     string
		allowed bool
		says    string // in the first condition or blocking window
	}{
		{"another genus", practice.Windows{List: []practice.Window{oak}}, season.Case{Species: "Acer rubrum"}, "2027-05-10", true, ""},
		{"no species", practice.Windows{List: []practice.Window{oak}}, season.Case{}, "2027-05-10", false, "not recorded and could be Quercus"},
		{"no species, urgent", practice.Windows{List: []practice.Window{oak}}, season.Case{Species: "unknown", Urgent: true}, "2027-05-10", true, "paint oak wounds at once (the species is not recorded"},
		{"misspelled", practice.Windows{List: []practice.Window{oak}}, season.Case{Species: "Qurecus alba"}, "2027-05-10", false, "spelled nearly as Quercus"},
		{"a letter short", practice.Windows{List: []practice.Window{oak}}, season.Case{Species: "QUERCS"}, "2027-05-10", false, "spelled nearly as Quercus"},
		{"a letter wrong", practice.Windows{List: []practice.Window{oak}}, season.Case{Species: "Quarcus alba"}, "2027-05-10", false, "spelled nearly as Quercus"},
		{"not as close", practice.Windows{List: []practice.Window{window("elm disease", "04-01", "10-31", "allowed", "Ulmus")}}, season.Case{Species: "Alnus glutinosa"}, "2027-05-10", true, ""},
		{"opened by the client", practice.Windows{List: []practice.Window{opened}}, season.Case{Species: "Quercus alba"}, "2027-05-10", true, ""},
		{"over parking", practice.Windows{List: []practice.Window{shade}}, season.Case{Over: over, TakesLive: true}, "2027-07-01", false, "shade"},
		{"urgent and blocked", practice.Windows{List: []practice.Window{shade}}, season.Case{Over: over, TakesLive: true, Urgent: true}, "2027-07-01", false, "shade"},
		{"over a road alone", practice.Windows{List: []practice.Window{shade}}, season.Case{Over: over[:1], TakesLive: true}, "2027-07-01", true, ""},
		{"dead wood alone", practice.Windows{List: []practice.Window{shade}}, season.Case{Over: over}, "2027-07-01", true, ""},
		{"drought, first day", practice.Windows{Drought: []practice.Drought{drought}}, season.Case{TakesLive: true}, "2027-07-01", false, "declared by the county"},
		{"drought, last day", practice.Windows{Drought: []practice.Drought{drought}}, season.Case{TakesLive: true}, "2027-07-20", false, "drought"},
		{"after the drought", practice.Windows{Drought: []practice.Drought{drought}}, season.Case{TakesLive: true}, "2027-07-21", true, ""},
		{"another year", practice.Windows{Drought: []practice.Drought{drought}}, season.Case{TakesLive: true}, "2028-07-10", true, ""},
		{"drought, dead wood alone", practice.Windows{Drought: []practice.Drought{drought}}, season.Case{}, "2027-07-10", true, ""},
		{"drought, urgent", practice.Windows{Drought: []practice.Drought{drought}}, season.Case{TakesLive: true, Urgent: true}, "2027-07-10", true, "take the hazard only"},
	} {
		at := day(t, c.day)
		o := season.Open(c.k, &c.p, at, at)
		d := o.On(at)
		said := strings.Join(d.Conditions, ";")
		for _, w := range d.Blocked {
			said += w.Name + w.Reason + w.Source + w.Unsure
		}
		if d.Allowed != c.allowed || !strings.Contains(said, c.says) || c.says == "" && said != "" {
			t.Errorf("%s: %+v, expected allowed %v, and %q", c.name, d, c.allowed, c.says)
		}
		if d.Allowed != (len(o.Open) == 1) || d.Allowed == (len(o.Closed) == 1) {
			t.Errorf("%s: the spans say %d open and %d closed", c.name, len(o.Open), len(o.Closed))
		}
	}
}

// Spellings of lists that were seen; what a name can mean is common practice, no source.
func TestGenera(t *testing.T) {
	for _, c := range []struct{ species, want string }{
		{"Quercus", "quercus"}, {"QUERCUS RUBRA", "quercus"}, {"Quercus × rosacea", "quercus"}, {"Quercus x bebbiana", "quercus"}, {"Quercus×rosacea", "quercus"},
		{"× Cuprocyparis leylandii", "cuprocyparis"}, {"×Chitalpa tashkentensis 'Pink Dawn'", "chitalpa"}, {"x Cupressocyparis leylandii", "cupressocyparis"},
		{"  quercus_robur ", "quercus"}, {"Quercus sp.", "quercus"}, {"cf. Quercus petraea", "quercus"}, {"Ulmus parvifolia 'Dynasty Oak'", "ulmus"}, {"Sorbus aucuparia (mountain ash)", "sorbus"},
		{"Red Oak", "red quercus"}, {"OAK, LIVE", "quercus"}, {"Unknown oak", "quercus"}, {"Sycamore", "platanus acer"},
		{"", ""}, {"  ", ""}, {"?", ""}, {"n/a", ""}, {"Unknown", ""}, {"sp.", ""}, {"Q. rubra", ""}, {"Deciduous", ""}, {"Unidentified spp.", ""}, {"12", ""}, {"Tree", ""},
	} {
		got := season.Genera(c.species)
		want := strings.Fields(c.want)
		if !slices.Equal(got, want) {
			t.Errorf("%q: %q, expected %q", c.species, got, want)
		}
	}
}

// A calendar gives what a fresh look gives, for cases that differ in one thing.
func TestCalendarIsShared(t *testing.T) {
	p := practice.Default().Windows
	p.Drought = []practice.Drought{{From: "2027-09-10", To: "2027-10-02", Source: "test"}}
	from, to := day(t, "2027-01-01"), day(t, "2027-12-31")
	c := season.NewCalendar(&p, from, to)
	seen := map[string]bool{}
	for range 2 {
		for _, species := range []string{"Quercus alba", "Ulmus glabra", "Acer rubrum", ""} {
			for _, over := range [][]inventory.TargetKind{nil, {inventory.Road}, {inventory.Walkway}} {
				for i := range 4 {
					k := season.Case{Species: species, Over: over, TakesLive: i%2 == 1, Urgent: i > 1}
					once := season.Open(k, &p, from, to)
					got, want := season.Words(c.Openings(k)), season.Words(&once)
					if got != want {
						t.Errorf("%+v: %q by the calendar, %q by itself", k, got, want)
					}
					seen[got] = true
				}
			}
		}
	}
	if len(seen) < 6 {
		t.Errorf("%d answers differ among the cases, expected more: %v", len(seen), seen)
	}
}

func BenchmarkCalendar(b *testing.B) {
	p := practice.Default().Windows
	c := season.NewCalendar(&p, time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2027, 12, 31, 0, 0, 0, 0, time.UTC))
	species := []string{"Quercus alba", "Ulmus glabra", "Acer rubrum", "", "Tilia cordata"}
	over := []inventory.TargetKind{inventory.Walkway}
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		c.Openings(season.Case{Species: species[i%len(species)], Over: over[:i%2], TakesLive: i%3 == 0, Urgent: i%7 == 0})
	}
}
