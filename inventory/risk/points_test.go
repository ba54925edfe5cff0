package risk_test

import (
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/risk"
)

const inch = 0.0254

func points() *profile.PointsRating { return &profile.Default().Rating.Points }

// Confirmed, two restatements of the forms of USDA Forest Service NA-TP-03-03:
// below 4 in (10 cm) 1 point, 4 to 20 in 2, above 20 in (51 cm) 3.
func TestSizePoints(t *testing.T) {
	for _, c := range []struct {
		diameter float64
		want     uint8
	}{{0.01, 1}, {0.0999, 1}, {0.10, 2}, {5 * inch, 2}, {0.51, 2}, {0.5101, 3}, {21 * inch, 3}} {
		if got := risk.SizePoints(inventory.Some(c.diameter), points()); got != c.want {
			t.Errorf("%v m: %d points, published %d", c.diameter, got, c.want)
		}
	}
	if got := risk.SizePoints(inventory.Opt[float64]{}, points()); got != 2 {
		t.Errorf("unknown: %d points, the profile assumes 2", got)
	}
}

// Confirmed: 1 in of sound shell for each 6 in of stem. A 24 in stem needs 4.0
// in and a 60 cm stem 10.0 cm (by hand from that rule), which is t/R 0.333.
func TestShellRule(t *testing.T) {
	for _, c := range []struct {
		stem, wall float64
		want       uint8
	}{
		{24 * inch, 4.0 * inch, 2}, {24 * inch, 3.99 * inch, 3}, {24 * inch, 4.01 * inch, 2},
		{0.60, 0.10, 2}, {0.60, 0.0999, 3}, {0.60, 0.1001, 2},
		{6 * inch, 1 * inch, 2}, {6 * inch, 0.9 * inch, 3},
	} {
		loss, err := risk.Section{Stem: c.stem, Wall: c.wall, Decay: c.stem - 2*c.wall}.Loss()
		if err != nil {
			t.Fatal(err)
		}
		if got := risk.FailurePoints(inventory.Improbable, &loss, points()); got != c.want {
			t.Errorf("wall %v of stem %v: %d points, published %d", c.wall, c.stem, got, c.want)
		}
	}
}

// Confirmed: a defect on 30 to 40 % of the girth is moderate, over 40 % high, and
// extremely high with decay.
func TestGirthRule(t *testing.T) {
	for _, c := range []struct {
		decay, opening float64
		want           uint8
	}{{0, 0, 1}, {0, 0.29, 1}, {0, 0.30, 2}, {0, 0.40, 2}, {0, 0.41, 3}, {0.2, 0.41, 4}, {0.2, 0.1, 2}} {
		loss, err := risk.Section{Stem: 0.6, Decay: c.decay, Wall: (0.6 - c.decay) / 2, Opening: c.opening}.Loss()
		if err != nil {
			t.Fatal(err)
		}
		if got := risk.FailurePoints(inventory.Improbable, &loss, points()); got != c.want {
			t.Errorf("%+v: %d points, published %d", c, got, c.want)
		}
	}
	// A measure never takes points away.
	loss, _ := risk.Section{Stem: 0.6, Decay: 0.1, Wall: 0.25}.Loss()
	if got := risk.FailurePoints(inventory.Imminent, &loss, points()); got != 4 {
		t.Errorf("imminent: %d points, expected 4", got)
	}
}

// Which word stands for which class is an assumption; the classes are 1 to 4.
func TestFailurePointsByWord(t *testing.T) {
	for l, want := range map[inventory.Likelihood]uint8{inventory.Improbable: 1, inventory.Possible: 2, inventory.Probable: 3, inventory.Imminent: 4} {
		if got := risk.FailurePoints(l, nil, points()); got != want {
			t.Errorf("%v: %d points, expected %d", l, got, want)
		}
	}
}

// From memory: target 1 to 3 for occasional, intermittent and frequent use, and
// day lots below main roads. Our occupancy classes stand for the words.
func TestTargetPoints(t *testing.T) {
	o, p := profile.Default().Occupancy, points()
	persons := exposure.Count{People: 0.1}
	for _, c := range []struct {
		occupied float64
		want     uint8
	}{{0.004, 1}, {0.005, 2}, {0.049, 2}, {0.05, 3}, {0.49, 3}, {0.5, 3}, {1, 3}} {
		if got := risk.PeopleTargetPoints(c.occupied, persons, o, p); got != c.want {
			t.Errorf("occupied %v: %d points, expected %d", c.occupied, got, c.want)
		}
	}
	if got := risk.PeopleTargetPoints(0, exposure.Count{}, o, p); got != 0 {
		t.Errorf("nobody ever: %d points, expected 0", got)
	}
	if got := risk.PeopleTargetPoints(0.2, exposure.Count{People: 0.2, Sheltered: 3}, o, p); got != 3 {
		t.Errorf("a house and a busy path: %d points, expected 3", got)
	}
	if got := risk.PeopleTargetPoints(0, exposure.Count{Sheltered: 3}, o, p); got != 2 {
		t.Errorf("a house: %d points, expected 2", got)
	}
	// The target's maximum could not be read in the source: it is the profile's.
	four := *p
	four.TargetMax.Value = 4
	if got := risk.PeopleTargetPoints(0.5, persons, o, &four); got != 4 {
		t.Errorf("constant with a maximum of 4: %d points", got)
	}
}

// By hand: failure 3, size 2, target 3 and other 1 are 9; minima 1+1+1+0 = 3 and
// maxima 4+3+3+2 = 12 give the published range.
func TestTotals(t *testing.T) {
	for _, c := range []struct {
		p    risk.Points
		want uint8
	}{
		{risk.Points{Failure: 3, Size: 2, Target: 3, Other: 1}, 9},
		{risk.Points{Failure: 1, Size: 1, Target: 1}, 3},
		{risk.Points{Failure: 4, Size: 3, Target: 3, Other: 2}, 12},
		{risk.Points{Failure: 4, Size: 3, Other: 2}, 0}, // nothing to land on
	} {
		if got := c.p.Total(); got != c.want {
			t.Errorf("%+v: %d, expected %d", c.p, got, c.want)
		}
	}
}

// The same sums reached from facts.
func TestPointsOfATree(t *testing.T) {
	text, _ := profile.Builtin("points")
	p, err := profile.Parse(text)
	if err != nil {
		t.Fatal(err)
	}
	s := risk.NewScreener(p, day)
	street := risk.Use{Occupied: 0.02, Busiest: 0.3, Vehicles: exposure.AtLeastOne(1.5)}
	street.Count = exposure.Count{People: 0.02, Vehicles: 1.5}

	// Topped 2012 with heavy shoots of 12 cm at the base, brittle wood: 3 + 2 + 2
	// + 1 for people, in the busiest hour 3 + 2 + 3 + 1.
	tree := inventory.Tree{Status: inventory.Alive, DBH: inventory.Some(0.7), Brittle: inventory.Some(true)}
	cut := inventory.Cut{Kind: inventory.CutTopping, Year: inventory.Some(2012), RegrowthLength: inventory.Some(4.0), RegrowthDiameter: inventory.Some(0.12)}
	limb := s.Limb(&tree, &cut, nil)
	if got, want := s.Score(limb, &tree, &cut, nil, &street), (risk.Score{Rating: risk.GradeOfPoints(8), People: risk.GradeOfPoints(8), Property: risk.GradeOfPoints(8), Busiest: risk.GradeOfPoints(9)}); got != want {
		t.Errorf("limb %+v, expected %+v", got, want)
	}
	// The whole tree, sound as far as is known, 70 cm: 1 + 3 + 2 + 2 as a visitor
	// added two.
	visits := []inventory.Visit{{On: day, OtherPoints: inventory.Some(2)}}
	whole := s.WholeTree(&tree, visits)
	if got := s.PointsOf(whole, &tree, nil, visits, &street).People; got != (risk.Points{Failure: 1, Size: 3, Target: 2, Other: 2}) {
		t.Errorf("whole tree %+v", got)
	}
	// A cavity counts where nobody judged, and the visit's word where one did.
	visits = []inventory.Visit{cavity(day, 0.6, 0.45, 0)}
	if got := s.PointsOf(s.WholeTree(&tree, visits), &tree, nil, visits, &street).People.Failure; got != 3 {
		t.Errorf("thin shell: %d points, expected 3", got)
	}
	visits[0].WholeTree = inventory.Possible
	if got := s.PointsOf(s.WholeTree(&tree, visits), &tree, nil, visits, &street).People.Failure; got != 2 {
		t.Errorf("judged possible: %d points, expected 2", got)
	}
	if got := s.Score(limb, &tree, &cut, nil, &risk.Use{}); got.Rating != risk.GradeOfPoints(0) {
		t.Errorf("over nothing: %+v", got)
	}
	if w := risk.GradeOfPoints(9).String() + ", " + risk.GradeOfPoints(0).String() + ", " + risk.Grade(2).String(); w != "9 points, no target, high" {
		t.Errorf("words %q", w)
	}
}

// Three ratings by hand through the two matrices. A path used in 2 % of hours,
// and in the busiest with a chance of 0.6, under a heavy probable part: Probable ×
// Low → Unlikely → Low by the mean, Probable × High → Likely × Severe → High in
// the busiest hour. Two cars: Probable × High → Likely × Significant → High.
func TestPeopleAndPropertyApart(t *testing.T) {
	u := risk.Use{Occupied: 0.02, Busiest: 0.6, Heavy: true, Count: exposure.Count{People: 0.02}}
	o := profile.Default().Occupancy
	if got, want := risk.RatingsOf(inventory.Probable, &u, o), (risk.Ratings{Busiest: risk.RatingHigh}); got != want {
		t.Errorf("path %+v, expected %+v", got, want)
	}
	u.Count.Vehicles, u.Vehicles = 2, exposure.AtLeastOne(2)
	if got, want := risk.RatingsOf(inventory.Probable, &u, o), (risk.Ratings{Rating: risk.RatingHigh, Property: risk.RatingHigh, Busiest: risk.RatingHigh}); got != want {
		t.Errorf("path and cars %+v, expected %+v", got, want)
	}
	if got := risk.RatingsOf(inventory.Improbable, &u, o); got != (risk.Ratings{}) {
		t.Errorf("improbable %+v, expected low throughout", got)
	}
	// An occupied vehicle is severe, an empty one significant (the best-practice
	// guide's own example): Imminent × High gives extreme and high.
	occupied := risk.RatingsOf(inventory.Imminent, &risk.Use{Occupied: 0.7, Busiest: 0.7, Vehicles: 0.7, Count: exposure.Count{InVehicles: 1, Vehicles: 1}}, o)
	if occupied.People != risk.RatingExtreme || occupied.Property != risk.RatingHigh || occupied.Rating != risk.RatingExtreme {
		t.Errorf("occupied vehicle %+v", occupied)
	}
}

func TestPartDiameter(t *testing.T) {
	tree := &inventory.Tree{DBH: inventory.Some(0.7)}
	shoots := &inventory.Cut{Kind: inventory.CutTopping, Diameter: inventory.Some(0.2), RegrowthDiameter: inventory.Some(0.05)}
	stub := &inventory.Cut{Kind: inventory.CutTopping, Diameter: inventory.Some(0.2)}
	stripped := &inventory.Cut{Kind: inventory.CutLionTailing, Diameter: inventory.Some(0.02)}
	for _, c := range []struct {
		name string
		part exposure.Part
		cut  *inventory.Cut
		want inventory.Opt[float64]
	}{
		{"whole tree", exposure.WholeTree, nil, inventory.Some(0.7)},
		{"crown", exposure.Crown, nil, inventory.Opt[float64]{}},
		{"shoots", exposure.Limb, shoots, inventory.Some(0.05)},
		{"stub", exposure.Limb, stub, inventory.Some(0.2)},
		{"lion-tailed", exposure.Limb, stripped, inventory.Opt[float64]{}},
	} {
		if got := risk.PartDiameter(c.part, tree, c.cut); got != c.want {
			t.Errorf("%s: %+v, expected %+v", c.name, got, c.want)
		}
	}
}

func TestOtherPointsComeFromTheLatestVisitBeforeTheDay(t *testing.T) {
	s := risk.NewScreener(profile.Default(), day)
	other := func(brittle bool, visits ...inventory.Visit) uint8 {
		tree := inventory.Tree{Status: inventory.Alive, Brittle: inventory.Some(brittle)}
		return s.PointsOf(risk.Judgement{}, &tree, nil, visits, &risk.Use{}).People.Other
	}
	two := inventory.Visit{On: day.AddDate(-1, 0, 0), OtherPoints: inventory.Some(2)}
	none := inventory.Visit{On: day.AddDate(0, 0, 1), OtherPoints: inventory.Some(0)}
	wrong := inventory.Visit{On: day, OtherPoints: inventory.Some(7)}
	for _, c := range []struct{ got, want uint8 }{
		{other(false), 0}, {other(true), 1}, {other(true, two), 2}, {other(false, two, none), 2}, {other(false, wrong), 2},
	} {
		if c.got != c.want {
			t.Errorf("%d points, expected %d", c.got, c.want)
		}
	}
}
