package pruning_test

import (
	"encoding/json"
	"math"
	"reflect"
	"regexp"
	"strings"
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
		Species: rapid.SampledFrom([]string{"", "Quercus robur", "Ulmus minor", "Tilia cordata", "Phoenix canariensis", "Pinus nigra"}).Draw(t, "species"),
		DBH:     optional(t, rapid.Float64Range(0, 1.5), "dbh"), PlantedYear: optional(t, rapid.IntRange(1900, 2030), "planted"),
		Condition: rapid.SampledFrom([]string{"", "good", "Poor", "40%", "100", "0", "dead", "dying back", "très bon"}).Draw(t, "condition"),
	}
	for i := range tr.CrownRadii {
		tr.CrownRadii[i] = optional(t, rapid.Float64Range(0, 12), "side")
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
	for _, n := range []*practice.Number{&p.Pruning.Dose.Young, &p.Pruning.Dose.Established, &p.Pruning.Dose.Mature, &p.Pruning.Dose.Stressed} {
		n.Value = rapid.Float64Range(0, 0.25).Draw(t, "dose")
	}
	p.Pruning.DoseTotal.Value = rapid.Float64Range(0, 1).Draw(t, "total")
	p.Restoration.LookYears.Value = float64(rapid.IntRange(1, 5).Draw(t, "look"))
	p.Pruning.ToppedLatelyYears.Value = rapid.Float64Range(0, 9).Draw(t, "lately")
	p.Restoration.Between.Value = float64(rapid.IntRange(1, 4).Draw(t, "between"))
	p.Restoration.InnerGrowthYears.Value = float64(rapid.IntRange(0, 6).Draw(t, "inner"))
	visits, after := p.Restoration.Visits[:0:0], 0
	for i := range rapid.IntRange(1, 12).Draw(t, "visits") {
		if i > 0 {
			after += rapid.IntRange(int(p.Restoration.Between.Value), 6).Draw(t, "after")
		}
		visits = append(visits, practice.RestorationVisit{AfterYears: practice.Number{Value: float64(after), Source: "drawn"}, Dose: practice.Number{Value: rapid.Float64Range(0, 0.25).Draw(t, "visit dose"), Source: "drawn"}})
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

// longFigure is one that nobody reads: a percentage such as 55.00000000000001.
var longFigure = regexp.MustCompile(`\.\d{5}`)

// liveRules are those whose cuts take live crown.
var liveRules = map[pruning.Rule]bool{pruning.LongShoots: true, pruning.KeepShoots: true, pruning.Subordinate: true, pruning.OneLeader: true, pruning.BareLimb: true, pruning.InnerShoots: true, pruning.OverExtended: true, pruning.LongSide: true, pruning.YoungTree: true, pruning.Crossing: true}

// For any work done the visits to come stay within the total, none goes below
// nothing, none comes earlier, and those that were made are as they were.
func TestAfterHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := pruning.Specify(drawCase(t), rules)
		var done []pruning.Done
		taken, came := 0.0, map[int]bool{}
		for n := range rapid.IntRange(0, len(s.Visits)).Draw(t, "made") {
			d := pruning.Done{Visit: n + 1, On: asOf.AddDate(3*n, 0, 0), Dose: optional(t, rapid.Float64Range(0, 0.7), "taken")}
			taken += d.Dose.Or(s.Visits[n].Dose)
			done, came[n+1] = append(done, d), true
		}
		before, _ := json.Marshal(s)
		out := pruning.After(s, done, rules)
		if after, _ := json.Marshal(s); string(after) != string(before) {
			t.Fatal("the specification given was changed")
		}
		left := max(0, rules.Pruning.DoseTotal.Value-taken)
		for i, v := range out.Visits {
			was := s.Visits[i]
			if came[v.Number] {
				if !reflect.DeepEqual(v, was) {
					t.Fatalf("a visit that was made is changed: %+v", v)
				}
				continue
			}
			left -= v.Dose
			if v.Dose < 0 || v.Dose > was.Dose || v.AfterYears < was.AfterYears || len(v.Items) == 0 || v.Goal == "" || left < -1e-9 {
				t.Fatalf("visit %+v of %+v, %v left", v, was, left)
			}
		}
		for _, b := range pruning.Check(&out, rules) {
			t.Fatalf("breach of %s: %s", b.Rule, b.Text)
		}
		if again := pruning.After(out, done, rules); !reflect.DeepEqual(again.Visits, out.Visits) {
			t.Fatalf("a second time it changes again: %+v\n%+v", again.Visits, out.Visits)
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
			if s.SecondOpinion != "" && item.Cut != "" && (item.Rule != pruning.HungParts || c.Tree.Status == inventory.Dead) {
				t.Fatalf("cut before the second opinion: %+v", item)
			}
			if palm := c.Tree.Species == "Phoenix canariensis"; (palm || c.Tree.Species == "Pinus nigra") && (item.Rule == pruning.KeepShoots || item.Rule == pruning.OneLeader) || palm && s.DoseTotal > 0 {
				t.Fatalf("a %s is restored like a broadleaf: %+v", c.Tree.Species, item)
			}
			if v.Dose == 0 && liveRules[item.Rule] && item.Cut != "" {
				t.Fatalf("visit %d takes nothing live, and asks for %+v", v.Number, item)
			}
			if s.Stressed && (item.Rule == pruning.Crossing || item.Rule == pruning.YoungTree && item.Cut != "") {
				t.Fatalf("a stressed tree loses live wood that is no hazard: %+v", item)
			}
			if strings.Contains(item.Text, "take out 0") || strings.Contains(item.Text, "1 years") || longFigure.MatchString(item.Text) {
				t.Fatalf("said %q", item.Text)
			}
		}
	}
	if s.SecondOpinion != "" && (s.DoseCap != 0 || s.DoseTotal != 0) {
		t.Fatalf("before the look a cap of %v, a total of %v", s.DoseCap, s.DoseTotal)
	}
	for i, v := range s.Visits {
		if live := v.Dose > 0; live || s.Work != practice.Restoration {
			break
		} else if i+1 < len(s.Visits) && s.Visits[i+1].AfterYears-v.AfterYears > int(p.Restoration.LookYears.Value) {
			t.Fatalf("nobody looks from year %d to year %d", v.AfterYears, s.Visits[i+1].AfterYears)
		}
	}
	if math.Abs(total-s.DoseTotal) > 1e-6 || total > p.Pruning.DoseTotal.Value+1e-9 {
		t.Fatalf("total %v, said %v, most %v", total, s.DoseTotal, p.Pruning.DoseTotal.Value)
	}
	for _, f := range s.Rules {
		if strings.Contains(f.Why, " 1 years") || strings.HasPrefix(f.Why, "1 years") || longFigure.MatchString(f.Why) {
			t.Fatalf("said %q", f.Why)
		}
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
