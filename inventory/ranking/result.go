package ranking

import (
	"slices"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/risk"
)

// Kinds is a set of kinds of target, a bit each by its place in
// inventory.TargetKinds.
type Kinds uint32

// KindsOf returns the set of a list.
func KindsOf(list []inventory.TargetKind) Kinds {
	var k Kinds
	for _, kind := range list {
		k |= 1 << kind.KindIndex()
	}
	return k
}

// List returns the kinds of a set in their usual order.
func (k Kinds) List() []inventory.TargetKind {
	var list []inventory.TargetKind
	for i, kind := range inventory.TargetKinds {
		if k&(1<<i) != 0 {
			list = append(list, kind)
		}
	}
	return list
}

// Result is what is kept of a tree's assessment.
type Result struct {
	Tree     inventory.TreeID
	Over     []Under // under the crown and the limbs, the busiest first
	Within   Kinds   // in reach of the whole tree
	Overlaps int     // pairs of a zone and a target that meet

	Count   exposure.Count // under the part over the most, mean of the year or season
	Meeting float64        // vehicles under it or too close to stop before what fell
	Week    exposure.WeekSummary
	// BusiestVehicles is the number of vehicles in their busiest hour.
	BusiestVehicles float64

	Part       exposure.Part // that weighs most
	Cut        inventory.CutID
	Likelihood inventory.Likelihood // of that part's failure
	Rule       risk.Rule            // Judged, or the rule that inferred it
	Stale      bool
	// What is under that part, on average: people in the open and in vehicles, and
	// vehicles. It may be another part than the one over the most.
	PartPeople, PartVehicles float64

	Harm, HarmPeople, HarmProperty float64
	Score                          risk.Score

	Height, CrownRadius   float64
	HeightFrom, CrownFrom exposure.Origin
	// Ground is how far the whole tree reaches: Radius metres, about Bearing where
	// Width is less than 360 degrees.
	Ground struct{ Radius, Bearing, Width float64 }
}

// Summarize writes to r what is kept of an assessment of f. It reuses r's list.
func (r *Result) Summarize(a *Assessment, f *Facts) {
	worst, under := &a.Parts[a.Worst], &a.Parts[a.Under]
	*r = Result{
		Tree: f.Tree.ID, Over: r.Over[:0], Overlaps: a.Overlaps,
		Count: a.Count, Meeting: under.Exposure.Meeting.Vehicles, Week: a.Week, BusiestVehicles: a.VehicleWeek.Busiest,
		Part: worst.Part, Likelihood: worst.Judgement.Likelihood, Rule: worst.Judgement.Rule, Stale: worst.Judgement.Stale,
		PartPeople: worst.Exposure.Count.Persons(), PartVehicles: worst.Exposure.Count.Vehicles,
		Harm: a.Harm, HarmPeople: a.HarmPeople, HarmProperty: a.HarmProperty, Score: a.Score,
		Height: a.Dimensions.Height, CrownRadius: a.Dimensions.CrownRadius,
		HeightFrom: a.Dimensions.HeightFrom, CrownFrom: a.Dimensions.CrownFrom,
	}
	whole := &a.Parts[exposure.WholeTree].Zone
	r.Ground.Radius, r.Ground.Bearing, r.Ground.Width = whole.Radius, whole.Bearing, min(whole.Width, 360)
	if worst.Cut >= 0 {
		r.Cut = f.Cuts[worst.Cut].ID
	}
	r.gather(a)
}

// gather lists the kinds of target under the crown or any limb, those with the
// most people first, with the most that any one of these parts covers; and the
// kinds in reach of the whole tree.
func (r *Result) gather(a *Assessment) {
	var most [32]exposure.Amount
	var over Kinds
	for i := range a.Parts {
		for k := range a.Parts[i].Exposure.ByKind {
			amount := &a.Parts[i].Exposure.ByKind[k]
			if !amount.Met() {
				continue
			}
			if i == 0 {
				r.Within |= 1 << k
				continue
			}
			over |= 1 << k
			if larger(amount, &most[k]) {
				most[k] = *amount
			}
		}
	}
	for k := range inventory.TargetKinds {
		if over&(1<<k) != 0 {
			m := &most[k]
			r.Over = append(r.Over, Under{Kind: inventory.TargetKinds[k], LengthM: m.LengthM, AreaM2: m.AreaM2, Points: m.Points, persons: m.Count.Persons()})
		}
	}
	if len(r.Over) > 1 {
		slices.SortStableFunc(r.Over, func(a, b Under) int {
			switch {
			case a.persons > b.persons:
				return -1
			case a.persons < b.persons:
				return 1
			}
			return 0
		})
	}
}

func larger(b, a *exposure.Amount) bool {
	return b.AreaM2 > a.AreaM2 || b.AreaM2 == a.AreaM2 && b.LengthM > a.LengthM || b.Points > a.Points
}

// OverKinds returns the kinds under the tree as a set.
func (r *Result) OverKinds() Kinds {
	var k Kinds
	for _, u := range r.Over {
		k |= 1 << u.Kind.KindIndex()
	}
	return k
}

// Reaches reports whether anything of a kind lies in reach of the whole tree.
func (r *Result) Reaches(kind inventory.TargetKind) bool {
	return r.Within&KindsOf([]inventory.TargetKind{kind}) != 0
}
