// Package ranking brings exposure and likelihood together into one figure a
// tree, puts trees in order, and says why in numbers.
package ranking

import (
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/allometry"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/risk"
)

// PartAssessment is one part of a tree over what it would land on.
type PartAssessment struct {
	exposure.TreeZone
	Exposure  exposure.ZoneExposure
	Judgement risk.Judgement
	Chance    float64 // of failing within a year, or at the rate of the season looked at
	Struck    float64 // share of those in the zone that it would strike
	// Harm is the expected number of persons struck in a year, people in
	// vehicles and under roofs weighted down; HarmProperty that of vehicles.
	// Both order trees; neither predicts.
	Harm, HarmProperty float64
	Score              risk.Score
}

// Assessment is one tree's result.
type Assessment struct {
	Dimensions exposure.Dimensions
	Parts      []PartAssessment
	// Under is the part over the most: of the crown and the limbs the one with
	// the most persons, then vehicles. It is what "over" means.
	Under int
	Week  exposure.WeekSummary // of the part Under
	// VehicleWeek is that of the vehicles, under the part with the most of them.
	VehicleWeek exposure.WeekSummary
	// Count is what is under that part; of people under roofs and of vehicles it
	// is the most under any of these parts, which may be another one.
	Count exposure.Count
	// Harm is the sum over the parts, persons and weighted property together.
	Harm, HarmPeople, HarmProperty float64
	// Score holds the highest rating of any part, in each respect.
	Score risk.Score
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
	sizer    *Sizer
	zones    []exposure.TreeZone
	out      Assessment
}

// NewAssessor returns an assessor over a field of targets, as of a day.
func NewAssessor(f *exposure.Field, p *profile.Profile, asOf time.Time) *Assessor {
	sizer := NewSizer(p, asOf)
	return &Assessor{profile: p, meter: exposure.NewMeter(f), screener: sizer.screener, sizer: sizer}
}

// Screener returns the screener in use.
func (a *Assessor) Screener() *risk.Screener { return a.screener }

// Meter returns the meter in use.
func (a *Assessor) Meter() *exposure.Meter { return a.meter }

// Assess works out one tree. The result is valid until the next call.
func (a *Assessor) Assess(f *Facts) *Assessment {
	out := &a.out
	*out = Assessment{Parts: out.Parts[:0]}
	out.Dimensions, a.zones = a.sizer.Zones(a.zones[:0], f)
	exposures, overlaps := a.meter.Measure(f.Tree.Point, a.zones)
	out.Overlaps = overlaps
	out.Under = exposure.ZoneIndexCrown
	season := a.season(f)
	for i, z := range a.zones {
		out.Parts = append(out.Parts, PartAssessment{TreeZone: z, Exposure: exposures[i], Judgement: a.judge(f, z)})
		part := &out.Parts[i]
		a.weigh(part, f, season)
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
		return a.screener.WholeTree(&f.Tree, f.Visits)
	case exposure.Crown:
		return a.screener.Crown(&f.Tree, f.Visits)
	}
	return a.screener.Limb(&f.Tree, &f.Cuts[z.Cut], f.Visits)
}

// season is the factor on the yearly chance of failure in the season looked at.
func (a *Assessor) season(f *Facts) float64 {
	s := a.profile.Calendar.Season
	if s == "" || s == profile.WholeYear {
		return 1
	}
	return a.profile.SeasonChance(s, allometry.Find(f.Tree.Species).Evergreen())
}

// weigh works out a part's harm and rating.
func (a *Assessor) weigh(p *PartAssessment, f *Facts, season float64) {
	w := &a.profile.Weights
	p.Chance = a.profile.Chance(p.Judgement.Likelihood) * season
	switch p.Part {
	case exposure.WholeTree:
		p.Struck = w.Struck.WholeTree.Value
		if !p.Zone.IsDisc() {
			// A tree that falls to one side strikes as much ground out of less.
			p.Struck = min(1, p.Struck*360/p.Zone.Width)
		}
		if r := p.Judgement.Rule; r == risk.NothingKnown || r == risk.SoundCavity {
			p.Chance *= w.WholeTreeChance.Value
		}
	case exposure.Crown:
		p.Struck = w.Struck.Crown.Value
	default:
		p.Struck = w.Struck.Limb.Value
	}
	p.Harm = p.Chance * p.Struck * a.weighted(p.Exposure.Harm)
	p.HarmProperty = p.Chance * p.Struck * p.Exposure.Harm.Vehicles
	p.Score = a.rate(p, f)
}

// rate is the profile's method of rating for one part: people by the share of
// hours with somebody there, property by the vehicles standing there.
func (a *Assessor) rate(p *PartAssessment, f *Facts) risk.Score {
	// An improbable failure rates low whatever it would strike, by both matrices.
	if p.Judgement.Likelihood <= inventory.Improbable && a.profile.Rating.Method == profile.Matrices {
		return risk.Score{}
	}
	use := a.use(p, f)
	return a.screener.Score(p.Judgement, &f.Tree, p.cut(f), f.Visits, &use)
}

// Points opens a part's rating by points into what it is the sum of.
func (a *Assessor) Points(p *PartAssessment, f *Facts) risk.PointRatings {
	use := a.use(p, f)
	return a.screener.PointsOf(p.Judgement, &f.Tree, p.cut(f), f.Visits, &use)
}

// use is what a part would land on, in the figures that ratings go by.
func (a *Assessor) use(p *PartAssessment, f *Facts) risk.Use {
	week := a.meter.Week(p.Exposure)
	return risk.Use{
		Occupied: week.Occupied, Busiest: exposure.AtLeastOne(week.Busiest), Vehicles: a.meter.VehicleWeek(p.Exposure).Occupied,
		Count: p.Exposure.Count, Heavy: heavyPart(p, f, a.profile.Screening),
	}
}

// cut is the one that a limb carries; nil for the other parts.
func (p *PartAssessment) cut(f *Facts) *inventory.Cut {
	if p.Part != exposure.Limb {
		return nil
	}
	return &f.Cuts[p.Cut]
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
	parked := out.Under
	for i := range out.Parts {
		if c := out.Parts[i].Exposure.Count; out.Parts[i].Part != exposure.WholeTree {
			out.Count.Sheltered = max(out.Count.Sheltered, c.Sheltered)
			if c.Vehicles > out.Count.Vehicles {
				out.Count.Vehicles, parked = c.Vehicles, i
			}
		}
	}
	if out.Count.Vehicles > 0 {
		out.VehicleWeek = a.meter.VehicleWeek(out.Parts[parked].Exposure)
	}
	worst := -1.0
	for i := range out.Parts {
		p := &out.Parts[i]
		out.Score = out.Score.Max(p.Score)
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

// Reach is the farthest that any part reaches, metres.
func (a *Assessment) Reach() float64 {
	reach := 0.0
	for i := range a.Parts {
		reach = max(reach, a.Parts[i].Zone.Radius)
	}
	return reach
}
