// Package ranking brings exposure and likelihood together into one figure a
// tree, puts trees in order, and says why in numbers.
package ranking

import (
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/risk"
)

// PartAssessment is one part of a tree over what it would land on.
type PartAssessment struct {
	exposure.TreeZone
	Exposure  exposure.ZoneExposure
	Judgement risk.Judgement
	Chance    float64 // of failing within a year
	// Harm is the expected number of persons struck in a year, people in
	// vehicles and under roofs weighted down; HarmProperty that of vehicles.
	// Both order trees; neither predicts.
	Harm, HarmProperty float64
	Rating             risk.Rating
}

// Assessment is one tree's result.
type Assessment struct {
	Dimensions exposure.Dimensions
	Parts      []PartAssessment
	// Under is the part over the most: of the crown and the limbs the one with
	// the most persons, then vehicles. It is what "over" means.
	Under int
	Week  exposure.WeekSummary // of the part Under
	// Count is what is under that part; of people under roofs and of vehicles it
	// is the most under any of these parts, which may be another one.
	Count exposure.Count
	// Harm is the sum over the parts, persons and weighted property together.
	Harm, HarmPeople, HarmProperty float64
	Rating                         risk.Rating
	// Worst is the part that contributes the most harm.
	Worst    int
	Overlaps int
}

// Assessor assesses trees one after the other with one set of working memory;
// it belongs to one goroutine.
type Assessor struct {
	profile  *profile.Profile
	meter    *exposure.Meter
	screener *risk.Screener
	zones    []exposure.TreeZone
	out      Assessment
}

// NewAssessor returns an assessor over a field of targets, as of a day.
func NewAssessor(f *exposure.Field, p *profile.Profile, asOf time.Time) *Assessor {
	return &Assessor{profile: p, meter: exposure.NewMeter(f), screener: risk.NewScreener(p, asOf)}
}

// Screener returns the screener in use.
func (a *Assessor) Screener() *risk.Screener { return a.screener }

// Meter returns the meter in use.
func (a *Assessor) Meter() *exposure.Meter { return a.meter }

// Assess works out one tree. The result is valid until the next call.
func (a *Assessor) Assess(f *Facts) *Assessment {
	out := &a.out
	*out = Assessment{Parts: out.Parts[:0], Dimensions: exposure.Size(f.Tree, a.profile.Sizing)}
	a.zones = exposure.Zones(a.zones[:0], f.Tree, f.Cuts, out.Dimensions, a.profile.Sizing)
	exposures, overlaps := a.meter.Measure(f.Tree.Point, a.zones)
	out.Overlaps = overlaps
	out.Under = exposure.ZoneIndexCrown
	for i, z := range a.zones {
		part := PartAssessment{TreeZone: z, Exposure: exposures[i], Judgement: a.judge(f, z)}
		a.weigh(&part, f)
		out.Parts = append(out.Parts, part)
		out.HarmPeople += part.Harm
		out.HarmProperty += part.HarmProperty
		if z.Part != exposure.WholeTree && more(part.Exposure.Count, out.Parts[out.Under].Exposure.Count) {
			out.Under = i
		}
	}
	a.conclude(out)
	return out
}

func (a *Assessor) judge(f *Facts, z exposure.TreeZone) risk.Judgement {
	switch z.Part {
	case exposure.WholeTree:
		return a.screener.WholeTree(f.Tree, f.Visits)
	case exposure.Crown:
		return a.screener.Crown(f.Tree, f.Visits)
	}
	return a.screener.Limb(f.Cuts[z.Cut], f.Visits)
}

// weigh works out a part's harm and rating.
func (a *Assessor) weigh(p *PartAssessment, f *Facts) {
	w := &a.profile.Weights
	struck := w.Struck.Limb.Value
	p.Chance = a.profile.Chance(p.Judgement.Likelihood)
	switch p.Part {
	case exposure.WholeTree:
		struck = w.Struck.WholeTree.Value
		if p.Judgement.Inferred {
			p.Chance *= w.WholeTreeChance.Value
		}
	case exposure.Crown:
		struck = w.Struck.Crown.Value
	}
	c := p.Exposure.Count
	people := c.People + c.InVehicles*w.Shielding.InVehicle.Value + c.Sheltered*w.Shielding.Sheltered.Value
	p.Harm = p.Chance * struck * people
	p.HarmProperty = p.Chance * struck * c.Vehicles
	p.Rating = a.rate(p, f)
}

// rate is the qualitative method for one part: people by the share of the
// week's hours with somebody there, property by the vehicles standing there.
func (a *Assessor) rate(p *PartAssessment, f *Facts) risk.Rating {
	// An improbable failure rates low whatever it would strike, by both matrices.
	if p.Judgement.Likelihood <= inventory.Improbable {
		return risk.RatingLow
	}
	week := a.meter.Week(p.Exposure)
	occupancy := a.profile.Occupancy
	people := risk.Rate(
		risk.Combine(p.Judgement.Likelihood, risk.ImpactOf(week.Occupied, occupancy)),
		risk.PeopleConsequence(p.Exposure.Count, heavyPart(p, f, a.profile.Screening)))
	property := risk.Rate(
		risk.Combine(p.Judgement.Likelihood, risk.ImpactOf(exposure.AtLeastOne(p.Exposure.Count.Vehicles), occupancy)),
		risk.PropertyConsequence(p.Exposure.Count))
	return max(people, property)
}

// heavyPart reports whether a part is big enough to do the worst: a whole tree,
// or a limb with a wide cut or heavy regrowth.
func heavyPart(p *PartAssessment, f *Facts, s profile.Screening) bool {
	if p.Part != exposure.Limb {
		return p.Part == exposure.WholeTree
	}
	c := f.Cuts[p.Cut]
	return c.Diameter.Or(0) >= s.WideCut.Value || c.RegrowthLength.Or(0) >= s.HeavyRegrowth.Value
}

func (a *Assessor) conclude(out *Assessment) {
	out.Harm = out.HarmPeople + out.HarmProperty*a.profile.Weights.Property.Value
	out.Week = a.meter.Week(out.Parts[out.Under].Exposure)
	out.Count = out.Parts[out.Under].Exposure.Count
	for i := range out.Parts {
		if c := out.Parts[i].Exposure.Count; out.Parts[i].Part != exposure.WholeTree {
			out.Count.Sheltered = max(out.Count.Sheltered, c.Sheltered)
			out.Count.Vehicles = max(out.Count.Vehicles, c.Vehicles)
		}
	}
	worst := -1.0
	for i := range out.Parts {
		p := &out.Parts[i]
		out.Rating = max(out.Rating, p.Rating)
		if h := p.Harm + p.HarmProperty*a.profile.Weights.Property.Value; h > worst {
			worst, out.Worst = h, i
		}
	}
	// With nothing to land on, the part most likely to fail is the one to name.
	if worst == 0 {
		for i := range out.Parts {
			if out.Parts[i].Judgement.Likelihood > out.Parts[out.Worst].Judgement.Likelihood {
				out.Worst = i
			}
		}
	}
}

func more(a, b exposure.Count) bool {
	if a.Persons() != b.Persons() {
		return a.Persons() > b.Persons()
	}
	return a.Vehicles > b.Vehicles
}
