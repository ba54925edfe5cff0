package ranking

import (
	"slices"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
)

// Term is what one part of a tree would do at one target, with the tree's
// uncertain size one standard error below, at and one above its value. Where the
// size was measured the three are alike.
type Term struct {
	Part   int // place in Assessment.Parts
	Target inventory.TargetID
	// Harm is persons and weighted property together, the yearly chance included.
	Low, Mid, High Effect
}

// Effect is what a part would do at a target, or has there.
type Effect struct {
	Harm    float64
	Persons float64 // in the open and in vehicles, mean
}

// Terms opens a tree's assessment down to every target under every part, with
// the tree smaller and larger by a standard error. The assessment holds until
// the next call.
func (a *Assessor) Terms(dst []Term, f *Facts) ([]Term, *Assessment) {
	return a.terms(dst, f, true)
}

// TermsAsSized is Terms with the tree at its own size only: all three figures of
// a term are alike.
func (a *Assessor) TermsAsSized(dst []Term, f *Facts) ([]Term, *Assessment) {
	return a.terms(dst, f, false)
}

func (a *Assessor) terms(dst []Term, f *Facts, sized bool) ([]Term, *Assessment) {
	out := a.Assess(f)
	n := len(a.zones)
	sizes := a.zones[:n:n]
	d := out.Dimensions
	uncertain := sized && (d.HeightSE > 0 || d.CrownRadiusSE > 0)
	if uncertain {
		s := &a.profile.Sizing
		low, high := d, d
		low.Height, high.Height = max(d.Height-d.HeightSE, d.Height/10), d.Height+d.HeightSE
		low.CrownRadius = max(d.CrownRadius-d.CrownRadiusSE, s.MinCrownRadius.Value)
		high.CrownRadius = min(d.CrownRadius+d.CrownRadiusSE, max(s.MaxCrownRadius.Value, d.CrownRadius))
		sizes = a.sizer.ZonesOfSize(sizes, f, &low)
		sizes = a.sizer.ZonesOfSize(sizes, f, &high)
	}
	first := len(dst)
	for _, o := range a.meter.Overlaps(f.Tree.Point, sizes) {
		part := o.Zone % n
		p := &out.Parts[part]
		effect := Effect{Harm: p.Chance * p.Struck * (a.weighted(o.Harm) + o.Harm.Vehicles*a.profile.Weights.Property.Value), Persons: o.Count.Persons()}
		t := Term{Part: part, Target: o.Target}
		switch {
		case !uncertain:
			t.Low, t.Mid, t.High = effect, effect, effect
		case o.Zone < n:
			t.Mid = effect
		case o.Zone < 2*n:
			t.Low = effect
		default:
			t.High = effect
		}
		dst = append(dst, t)
	}
	if !uncertain {
		return dst, out
	}
	return append(dst[:first], merged(dst[first:])...), out
}

// merged joins the terms of one part and target.
func merged(terms []Term) []Term {
	slices.SortStableFunc(terms, func(a, b Term) int {
		if a.Part != b.Part {
			return a.Part - b.Part
		}
		return int(a.Target - b.Target)
	})
	kept := terms[:0]
	for _, t := range terms {
		if n := len(kept); n > 0 && kept[n-1].Part == t.Part && kept[n-1].Target == t.Target {
			last := &kept[n-1]
			last.Low, last.Mid, last.High = last.Low.plus(t.Low), last.Mid.plus(t.Mid), last.High.plus(t.High)
			continue
		}
		kept = append(kept, t)
	}
	return kept
}

func (e Effect) plus(f Effect) Effect { return Effect{e.Harm + f.Harm, e.Persons + f.Persons} }

// weighted is the persons that a strike would reach, those in vehicles and under
// roofs weighted down.
func (a *Assessor) weighted(c exposure.Count) float64 {
	s := &a.profile.Weights.Shielding
	return c.People + c.InVehicles*s.InVehicle.Value + c.Sheltered*s.Sheltered.Value
}
