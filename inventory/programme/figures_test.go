package programme

import (
	"math"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %v, expected %v", what, got, want)
	}
}

func lineOf(c Cost, name string) float64 {
	for _, l := range c.Lines {
		if l.Name == name {
			return l.Hours
		}
	}
	return 0
}

// The Korean table of street-tree pruning (J. Korean Inst. Landsc. Archit. 50(4),
// table 5): minutes at the tree, with 12.2 of preparation and 1.8 of travel. Hours
// in all for light pruning, and the trees an hour that it prints for heavy pruning
// of the smallest and the fourth class.
func TestHoursAgainstPublishedTable(t *testing.T) {
	r := &practice.Default().Rates
	for _, row := range []struct{ dbh, hours float64 }{
		{0.109, 0.422}, {0.11, 0.512}, {0.209, 0.512}, {0.21, 0.590}, {0.31, 0.723}, {0.41, 0.882}, {0.509, 0.882}, {0.51, 1.190}, {2, 1.190},
	} {
		c := CostOf(Job{Work: practice.Cleaning, DBH: row.dbh}, r)
		near(t, "hours without clean-up", c.Hours-lineOf(c, LineCleanUp), row.hours, 0.0005)
	}
	near(t, "heavy, trees an hour", 1/HeavyHours(0.10, r), 60/(6.3+14), 1e-12)
	near(t, "heavy, trees an hour", 1/HeavyHours(0.10, r), 2.96, 0.005)
	near(t, "heavy, trees an hour", 1/HeavyHours(0.35, r), 1.65, 0.005)
	// Churack et al. 1994: 1.5 min of wood handling per inch of stem.
	c := CostOf(Job{Work: practice.Cleaning, DBH: 10 * 0.0254}, r)
	near(t, "clean-up of 10 in", lineOf(c, LineCleanUp)*60, 15, 0.001)
}

// Worked by hand from the rates.
func TestCostByHand(t *testing.T) {
	r := &practice.Default().Rates
	c := CostOf(Job{Work: practice.Restoration, DBH: 0.4, Height: inventory.Some(18.0),
		Over: []inventory.TargetKind{inventory.Parking, inventory.Road, inventory.Building}, UtilityWithinReach: true}, r)
	work := 29.4 * 2 / 60
	before := work*1.25 + 14.0/60 + 59.055*0.4/60 + 0.5
	near(t, "hours", c.Hours, before*1.5, 1e-12)
	near(t, "cost", c.Cost, before*150, 1e-9)
	near(t, "traffic", lineOf(c, LineTraffic), 0.5, 0)
	sum := 0.0
	for _, l := range c.Lines {
		sum += l.Hours
	}
	near(t, "sum of the lines", sum, c.Hours, 1e-12)
	young := CostOf(Job{Work: practice.Structural, DBH: 0.05}, r)
	near(t, "structural", lineOf(young, LineWork)*60, 4, 1e-12)
	look := CostOf(Job{Work: practice.SecondOpinion, DBH: 0.4, Height: inventory.Some(18.0), Over: []inventory.TargetKind{inventory.Road}, UtilityWithinReach: true}, r)
	near(t, "second opinion", look.Hours*60, 29.4+14, 1e-12)
	road := CostOf(Job{Work: practice.Cleaning, DBH: 0.4}, r)
	away := CostOf(Job{Work: practice.Cleaning, DBH: 0.4, OffRoad: true}, r)
	near(t, "away from a road", away.Hours-road.Hours, (29.4+59.055*0.4)/60*0.25, 1e-12)
	edge := CostOf(Job{Work: practice.Cleaning, DBH: 0.4, Height: inventory.Some(15.0)}, r)
	near(t, "15 m is not above 15 m", lineOf(edge, LineTall), 0, 0)
}

// Classes of 6 in as bids are asked for; which side an edge is on is ours.
func TestBidClasses(t *testing.T) {
	for _, c := range []struct {
		inches float64
		label  string
		cm     string
	}{
		{0, "to 6 in", "to 15.2 cm"}, {6, "to 6 in", "to 15.2 cm"}, {6.5, "7-12 in", "over 15.2 to 30.5 cm"}, {12, "7-12 in", "over 15.2 to 30.5 cm"},
		{12.5, "13-18 in", "over 30.5 to 45.7 cm"}, {42, "37-42 in", "over 91.4 to 106.7 cm"}, {42.1, "over 42 in", "over 106.7 cm"}, {90, "over 42 in", "over 106.7 cm"},
	} {
		got := BidClassOf(c.inches * 0.0254)
		if got.Inches != c.label || got.Cm != c.cm {
			t.Errorf("%v in: %+v, expected %q, %q", c.inches, got, c.label, c.cm)
		}
	}
	for i, c := range BidClasses() {
		if c.Index != i {
			t.Errorf("class %d: %+v", i, c)
		}
	}
}

// By hand: a visit counts half in its year and half in the year in which it ends.
func TestLeftByHand(t *testing.T) {
	one := []PlannedVisit{{TakesOff: 0.2}}
	two := []PlannedVisit{{TakesOff: 0.2}, {After: 3, TakesOff: 0.5}}
	for _, c := range []struct {
		name   string
		visits []PlannedVisit
		start  int
		lasts  int
		want   []float64
	}{
		{"none", one, NotPlanned, 3, []float64{1, 1, 1, 1, 1, 1}},
		{"one", one, 1, 3, []float64{1, 0.9, 0.8, 0.8, 0.9, 1}},
		{"one year", one, 0, 1, []float64{0.9, 0.9, 1, 1, 1, 1}},
		{"renewed in time", two, 0, 5, []float64{0.9, 0.8, 0.8, 0.6, 0.4, 0.4}},
		{"renewed at the last", two, 0, 3, []float64{0.9, 0.8, 0.8, 0.6, 0.4, 0.4}},
		{"renewed too late", two, 0, 2, []float64{0.9, 0.8, 0.9, 0.75, 0.5, 0.75}},
		{"beyond the years", two, 4, 5, []float64{1, 1, 1, 1, 0.9, 0.8}},
	} {
		for y, got := range Left(c.visits, c.start, c.lasts, 6) {
			near(t, c.name, got, c.want[y], 1e-12)
		}
	}
	p := &Problem{Years: 6, Lasts: 3, Candidates: []Candidate{{Harm: 10, Visits: one}}}
	near(t, "taken off", p.TakenOff(0, 1), 10*(0.1+0.2+0.2+0.1), 1e-12)
}

// The reckoning of the Milwaukee study with illustrative money; the check values
// are worked out by its formula, apart from this code.
func TestCycleEconomics(t *testing.T) {
	near(t, "best", BestCycle(90, 0.01, 720), 5, 1e-9)
	for i, want := range []float64{40.80, 36.90, 36.00, 36.60} {
		near(t, "cost", CycleCost(90, 0.01, 720, float64(i+3)), want, 1e-9)
	}
	near(t, "best", BestCycle(90, 0.01, 2000), 3, 1e-9)
	near(t, "cost", CycleCost(90, 0.01, 2000, 3), 60, 1e-9)
	near(t, "cost", CycleCost(90, 0.01, 2000, 5), 68, 1e-9)
	near(t, "best", BestCycle(200, 0.01, 1500), 5.164, 0.0005)
	near(t, "cost", CycleCost(200, 0.01, 1500, 5), 77.50, 0.005)
	near(t, "cost", CycleCost(200, 0.01, 1500, 6), 78.33, 0.005)
}

// The closed form of the long run against a plain simulation, week by week.
func TestCyclesAgainstSimulation(t *testing.T) {
	p := &Problem{Years: 1, Measure: Money, Budget: []float64{0}, Lasts: 5, GroupCost: 60, GroupHours: 0.6,
		Candidates: []Candidate{
			{Group: "a", Harm: 3, Visits: []PlannedVisit{{Hours: 1, Cost: 100, TakesOff: 0.2}}},
			{Group: "a", Harm: 1, Visits: []PlannedVisit{{Hours: 0.5, Cost: 50, TakesOff: 0.1}}},
			{Group: "b", Harm: 2, Visits: []PlannedVisit{{Hours: 2, Cost: 200, TakesOff: 0.3}, {After: 3, Hours: 1, Cost: 100, TakesOff: 0.1}}},
		}}
	got, err := CompareCycles(p, []int{4, 5, 7}, Economics{TreeValue: 720, DeclinePerYear: 0.01})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range got.Results {
		weeks, left, visits := 52*r.CycleYears*10, 0.0, 0
		since := math.MaxInt / 2
		for w := range weeks {
			if w%(52*r.CycleYears) == 0 {
				since = 0
				visits++
			}
			share := 0.0
			for i, f := range []float64{0.2, 0.1, 0.2} {
				if since < 52*p.Lasts {
					share += p.Candidates[i].Harm * (1 - f) / 6
				} else {
					share += p.Candidates[i].Harm / 6
				}
			}
			left += share / float64(weeks)
			since++
		}
		near(t, "left", r.HarmLeft, left, 1e-9)
		a := float64(visits) / float64(weeks) * 52
		near(t, "cost a year", r.Cost, a*(100+50+150+2*60), 1e-9)
		near(t, "hours a year", r.Hours, a*(1+0.5+1.5+2*0.6), 1e-9)
		near(t, "taken off", r.TakenOff, 6*(1-left), 1e-9)
		near(t, "money a tree", r.MoneyPerTree.V, 140/float64(r.CycleYears)+0.01*720*float64(r.CycleYears)/2, 1e-9)
	}
	near(t, "best", got.Best.V, math.Sqrt(2*140/7.2), 1e-9)
}
