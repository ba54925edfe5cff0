package mechanics_test

import (
	"math"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/mechanics"
	"github.com/underbough/underbough/inventory/profile"
)

func assumed() profile.Mechanics { return profile.Default().Mechanics }

// near holds a value to the digits it was worked out to.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.Abs(got-want) > tolerance {
		t.Errorf("%s: %v, expected %v", what, got, want)
	}
}

// By hand from F = ½ρC_dAU² and σ = 32M/(πd³): a crown of 60 m² in 25 m/s pulls
// with 5,746.9 N, at 9 m on a stem of 50 cm that is 51,722 N·m and 4.215 MPa, and
// 5.546 MPa with a hollow of 35 cm. The last two from other figures.
func TestDragAndBending(t *testing.T) {
	force := mechanics.DragForce(1.226, 0.25, 60, 25)
	near(t, "force", force, 5746.9, 0.05)
	near(t, "moment", force*9, 51722, 0.5)
	solid, err := mechanics.BendingStress(force*9, 0.5)
	near(t, "solid", solid, 4.215, 5e-4)
	hollow, errHollow := mechanics.HollowBendingStress(force*9, 0.5, 0.35)
	near(t, "hollow", hollow, 5.546, 5e-4)
	near(t, "another force", mechanics.DragForce(1.22, 0.3, 4, 25), 457.5, 0.05)
	other, errOther := mechanics.BendingStress(500, 0.08)
	near(t, "another stress", other, 9.95, 5e-3)
	if err != nil || errHollow != nil || errOther != nil {
		t.Error(err, errHollow, errOther)
	}
}

// The stress of a thin-walled tube by another road: M·r/I with I = π/4·(R⁴ − r⁴).
func TestHollowByTheSecondMoment(t *testing.T) {
	const moment, outer, inner = 1000.0, 0.3, 0.28
	i := math.Pi / 4 * (math.Pow(outer/2, 4) - math.Pow(inner/2, 4))
	got, err := mechanics.HollowBendingStress(moment, outer, inner)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "tube", got, moment*outer/2/i/1e6, 1e-9)
}

func TestBendingRejects(t *testing.T) {
	nan := math.NaN()
	for _, c := range [][3]float64{{1, 0, 0}, {1, -1, 0}, {1, 0.1, 0.1}, {1, 0.1, 0.2}, {1, 0.1, -0.1}, {-1, 0.1, 0}, {nan, 0.1, 0}, {1, nan, 0}, {1, 0.1, nan}} {
		if s, err := mechanics.HollowBendingStress(c[0], c[1], c[2]); err == nil {
			t.Errorf("%v: %v, expected an error", c, s)
		}
	}
}

// The sprout worked out by hand: 4.5 m on 8 cm, 4 m², lever 0.6 of the length, 25
// m/s: 383.1 N, 1,034 N·m, 20.58 MPa; shortened by 30 % the moment is 0.343 of
// that and the stress 7.06 MPa.
func TestSprout(t *testing.T) {
	p := assumed()
	r := mechanics.Regrowth{Length: 4.5, BaseDiameter: 0.08, Count: 3}
	l := mechanics.Stress(r, p)
	near(t, "lever", l.LeverM, 2.7, 1e-9)
	near(t, "sail", l.SailM2, 4, 1e-9)
	near(t, "force", l.ForceN, 383.1, 0.05)
	near(t, "moment", l.MomentNm, 1034, 0.5)
	near(t, "stress", l.StressMPa, 20.58, 5e-3)
	near(t, "moment of three", l.CutMomentNm, 3*l.MomentNm, 1e-9)

	s := mechanics.Stress(mechanics.Shortened(r, 0.3), p)
	near(t, "moment when shortened", s.MomentNm/l.MomentNm, 0.343, 1e-9)
	near(t, "stress when shortened", s.StressMPa, 7.06, 5e-3)

	if l := mechanics.Stress(mechanics.Shortened(r, 1), p); l != (mechanics.Load{}) {
		t.Errorf("nothing left bears %+v", l)
	}
	if l := mechanics.Stress(mechanics.Regrowth{Length: 4.5, Count: 1}, p); l.StressMPa != 0 || l.MomentNm == 0 {
		t.Errorf("without a base diameter: %+v, expected a moment and no stress", l)
	}
}

// Published for 20 m/s on the area in still air, the bending of the crown in it:
// 0.15 to 0.22 for three hardwoods (Vollsinger et al. 2005), 0.22 to 0.47 for
// conifers (Rudnicki et al. 2004). Force with the square of speed is judged right
// for trees (Cullen 2005).
func TestDragWithinPublishedRanges(t *testing.T) {
	p := assumed()
	if c := p.DragCoefficient.Value; c < 0.15 || c > 0.47 {
		t.Errorf("drag coefficient %v, published 0.15 to 0.47", c)
	}
	r := mechanics.Regrowth{Length: 4.5, BaseDiameter: 0.08}
	at := func(gust, less float64) float64 {
		p := p
		p.Gust.Value, p.Reconfiguration.Value = gust, less
		return mechanics.Stress(r, p).ForceN
	}
	near(t, "twice the speed", at(40, 0)/at(20, 0), 4, 1e-12)
	// By the definition of the power: 2 − 1.
	near(t, "twice the speed, one power less", at(40, 1)/at(20, 1), 2, 1e-12)
	near(t, "at the speed of measurement", at(20, 1)/at(20, 0), 1, 1e-12)
}

// Common practice, no source: vigorous shoots lengthen by 0.6 to 2.0 m a year,
// halving from the third, and stand to about 3 m without side branches; a topped
// crown is still denser than normal after 7 to 8 years, when its shoots have all
// but stopped.
func TestGrowth(t *testing.T) {
	for _, c := range []struct{ rate, years, want float64 }{
		{1, 0, 0}, {1, -1, 0}, {1, 0.5, 0.5}, {1, 2, 2}, {1, 3, 2.5}, {1, 4, 2.75}, {1, 2.5, 2.25}, {1, 3.5, 2.625}, {2, 3, 5}, {1, math.Inf(1), 3},
	} {
		near(t, "grown", mechanics.GrownLength(c.rate, c.years, 3), c.want, 1e-12)
	}
	if late := mechanics.GrownLength(1, 8, 3) - mechanics.GrownLength(1, 7, 3); late > 0.02 {
		t.Errorf("%v m in the eighth year", late)
	}
	p := assumed()
	groups := map[string]float64{
		"broadleaf deciduous, large": 2, "broadleaf deciduous, medium": 1.3, "broadleaf evergreen, small": 0.6, "Conifer, large": 0.6, "deciduous conifer, large": 0.6,
		"": 1.3, "palm": 1.3, "broadleaf deciduous": 1.3,
	}
	for group, want := range groups {
		rate := mechanics.ShootGrowth(group, p)
		if rate != want || rate < 0.6 || rate > 2 {
			t.Errorf("%q: %v m a year, expected %v", group, rate, want)
		}
		last := 0.0
		for years := 0.0; years < 60; years += 0.25 {
			r := mechanics.EstimateRegrowth(inventory.Cut{Kind: inventory.CutTopping}, inventory.Some(years), group, p)
			if r.Length < last || r.Length > 3 || !r.LengthEstimated || !r.DiameterEstimated {
				t.Fatalf("%q after %v years: %+v after %v m", group, years, r, last)
			}
			last = r.Length
		}
	}
}

func TestEstimateRegrowth(t *testing.T) {
	p := assumed()
	some, years := inventory.Some[float64], inventory.Opt[float64]{}
	// What was measured stays.
	measured := inventory.Cut{Kind: inventory.CutTopping, RegrowthLength: some(4.2), RegrowthDiameter: some(0.09), RegrowthCount: inventory.Some(5)}
	if r := mechanics.EstimateRegrowth(measured, some(14), "", p); r != (mechanics.Regrowth{Length: 4.2, BaseDiameter: 0.09, Count: 5}) {
		t.Errorf("%+v", r)
	}
	// A measured length gives the base; the stub is its limit.
	long := inventory.Cut{Kind: inventory.CutHeading, RegrowthLength: some(4.5)}
	if r := mechanics.EstimateRegrowth(long, years, "", p); math.Abs(r.BaseDiameter-0.08) > 1e-12 || r.LengthEstimated || !r.DiameterEstimated || r.Count != 1 {
		t.Errorf("%+v", r)
	}
	long.Diameter = some(0.05)
	if r := mechanics.EstimateRegrowth(long, years, "", p); r.BaseDiameter != 0.05 {
		t.Errorf("%+v, expected no more than the stub", r)
	}
	// No year: grown up. Slow groups never come to the limit.
	if r := mechanics.EstimateRegrowth(inventory.Cut{Kind: inventory.CutTopping}, years, "conifer, small", p); math.Abs(r.Length-1.8) > 1e-12 {
		t.Errorf("%+v, expected 3 × 0.6 m", r)
	}
	// Nothing is made up where there are no shoots.
	for _, c := range []inventory.Cut{
		{Kind: inventory.CutTopping, RegrowthCount: inventory.Some(0)}, {Kind: inventory.CutRemoval}, {Kind: inventory.CutFlush}, {Kind: inventory.CutLionTailing},
	} {
		if r := mechanics.EstimateRegrowth(c, some(10), "", p); r != (mechanics.Regrowth{}) {
			t.Errorf("%s: %+v, expected none", c.Kind, r)
		}
	}
}

// With the base estimated the stress is one for all lengths, as the package says,
// and the moment orders; with it measured a slighter base ranks above.
func TestWhatOrdersLimbs(t *testing.T) {
	p := assumed()
	load := func(length, base float64) mechanics.Load {
		cut := inventory.Cut{Kind: inventory.CutTopping, RegrowthLength: inventory.Some(length)}
		if base > 0 {
			cut.RegrowthDiameter = inventory.Some(base)
		}
		return mechanics.Stress(mechanics.EstimateRegrowth(cut, inventory.Opt[float64]{}, "", p), p)
	}
	near(t, "stress", load(2, 0).StressMPa, load(5, 0).StressMPa, 1e-9)
	if !(load(5, 0).MomentNm > load(2, 0).MomentNm) {
		t.Error("the longer shoot has no larger moment")
	}
	if !(load(4, 0.05).StressMPa > load(4, 0.08).StressMPa) || !(load(5, 0.08).StressMPa > load(4, 0.08).StressMPa) {
		t.Error("a slighter base or a longer shoot does not rank above")
	}
}

// Each number that a load is made of is listed with its source.
func TestAssumptionsNameEveryNumber(t *testing.T) {
	p := assumed()
	list := strings.Join(mechanics.Assumptions(p), "\n")
	for _, n := range []profile.Number{p.Gust, p.AirDensity, p.DragCoefficient, p.Reconfiguration, p.LeverShare, p.SailArea, p.ShootSlenderness, p.MaxEstimate, p.HalvingYear, p.Growth.BroadleafLarge} {
		if !strings.Contains(list, "("+n.Source+")") {
			t.Errorf("no line with the source %q", n.Source)
		}
	}
	p.Gust.Value, p.Gust.Source = 33, "a station"
	if list := strings.Join(mechanics.Assumptions(p), "\n"); !strings.Contains(list, "a gust of 33 m/s square to the shoot (a station)") {
		t.Errorf("%s", list)
	}
}
