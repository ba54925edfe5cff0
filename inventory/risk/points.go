package risk

import (
	"fmt"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
)

// Points is a part's score by the community rating of the USDA Forest Service
// (Urban Tree Risk Management, NA-TP-03-03, 2003): a sum of 3 to 12. Totals are
// ordinal; no threshold for action is published, so none is given here.
type Points struct {
	Failure uint8 // 1 to 4
	Size    uint8 // of the part, 1 to 3
	Target  uint8 // 1 to the profile's target_max; 0 where there is none
	Other   uint8 // 0 to the profile's other_max
}

// Total is the sum, 0 where there is nothing to land on.
func (p Points) Total() uint8 {
	if p.Target == 0 {
		return 0
	}
	return p.Failure + p.Size + p.Target + p.Other
}

// PointsWord puts a total in words.
func PointsWord(total uint8) string {
	if total == 0 {
		return "no target"
	}
	return fmt.Sprintf("%d points", total)
}

// PointRatings is one part by points, which differ by target alone.
type PointRatings struct{ People, Property, Busiest Points }

// Rating is the higher of people and property.
func (r PointRatings) Rating() Points {
	if r.Property.Total() > r.People.Total() {
		return r.Property
	}
	return r.People
}

// PointsOf scores a part. c is the limb's cut and nil for the other parts.
func (s *Screener) PointsOf(j Judgement, t *inventory.Tree, c *inventory.Cut, visits []inventory.Visit, u *Use) PointRatings {
	p := &s.rating.Points
	var loss *Loss
	if j.Inferred && j.Part == exposure.WholeTree {
		if l, i := s.measuredLoss(visits); i >= 0 {
			loss = &l
		}
	}
	base := Points{
		Failure: FailurePoints(j.Likelihood, loss, p),
		Size:    SizePoints(PartDiameter(j.Part, t, c), p),
		Other:   s.otherPoints(t, visits),
	}
	r := PointRatings{People: base, Property: base, Busiest: base}
	r.People.Target = PeopleTargetPoints(u.Occupied, u.Count, s.occupancy, p)
	r.Busiest.Target = PeopleTargetPoints(u.Busiest, u.Count, s.occupancy, p)
	if u.Count.Vehicles > 0 {
		r.Property.Target = min(targetPoints(ImpactOf(u.Vehicles, s.occupancy), p), uint8(p.VehiclesMax.Value))
	}
	return r
}

// FailurePoints scores the failure by its likelihood and, for a stem that was
// measured and not judged, by its sound shell and the share of its girth that is
// open; loss is nil where nothing was measured.
func FailurePoints(l inventory.Likelihood, loss *Loss, p *profile.PointsRating) uint8 {
	points := uint8(1)
	switch l {
	case inventory.Improbable:
		points = uint8(p.Failure.Improbable.Value)
	case inventory.Possible:
		points = uint8(p.Failure.Possible.Value)
	case inventory.Probable:
		points = uint8(p.Failure.Probable.Value)
	case inventory.Imminent:
		points = uint8(p.Failure.Imminent.Value)
	}
	if loss == nil {
		return points
	}
	decay := loss.Wagener > 0
	thin := decay && !atLeast(loss.Wall, p.SoundShell.Value)
	much := above(loss.Opening, p.GirthMuch.Value)
	switch {
	case much && decay:
		return max(points, 4)
	case much, thin:
		return max(points, 3)
	case decay, atLeast(loss.Opening, p.GirthSome.Value):
		return max(points, 2)
	}
	return points
}

// SizePoints scores the diameter of the part that would fail, metres.
func SizePoints(diameter inventory.Opt[float64], p *profile.PointsRating) uint8 {
	switch {
	case !diameter.OK:
		return uint8(p.UnknownPart.Value)
	case !atLeast(diameter.V, p.MediumPart.Value):
		return 1
	case above(diameter.V, p.LargePart.Value):
		return 3
	}
	return 2
}

// PartDiameter is the diameter of the part that would fail, as far as it was
// recorded: of the stem for the whole tree; for a limb the base of the shoots
// grown back, or else the cut, which is the stub they stand on. What was cut off
// a lion-tailed limb says nothing of the limb.
func PartDiameter(part exposure.Part, t *inventory.Tree, c *inventory.Cut) inventory.Opt[float64] {
	switch {
	case part == exposure.WholeTree:
		return t.DBH
	case part == exposure.Crown || c == nil || c.Kind == inventory.CutLionTailing:
		return inventory.Opt[float64]{}
	case c.RegrowthDiameter.OK:
		return c.RegrowthDiameter
	}
	return c.Diameter
}

// PeopleTargetPoints scores the use of a place by people: occupied is the chance
// that at least one is there in the open or in a vehicle. People under a roof
// count as rare use, and those always there as occasional, as they are sheltered.
func PeopleTargetPoints(occupied float64, c exposure.Count, o profile.Occupancy, p *profile.PointsRating) uint8 {
	impact := ImpactOf(occupied, o)
	switch {
	case c.Persons() <= 0 && c.Sheltered <= 0:
		return 0
	case impact == VeryLow && exposure.AtLeastOne(c.Sheltered) >= o.Constant.Value:
		impact = Low
	}
	return targetPoints(impact, p)
}

func targetPoints(i Impact, p *profile.PointsRating) uint8 {
	return min(uint8(i)+1, uint8(p.TargetMax.Value))
}

// otherPoints is what the latest visitor added, or what brittle wood adds.
func (s *Screener) otherPoints(t *inventory.Tree, visits []inventory.Visit) uint8 {
	most := int(s.rating.Points.OtherMax.Value)
	for i := len(visits) - 1; i >= 0; i-- {
		if v := &visits[i]; v.OtherPoints.OK && !v.On.After(s.asOf) {
			return uint8(min(max(v.OtherPoints.V, 0), most))
		}
	}
	if t.Brittle.Or(false) {
		return uint8(s.rating.Points.Brittle.Value)
	}
	return 0
}
