package paper

import (
	"fmt"
	"math"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/ranking"
)

// An invented place: a car park with a walk, a road and a school beside it.
var origin = orb.Point{-71.1062, 42.3736}

func at(x, y float64) orb.Point { return geo.NewPlane(origin).ToPoint(x, y) }

func box(x, y, w, h float64) orb.Polygon {
	return orb.Polygon{{at(x, y), at(x+w, y), at(x+w, y+h), at(x, y+h), at(x, y)}}
}

func places() []inventory.Target {
	return []inventory.Target{
		{ID: 1, Kind: inventory.Parking, Name: "Car park", Geometry: box(-40, -30, 80, 45)},
		{ID: 2, Kind: inventory.Building, Name: "School", Geometry: box(-40, 40, 50, 25)},
		{ID: 3, Kind: inventory.Road, Name: "High Street", Geometry: orb.LineString{at(-3000, -42), at(3000, -38)}},
		{ID: 4, Kind: inventory.Walkway, Geometry: orb.LineString{at(-60, 25), at(0, 22), at(70, 25)}},
		{ID: 5, Kind: inventory.Playground, Geometry: box(20, 38, 25, 20)},
		{ID: 6, Kind: inventory.UtilityLine, Geometry: orb.LineString{at(-70, -36), at(70, -33)}},
		{ID: 7, Kind: inventory.TransitStop, Geometry: at(15, -36)},
		{ID: 8, Kind: inventory.Plaza, Geometry: orb.MultiPolygon{box(48, 20, 20, 18)}},
	}
}

func some(v float64) inventory.Opt[float64] { return inventory.Some(v) }

func basis() Basis {
	return Basis{
		Client: "Invented town", Site: inventory.Site{Name: "School quarter", TimeZone: "America/New_York"},
		AsOf: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), IssuedAt: time.Date(2026, 3, 5, 14, 30, 0, 0, time.UTC), IssuedBy: "A. Planner",
		ProfileName: "default", ProfileDigest: "0123456789abcdef0123456789abcdef", PracticeName: "default", PracticeDigest: "fedcba9876543210fedcba9876543210",
	}
}

// toppedTree has all kinds of records, and some that are missing.
func toppedTree() Tree {
	t := Tree{Tree: inventory.Tree{ID: 1, Tag: "T-101", Point: at(-12, -2), Species: "Acer saccharinum", CommonName: "silver maple", Status: inventory.Alive, DBH: some(0.62),
		Height: some(17.5), Condition: "fair", Lean: some(6), LeanBearing: some(200)},
		Size: exposure.Dimensions{Height: 17.5, CrownRadius: 6.2, CrownFrom: exposure.FromSpecies}}
	t.Cuts = []inventory.Cut{
		{ID: 11, Kind: inventory.CutTopping, Year: inventory.Some(2012), Diameter: some(0.22), Height: some(9), Reach: some(2.2), Bearing: some(80), RegrowthLength: some(5.5), RegrowthCount: inventory.Some(6), Decay: inventory.Some(true)},
		{ID: 12, Kind: inventory.CutTopping, Year: inventory.Some(2012), Diameter: some(0.18), Height: some(8.5), Reach: some(3), Bearing: some(250), RegrowthLength: some(4.2)},
		{ID: 13, Kind: inventory.CutStub, Diameter: some(0.09), Height: some(5), Bearing: some(300)},
		{ID: 14, Kind: inventory.CutLionTailing, BareShare: some(0.6)},
	}
	t.Zones = []exposure.TreeZone{{Part: exposure.WholeTree, Cut: -1, Zone: geo.Disc(17.5)}, {Part: exposure.Crown, Cut: -1, Zone: geo.Disc(6.2)},
		{Part: exposure.Limb, Cut: 0, Zone: geo.Sector(7.7, 80, 45)}, {Part: exposure.Limb, Cut: 1, Zone: geo.Sector(7.2, 250, 45), RegrowthEstimated: true}}
	return t
}

func restoration(tree inventory.TreeID) pruning.Specification {
	return pruning.Specification{
		Tree: tree, Work: practice.Restoration, Objective: "Bring back a crown with one leader at each old cut.", System: pruning.Natural, Maturity: pruning.Mature, DoseCap: 0.1, DoseTotal: 0.3,
		Visits: []pruning.Visit{
			{Number: 1, Dose: 0.05, Goal: "take what could fall, leave the rest to grow", Items: []pruning.Item{
				{Cut: inventory.CutRemoval, Place: pruning.WholeCrown, SizeFrom: 0.025, SizeTo: 0.2, Text: "Take out dead and hung parts of 2.5 cm and more.", Rule: "dead-parts"},
				{Cut: inventory.CutReduction, Place: pruning.AtOldCut, OnCut: 11, Bearing: some(80), Height: some(9), Reach: some(2.2), LateralShare: 1.0 / 3, Text: "Shorten the two longest shoots over the car park to laterals.", Rule: "shorten-long"},
				{Cut: inventory.CutReduction, Place: pruning.AtOldCut, OnCut: 12, LateralShare: 1.0 / 3, Text: "Shorten the longest shoot.", Rule: "shorten-long"},
				{Place: pruning.LimbInside, OnCut: 14, Text: "Leave every shoot inside the limb.", Rule: "leave-inside"},
			}},
			{Number: 2, AfterYears: 3, Dose: 0.1, Goal: "choose one to three shoots at each old cut"},
			{Number: 3, AfterYears: 5, Dose: 0.1, Goal: "bring back the competitors"},
		},
		Not: []string{"No topping, whoever asks for it.", "No lion-tailing: do not strip the inside of a limb.", "No cuts inside the branch collar."}, Stop: "one leader stands at each old cut and no stub is left", SecondOpinion: "an old cut of 22 cm is decayed and stands over a car park",
		CycleYears: 5, Rules: []pruning.Fired{{Rule: "topped", Why: "2 topping cuts of 2012", Source: "UF/IFAS"}},
		Overrides: []pruning.Override{{Rule: "dose", Breach: "0.12 over 0.10", Reason: "storm damage", By: "B. Owner", At: time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)}},
	}
}

func crewSheet() *CrewSheet {
	s := &CrewSheet{Basis: basis(), Package: "Car park east", Year: 2026, Targets: places(), Access: "Gate on High Street, key at the school office, 07:00 to 16:00."}
	s.Jobs = append(s.Jobs, CrewJob{
		Job: inventory.Job{ID: 1, Tree: 1, Visit: 1, Year: 2026, State: inventory.Approved, Hours: 3.4, Open: "1 November 2026 to 28 February 2027", Quietest: "Sat 07:00 to 11:00: 0.30 person-hours; the mean working window of 4 hours has 4.10",
			Gates: []inventory.Gate{{Name: "permit", Why: "the local tree ordinance may ask for a permit", Cleared: true, By: "C. Clerk", On: inventory.Some(time.Date(2026, 2, 3, 0, 0, 0, 0, time.UTC)), Reference: "P-77"},
				{Name: "line clearance", Why: "a utility line is within reach"}}},
		Specification: restoration(1), Tree: toppedTree(), Over: []ranking.Under{{Kind: inventory.Parking, AreaM2: 84.2}, {Kind: inventory.Walkway, LengthM: 4.1}}, LineInReach: true, Hazards: []string{"Wasps' nest in the fork at 4 m in 2025."},
	})
	for i := range 11 {
		id := inventory.TreeID(i + 2)
		x := -35 + 7*float64(i)
		t := Tree{Tree: inventory.Tree{ID: id, Tag: fmt.Sprintf("T-%d", 102+i), Point: at(x, 8+3*math.Sin(x)), Species: "Quercus rubra", Status: inventory.Alive, DBH: some(0.2 + 0.04*float64(i))},
			Size: exposure.Dimensions{Height: 8 + float64(i), CrownRadius: 3 + 0.3*float64(i), HeightFrom: exposure.FromSpecies, CrownFrom: exposure.FromGenus}}
		if i == 10 {
			t.Cuts = toppedTree().Cuts[:2]
		}
		spec := specify(&t, []inventory.TargetKind{inventory.Parking})
		s.Jobs = append(s.Jobs, CrewJob{Job: inventory.Job{ID: inventory.JobID(i + 2), Tree: id, Visit: 1, Hours: 0.9, State: inventory.Approved}, Specification: spec, Tree: t})
	}
	first := &s.Jobs[0].Specification
	first.Not = append([]string{"No cuts inside the branch collar."}, s.Jobs[1].Specification.Not...)
	return s
}

// specify is what the rules ask for under the practice that is built in.
func specify(t *Tree, over []inventory.TargetKind) pruning.Specification {
	return pruning.Specify(&pruning.Case{Tree: &t.Tree, Cuts: t.Cuts, Height: t.Size.Height, CrownRadius: t.Size.CrownRadius, HeightEstimated: t.Size.HeightEstimated(),
		CrownEstimated: t.Size.CrownRadiusEstimated(), Over: over, Occupied: 0.4, AsOf: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)}, practice.Default())
}
