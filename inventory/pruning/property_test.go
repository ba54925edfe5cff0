package pruning_test

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"

	"github.com/paulmach/orb"
	"pgregory.net/rapid"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
)

func optional[T any](t *rapid.T, of *rapid.Generator[T], name string) inventory.Opt[T] {
	if rapid.Bool().Draw(t, name+" known") {
		return inventory.Some(of.Draw(t, name))
	}
	return inventory.Opt[T]{}
}

func drawCut(t *rapid.T) inventory.Cut {
	share, length := rapid.Float64Range(0, 1), rapid.Float64Range(0, 12)
	return inventory.Cut{
		ID: inventory.CutID(rapid.Int64Range(1, 99).Draw(t, "cut")), Kind: rapid.SampledFrom(inventory.CutKinds).Draw(t, "kind"),
		Year: optional(t, rapid.IntRange(1990, 2027), "year"), Count: optional(t, rapid.IntRange(0, 9), "count"),
		Diameter: optional(t, rapid.Float64Range(0, 0.6), "diameter"), LateralDiameter: optional(t, rapid.Float64Range(0, 0.3), "lateral"),
		Height: optional(t, length, "height"), Bearing: optional(t, rapid.Float64Range(0, 360), "bearing"), Reach: optional(t, length, "reach"),
		StubLength: optional(t, share, "stub"), BareShare: optional(t, share, "bare"), Closure: optional(t, share, "closure"), Decay: optional(t, rapid.Bool(), "decay"),
		RegrowthLength: optional(t, length, "shoots"), RegrowthCount: optional(t, rapid.IntRange(0, 40), "number of shoots"), RegrowthDiameter: optional(t, rapid.Float64Range(0, 0.4), "shoot diameter"),
	}
}

func drawCase(t *rapid.T) *pruning.Case {
	tr := &inventory.Tree{
		ID: 1, Point: orb.Point{7.4, 51.5}, Status: rapid.SampledFrom(append(inventory.TreeStatuses, inventory.Alive, inventory.Alive, inventory.Alive)).Draw(t, "status"),
		Species: rapid.SampledFrom([]string{"", "Quercus robur", "Ulmus minor", "Tilia cordata", "Phoenix canariensis"}).Draw(t, "species"),
		DBH:     optional(t, rapid.Float64Range(0, 1.5), "dbh"), PlantedYear: optional(t, rapid.IntRange(1900, 2030), "planted"),
		Condition: rapid.SampledFrom([]string{"", "good", "Poor", "40%", "100", "0", "dead", "dying back", "très bon"}).Draw(t, "condition"),
	}
	if rapid.Bool().Draw(t, "surveyed") {
		plane := geo.NewPlane(tr.Point)
		var ring orb.Ring
		for i := range rapid.IntRange(3, 9).Draw(t, "corners") {
			ring = append(ring, plane.ToPoint(rapid.Float64Range(-12, 12).Draw(t, "x"), rapid.Float64Range(-12, 12).Draw(t, "y")+float64(i)))
		}
		tr.Crown = orb.Polygon{append(ring, ring[0])}
	}
	c := &pruning.Case{
		Tree: tr, Cuts: rapid.SliceOfN(rapid.Custom(drawCut), 0, 6).Draw(t, "cuts"), AsOf: asOf,
		Height: rapid.Float64Range(0, 30).Draw(t, "height"), CrownRadius: rapid.Float64Range(0, 9).Draw(t, "crown"),
		Occupied: rapid.Float64Range(0, 1).Draw(t, "occupied"),
	}
	if rapid.Bool().Draw(t, "over") {
		c.Over = []inventory.TargetKind{inventory.Parking, inventory.TransitStop}
	}
	for range c.Cuts {
		c.Regrowth = append(c.Regrowth, rapid.Float64Range(0, 3).Draw(t, "regrowth"))
	}
	if rapid.Bool().Draw(t, "visited") {
		c.Visits = []inventory.Visit{{On: asOf.AddDate(rapid.IntRange(-9, 1).Draw(t, "visit"), 0, 0), Condition: rapid.SampledFrom([]string{"", "critical", "80"}).Draw(t, "seen"),
			Limb: inventory.Likelihood(rapid.IntRange(0, 4).Draw(t, "limb")), StemDiameter: optional(t, rapid.Float64Range(0, 1), "inside"), DecayDiameter: optional(t, rapid.Float64Range(0, 1), "hollow")}}
	}
	return c
}

// drawPractice changes the figures that shape visits and doses.
func drawPractice(t *rapid.T) *practice.Practice {
	p := *practice.Default()
	for _, n := range []*practice.Number{&p.Pruning.Dose.Young, &p.Pruning.Dose.Established, &p.Pruning.Dose.Mature, &p.Pruning.Dose.Stressed, &p.Pruning.DoseTotal} {
		n.Value = rapid.Float64Range(0, 1).Draw(t, "dose")
	}
	p.Pruning.ToppedLatelyYears.Value = rapid.Float64Range(0, 9).Draw(t, "lately")
	p.Restoration.Between.Value = float64(rapid.IntRange(1, 4).Draw(t, "between"))
	p.Restoration.InnerGrowthYears.Value = float64(rapid.IntRange(0, 6).Draw(t, "inner"))
	visits, after := p.Restoration.Visits[:0:0], 0
	for i := range rapid.IntRange(1, 12).Draw(t, "visits") {
		if i > 0 {
			after += rapid.IntRange(int(p.Restoration.Between.Value), 6).Draw(t, "after")
		}
		visits = append(visits, practice.RestorationVisit{AfterYears: practice.Number{Value: float64(after), Source: "drawn"}, Dose: practice.Number{Value: rapid.Float64Range(0, 1).Draw(t, "visit dose"), Source: "drawn"}})
	}
	p.Restoration.Visits = visits
	return &p
}

// For any facts the specification breaks no rule, asks for no bad cut, exceeds no
// cap and has its visits in order, and is the same after a trip through JSON.
func TestSpecifyHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c, p := drawCase(t), rules
		if rapid.Bool().Draw(t, "other practice") {
			p = drawPractice(t)
		}
		for _, s := range []pruning.Specification{pruning.Specify(c, p), pruning.SpecifyKept(c, p)} {
			if b := pruning.Check(&s, p); len(b) > 0 {
				t.Fatalf("breaches: %v", b)
			}
			holds(t, c, &s, p)
		}
	})
}

// holds looks without Check's help.
func holds(t *rapid.T, c *pruning.Case, s *pruning.Specification, p *practice.Practice) {
	if c.Tree.Status.Standing() != (len(s.Visits) > 0) || s.Objective == "" || s.AsOf != "2026-11-26" {
		t.Fatalf("%s tree: %d visits, objective %q", c.Tree.Status, len(s.Visits), s.Objective)
	}
	caps := map[pruning.Maturity]float64{pruning.Young: p.Pruning.Dose.Young.Value, pruning.Established: p.Pruning.Dose.Established.Value, pruning.Mature: p.Pruning.Dose.Mature.Value}
	total := 0.0
	for i, v := range s.Visits {
		total += v.Dose
		if !(v.Dose >= 0 && v.Dose <= caps[s.Maturity]+1e-9) || s.Stressed && v.Dose > p.Pruning.Dose.Stressed.Value+1e-9 {
			t.Fatalf("visit %d takes %v of a %s tree, stressed %v", i+1, v.Dose, s.Maturity, s.Stressed)
		}
		if v.Number != i+1 || i > 0 && v.AfterYears <= s.Visits[i-1].AfterYears || v.Goal == "" || len(v.Items) == 0 {
			t.Fatalf("visit %d: %+v", i+1, v)
		}
		for _, item := range v.Items {
			if item.Cut != "" && item.Cut != inventory.CutRemoval && item.Cut != inventory.CutReduction || item.Text == "" || item.Rule == "" || item.Place == "" {
				t.Fatalf("item %+v", item)
			}
			if item.SizeTo > p.Pruning.WoundMost.Value || item.Cut == inventory.CutReduction && item.LateralShare < 1.0/3-1e-6 {
				t.Fatalf("item %+v", item)
			}
			if s.SecondOpinion != "" && item.Cut != "" {
				t.Fatalf("cut before the second opinion: %+v", item)
			}
		}
	}
	if math.Abs(total-s.DoseTotal) > 1e-6 || total > p.Pruning.DoseTotal.Value+1e-9 {
		t.Fatalf("total %v, said %v, most %v", total, s.DoseTotal, p.Pruning.DoseTotal.Value)
	}
	for _, f := range s.Rules {
		if f.Why == "" || f.Source == "" {
			t.Fatalf("rule %+v", f)
		}
	}
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	var read pruning.Specification
	if err := json.Unmarshal(text, &read); err != nil || !reflect.DeepEqual(read, *s) {
		t.Fatalf("read back: %v\n%+v\n%+v", err, read, *s)
	}
}
