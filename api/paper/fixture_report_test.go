package paper

import (
	"fmt"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/risk"
)

// siteReport is a report on n invented trees, in rows of 50, 9 m apart; every
// seventh was topped.
func siteReport(n int) *SiteReport {
	r := &SiteReport{Basis: basis(), Targets: places(), Effect: practice.Default().Effect}
	species := []string{"Acer saccharinum", "Quercus rubra", "Tilia cordata", "Platanus × hispanica", "Gleditsia triacanthos", ""}
	for i := range n {
		t := Tree{Tree: inventory.Tree{ID: inventory.TreeID(i + 1), Tag: fmt.Sprintf("T-%04d", i+1), Point: at(-36+9*float64(i%50), -26+9*float64(i/50)), Species: species[i*7%len(species)], Status: inventory.Alive, Condition: []string{"good", "fair", "poor"}[i%3]},
			Size: exposure.Dimensions{Height: 8 + float64(i%17), CrownRadius: 2.5 + float64(i%5), HeightFrom: exposure.Origin(i % 3), CrownFrom: exposure.Origin(i % 2)}}
		if i%11 != 0 {
			t.DBH = some(0.08 + 0.011*float64(i%80))
		}
		if i%7 == 0 {
			topped := toppedTree()
			t.Cuts, t.Zones = topped.Cuts, topped.Zones
		}
		tree := ReportTree{Tree: t, Row: ranking.Row{Rank: i + 1, Tag: t.Tag, DBH: t.DBH}}
		tree.Row.Harm = 0.02 / float64(i+1)
		tree.Row.Rule, tree.Row.Likelihood = risk.Rule(i%3), inventory.Possible
		tree.Row.Score.Rating = risk.Grade(min(3, 40/(i+10)))
		if i%4 != 3 {
			tree.Row.Over = []ranking.Under{{Kind: inventory.Parking, AreaM2: 20 + float64(i%30)}, {Kind: inventory.Walkway, LengthM: 3}}
			tree.Row.Count.People = 1.2 / float64(i+1)
		}
		if i < DefaultTop {
			spec := restoration(t.ID)
			if i > 0 {
				spec = specify(&t, []inventory.TargetKind{inventory.Parking})
			}
			tree.Specification, tree.Hours, tree.Cost, tree.Quietest = &spec, 9.5, 950, "Sat 07:00 to 11:00"
			tree.Paragraph = fmt.Sprintf("Tree %s (%s) was topped in 2012. Shoots of 5.5 m stand on the old cuts over 84 m² of car park, where 1.2 people are on the average and up to 9 on Monday at 08:00. A rule infers that it is probable that a limb fails. This is a screening from records and geometry, not an inspection.", t.Tag, t.Species)
		}
		r.Trees = append(r.Trees, tree)
	}
	years := func(left ...float64) (out []programme.Year) {
		for _, l := range left {
			out = append(out, programme.Year{Trees: 60, Groups: 4, Hours: 118.4, Cost: 11840, HarmBefore: 0.148, HarmLeft: l})
		}
		return out
	}
	r.Programme = &SiteProgramme{Record: programme.Record{Name: "Five years", Question: programme.Question{From: "2026-03-01", Years: 5, Cycle: 5},
		Result: programme.Result{Method: "Lagrangian bound with improvement", Trees: 800, Planned: 300, FirstYear: 2026, Years: years(0.141, 0.131, 0.124, 0.119, 0.116), WorstFirst: years(0.142, 0.134, 0.128, 0.124, 0.121),
			Flat: years(0.146, 0.143, 0.14, 0.137, 0.134), TakenOff: 0.11, Bound: 0.1102, Gap: 0.0018, Currency: "EUR", Left: []string{"T-0044"},
			Cycles: &programme.Cycles{Results: []programme.CycleResult{{CycleYears: 4, Hours: 200, Cost: 20000, HarmLeft: 0.86}, {CycleYears: 5, Hours: 160, Cost: 16000, HarmLeft: 0.87, MoneyPerTree: some(36)}}}}},
		Items: []programme.Item{{Label: "T-0001", Must: true}}}
	r.Restorations = []RestorationProgress{{Tag: "T-0001", Species: "Acer saccharinum", Done: 1, Visits: 4, DoseSoFar: 0.05, Next: 2029, Note: "on course"}}
	r.Inspections = []Inspection{{Tag: "T-0002", Species: "Quercus rubra", Due: time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC), Overdue: true, Why: "one year after work on old cuts"}, {Tag: "T-0008", Species: "Tilia cordata", Never: true}}
	r.Value = &Value{Trees: 12, Appraised: 128400, Currency: "EUR", Method: "trunk formula technique, ratings by A. Planner", ShadeParking: 5120, ShadeParkingLength: 210, ShadeWalks: 860, ShadeWalksLength: 1340}
	return r
}

// bidSheet has classes on and off their edges, and texts that would be formulas.
func bidSheet() *BidSheet {
	s := &BidSheet{Basis: basis(), Title: "Car park east 2026", Conditions: []string{"Bids close on 1 April 2026."}, Currency: "EUR"}
	for i, inches := range []float64{6, 6.5, 12, 12.5, 30, 60} {
		t := toppedTree()
		t.Tag, t.DBH = fmt.Sprintf("T-%d", i), some(inches*0.0254)
		s.Rows = append(s.Rows, BidRow{Tree: t, Work: practice.Cleaning, Year: 2026, Visit: 1, Package: "Car park east", Dose: 0.1, Hours: 1.1, Cost: 110, Text: "Take out dead parts."})
	}
	hostile := toppedTree()
	hostile.Tag, hostile.Species, hostile.CommonName, hostile.DBH = "=1+1", "@SUM(A1)", "-2+3", inventory.Opt[float64]{}
	s.Rows = append(s.Rows, BidRow{Tree: hostile, Work: practice.Restoration, Year: 2027, Visit: 2, Package: "+cmd|' /C calc'!A0", LineInReach: true, Text: "<b>\n=HYPERLINK(\"x\")"})
	return s
}
