package mechanics

import (
	"fmt"
	"math"

	"github.com/underbough/underbough/inventory/profile"
)

// Load is the longest shoot in the profile's gust.
type Load struct {
	LeverM   float64 // from the attachment to where the wind's force acts
	SailM2   float64 // leafy area in still air
	ForceN   float64
	MomentNm float64 // at the attachment
	// StressMPa is the bending stress at the attachment: the index.
	StressMPa float64
	// CutMomentNm is on the stub with every shoot as long as the longest and none
	// in another's lee: an upper bound.
	CutMomentNm float64
}

// Stress works out the longest shoot's load. Shoots without a length bear none.
func Stress(r Regrowth, p profile.Mechanics) Load {
	if !(r.Length > 0) {
		return Load{}
	}
	scale := r.Length / p.SailLength.Value
	l := Load{LeverM: p.LeverShare.Value * r.Length, SailM2: p.SailArea.Value * scale * scale}
	l.ForceN = DragForce(p.AirDensity.Value, p.DragCoefficient.Value, l.SailM2, p.Gust.Value) *
		math.Pow(p.Gust.Value/p.DragSpeed.Value, -p.Reconfiguration.Value)
	l.MomentNm = l.ForceN * l.LeverM
	l.CutMomentNm = l.MomentNm * float64(max(r.Count, 1))
	// Without a base diameter there is a moment and no stress.
	l.StressMPa, _ = BendingStress(l.MomentNm, r.BaseDiameter)
	return l
}

// Assumptions lists what a load takes for granted, each with its source.
func Assumptions(p profile.Mechanics) []string {
	say := func(n profile.Number, format string, a ...any) string {
		return fmt.Sprintf(format, a...) + " (" + n.Source + ")"
	}
	growth := "shoots nobody measured lengthen by %.1f m (broadleaf large), %.1f (medium), %.1f (small), %.1f (conifer) or %.1f (unknown) in each of the first years"
	g := &p.Growth
	return []string{
		say(p.Gust, "a gust of %g m/s square to the shoot", p.Gust.Value),
		say(p.AirDensity, "air of %g kg/m³", p.AirDensity.Value),
		say(p.DragCoefficient, "drag coefficient %g", p.DragCoefficient.Value),
		say(p.Reconfiguration, "beyond %g m/s the force grows with speed to the power of %g", p.DragSpeed.Value, 2-p.Reconfiguration.Value),
		say(p.LeverShare, "the force acts at %g of the shoot's length", p.LeverShare.Value),
		say(p.SailArea, "a shoot of %g m has %g m² of leafy area, and area goes with length squared", p.SailLength.Value, p.SailArea.Value),
		say(g.BroadleafLarge, growth, g.BroadleafLarge.Value, g.BroadleafMedium.Value, g.BroadleafSmall.Value, g.Conifer.Value, g.Unknown.Value),
		say(p.HalvingYear, "and from year %g on by half of the year before", p.HalvingYear.Value),
		say(p.MaxEstimate, "to no more than %g m", p.MaxEstimate.Value),
		say(p.ShootSlenderness, "a base nobody measured is the length over %g, and no thicker than the stub", p.ShootSlenderness.Value),
		"the base is round and sound; the shoot's own weight is left out",
		"the stress is compared with nothing: green wood bears about 35 to 60 MPa by species (from memory), a sprout's attachment less by a share that is not published",
	}
}
