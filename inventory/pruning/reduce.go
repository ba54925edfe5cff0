package pruning

import (
	"math"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// gravity is the standard acceleration of free fall, m/s² (CGPM 1901).
const gravity = 9.80665

// Limb is one that is to be made shorter. Lengths are in metres along the limb.
type Limb struct {
	Length       float64 `json:"length_m"`
	BaseDiameter float64 `json:"base_diameter_m"`
	// AngleDeg is of the limb above the horizontal; missing counts as level, the
	// heaviest case.
	AngleDeg inventory.Opt[float64] `json:"angle_deg,omitzero"`
}

// Lateral is the branch that a limb may be cut back to.
type Lateral struct {
	Distance float64 `json:"distance_m"` // from the limb's base
	Diameter float64 `json:"diameter_m"` // at its own base; 0 for no lateral
	// LimbDiameter is that of the limb where it is cut; missing is worked out from
	// the taper.
	LimbDiameter inventory.Opt[float64] `json:"limb_diameter_m,omitzero"`
	// Length of the lateral; missing counts as slender as the limb's own end.
	Length inventory.Opt[float64] `json:"length_m,omitzero"`
}

// Reduction is what cutting a limb back to a lateral does. Moments are at the
// limb's base, of the limb's own wood at rest.
type Reduction struct {
	Kind          inventory.CutKind `json:"kind"`           // reduction or heading, by the least share
	PreferredKind inventory.CutKind `json:"preferred_kind"` // by the preferred share
	LateralRatio  float64           `json:"lateral_ratio"`
	CutDiameter   float64           `json:"cut_diameter_m"` // of the wound
	LengthBefore  float64           `json:"length_before_m"`
	LengthAfter   float64           `json:"length_after_m"` // to the lateral's tip
	LengthOff     float64           `json:"length_off_m"`   // by which the tip comes in
	LengthShare   float64           `json:"length_share"`   // of the length before
	WeightOffN    float64           `json:"weight_off_n"`   // of what is taken off
	MomentBefore  float64           `json:"moment_before_nm"`
	MomentAfter   float64           `json:"moment_after_nm"`
	MomentShare   float64           `json:"moment_share"` // after over before
	// WindShare is the moment of the wind at the base, after over before: leafy
	// area goes with length squared and its lever with length.
	WindShare float64 `json:"wind_share"`
	// What was worked out and not measured.
	DiameterEstimated bool   `json:"diameter_estimated,omitempty"`
	LengthEstimated   bool   `json:"length_estimated,omitempty"` // of the lateral
	AngleAssumed      bool   `json:"angle_assumed,omitempty"`
	Caution           string `json:"caution,omitempty"`
}

// Reduce works out what cutting limb back to lateral at does. The error is
// Invalid and says which measure cannot be.
func Reduce(limb Limb, at Lateral, p *practice.Practice) (Reduction, error) {
	if err := checkLimb(&limb, &at); err != nil {
		return Reduction{}, err
	}
	q := &p.Pruning
	r := Reduction{CutDiameter: at.LimbDiameter.V, LengthBefore: limb.Length, DiameterEstimated: !at.LimbDiameter.OK, LengthEstimated: !at.Length.OK, AngleAssumed: !limb.AngleDeg.OK}
	left := (limb.Length - at.Distance) / limb.Length // of the length, beyond the cut
	if r.DiameterEstimated {
		r.CutDiameter = limb.BaseDiameter * math.Pow(left, q.LimbTaper.Value)
	}
	r.LateralRatio = at.Diameter / r.CutDiameter
	r.Kind = classed(at.Diameter, r.CutDiameter, q.LateralShare.Value)
	r.PreferredKind = classed(at.Diameter, r.CutDiameter, q.LateralSharePreferred.Value)
	lateral := at.Length.V
	if r.LengthEstimated {
		lateral = r.LateralRatio * (limb.Length - at.Distance)
	}
	r.LengthAfter = at.Distance + lateral
	r.LengthOff = limb.Length - r.LengthAfter
	r.LengthShare = r.LengthOff / limb.Length
	r.WindShare = math.Pow(r.LengthAfter/limb.Length, 3)

	// The wood between the base and the cut is the same before and after, and the
	// lateral too: the difference is the end that goes.
	taper, density := q.LimbTaper.Value, q.GreenDensity.Value
	slope := math.Cos(limb.AngleDeg.Or(0) * math.Pi / 180)
	inner, outer := axis(limb.Length, limb.BaseDiameter, at.Distance, r.CutDiameter, taper)
	side := tapered(lateral, at.Diameter, taper)
	side.first += side.volume * at.Distance
	r.WeightOffN = density * gravity * outer.volume
	r.MomentAfter = density * gravity * slope * (inner.first + side.first)
	r.MomentBefore = r.MomentAfter + density*gravity*slope*outer.first
	if r.MomentBefore > 0 {
		r.MomentShare = r.MomentAfter / r.MomentBefore
	}
	r.Caution = woundCaution(r.CutDiameter, limb.BaseDiameter, q)
	if r.LengthOff < 0 {
		r.Caution = joined(r.Caution, "the lateral reaches beyond the limb's tip: the cut makes it no shorter")
	}
	if r.LateralRatio > 1+slack {
		r.Caution = joined(r.Caution, "the lateral of "+cm(at.Diameter)+" is thicker than the limb at the cut, worked out as "+cm(r.CutDiameter)+": it leads already, or measures are swapped; measure the limb there")
	}
	if r.Kind == inventory.CutHeading {
		r.Caution = joined(r.Caution, "the lateral is "+percentOf(r.LateralRatio)+" of what is removed, under "+shareWords(q.LateralShare.Value)+": this would be a heading cut; choose a larger lateral")
	}
	return r, nil
}

func classed(lateral, limb, share float64) inventory.CutKind {
	kind, _ := inventory.ClassByLateral(inventory.Some(limb), inventory.Some(lateral), share)
	return kind
}

// solid is a piece of wood: its volume, m³, and first moment about its base, m⁴.
type solid struct{ volume, first float64 }

// tapered is a round solid whose diameter d falls to nothing over a length l as
// d·(1−x/l)^n: ∫ π/4·d²·(1−x/l)^2n·x^k dx for k = 0 and 1.
func tapered(length, diameter, n float64) solid {
	section := math.Pi / 4 * diameter * diameter
	return solid{section * length / (2*n + 1), section * length * length / ((2*n + 1) * (2*n + 2))}
}

// axis divides a limb at a distance from its base into what stays and what goes.
// Where the diameter there was measured, the outer piece tapers from it and the
// inner one runs evenly from the base's diameter to it.
func axis(length, base, cut, diameter, n float64) (inner, outer solid) {
	outer = tapered(length-cut, diameter, n)
	outer.first += outer.volume * cut
	if math.Abs(diameter-base*math.Pow(1-cut/length, n)) <= 1e-12*base {
		whole := tapered(length, base, n)
		return solid{whole.volume - outer.volume, whole.first - outer.first}, outer
	}
	// A frustum of a cone.
	section := math.Pi / 4 * cut
	return solid{
		section * (base*base + base*diameter + diameter*diameter) / 3,
		section * cut * (base*base + 2*base*diameter + 3*diameter*diameter) / 12,
	}, outer
}

func woundCaution(cut, parent float64, q *practice.Pruning) string {
	text := ""
	switch {
	case cut > q.WoundMost.Value:
		text = "the wound is " + cm(cut) + " across, over " + cm(q.WoundMost.Value) + ": cut farther out or give a reason"
	case cut >= q.WoundCaution.Value:
		text = "the wound is " + cm(cut) + " across, from " + cm(q.WoundCaution.Value) + " on a caution"
	}
	if cut > q.WoundParentShare.Value*parent {
		text = joined(text, "the wound is "+percentOf(cut/parent)+" of the limb's base, over "+shareWords(q.WoundParentShare.Value))
	}
	return text
}

func joined(a, b string) string {
	if a == "" {
		return b
	}
	return a + "; " + b
}

// What a limb may measure, metres: wide of every tree, to catch figures in
// centimetres or feet. Assumptions.
const (
	shortestLimb, longestLimb = 0.1, 60
	thinnest, thickest        = 0.001, 3
)

func checkLimb(limb *Limb, at *Lateral) error {
	for _, m := range []struct {
		field, what string
		value       inventory.Opt[float64]
		least, most float64
	}{
		{"length_m", "length of the limb", inventory.Some(limb.Length), shortestLimb, longestLimb},
		{"base_diameter_m", "diameter at the limb's base", inventory.Some(limb.BaseDiameter), thinnest, thickest},
		{"distance_m", "distance of the lateral from the base", inventory.Some(at.Distance), 0, longestLimb},
		{"diameter_m", "diameter of the lateral", inventory.Some(at.Diameter), 0, thickest},
		{"limb_diameter_m", "diameter of the limb at the cut", at.LimbDiameter, thinnest, thickest},
		{"length_m", "length of the lateral", at.Length, 0, longestLimb},
	} {
		if v := m.value.V; m.value.OK && !(v >= m.least && v <= m.most) {
			return inventory.Errorf(inventory.Invalid, "%s (%s): %s, expected %s to %s m (%s to %s cm)", m.what, m.field, bothUnits(v), figure(m.least), figure(m.most), figure(m.least*100), figure(m.most*100))
		}
	}
	if at.Distance >= limb.Length {
		return inventory.Errorf(inventory.Invalid, "distance of the lateral from the base (distance_m): %s, expected less than the limb's length, %s", bothUnits(at.Distance), bothUnits(limb.Length))
	}
	if at.LimbDiameter.OK && at.LimbDiameter.V > limb.BaseDiameter {
		return inventory.Errorf(inventory.Invalid, "diameter of the limb at the cut (limb_diameter_m): %s, expected no more than at its base, %s", bothUnits(at.LimbDiameter.V), bothUnits(limb.BaseDiameter))
	}
	if at.LimbDiameter.OK && at.Diameter > at.LimbDiameter.V*(1+slack) {
		return inventory.Errorf(inventory.Invalid, "diameter of the lateral (diameter_m): %s, expected no more than the limb at the cut (limb_diameter_m), %s: the measures may be swapped, or the lateral leads already and the other is removed", bothUnits(at.Diameter), bothUnits(at.LimbDiameter.V))
	}
	if at.Diameter > limb.BaseDiameter*(1+slack) {
		return inventory.Errorf(inventory.Invalid, "diameter of the lateral (diameter_m): %s, expected no more than the limb at its base (base_diameter_m), %s: the measures may be swapped", bothUnits(at.Diameter), bothUnits(limb.BaseDiameter))
	}
	if a := limb.AngleDeg; a.OK && !(a.V >= -90 && a.V <= 90) {
		return inventory.Errorf(inventory.Invalid, "angle of the limb (angle_deg): %v°, expected -90 to 90 above the horizontal", a.V)
	}
	return nil
}

// bothUnits says a length in metres and in centimetres.
func bothUnits(m float64) string { return figure(m) + " m (" + figure(m*100) + " cm)" }

// Assumptions lists what a reduction takes for granted, each with its source.
func Assumptions(p *practice.Practice) []string {
	q := &p.Pruning
	return []string{
		"green wood of " + figure(q.GreenDensity.Value) + " kg/m³ (" + q.GreenDensity.Source + ")",
		"diameter falls to the tip with the power " + figure(q.LimbTaper.Value) + " of the length that is left (" + q.LimbTaper.Source + ")",
		"the limb is straight and round, and level where no angle is given (assumption)",
		"a lateral nobody measured is as slender as the limb's own end, and goes on in the limb's direction (assumption)",
		"the limb's axis and the one lateral are weighed; other branches and leaves are left out, so that the true moments are larger (assumption)",
		"wind: leafy area goes with length squared and its lever with length (assumption of the drag formula)",
		"moments are of the limb at rest; nothing is said of when it breaks",
	}
}
