package main

import (
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
)

type reduceCmd struct {
	Length   float64  `required:"" help:"Length of the limb, metres." placeholder:"M"`
	Base     float64  `required:"" help:"Diameter of the limb at its base, centimetres." placeholder:"CM"`
	Lateral  float64  `required:"" help:"Diameter of the lateral that is cut to, centimetres; 0 for none." placeholder:"CM"`
	At       float64  `required:"" help:"Distance of that lateral from the limb's base, metres." placeholder:"M"`
	Limb     *float64 `help:"Diameter of the limb where it is cut, centimetres (default: by the practice's taper)." placeholder:"CM"`
	Angle    *float64 `help:"Angle of the limb above the horizontal, degrees (default: level, the heaviest case)." placeholder:"DEG"`
	Reaching *float64 `help:"Length of the lateral, metres (default: as slender as the limb's own end)." placeholder:"M"`
	Format   string   `default:"text" enum:"text,json" help:"text or json."`
	practiceFlag
}

// Run works out what a reduction to a lateral takes off.
func (r *reduceCmd) Run(c *cli) error {
	k, err := r.practice()
	if err != nil {
		return err
	}
	limb := pruning.Limb{Length: r.Length, BaseDiameter: r.Base / 100, AngleDeg: measure(r.Angle, 1)}
	at := pruning.Lateral{Distance: r.At, Diameter: r.Lateral / 100, LimbDiameter: measure(r.Limb, 0.01), Length: measure(r.Reaching, 1)}
	out, err := pruning.Reduce(limb, at, k)
	if err != nil {
		return err
	}
	if r.Format == "json" {
		return encode(c.stdout, out)
	}
	n := notes{c.stdout, terminalWidth(c.stdout)}
	p := &k.Pruning
	n.say("%s: the lateral is %.2f of the %.1f cm that is cut (a third at least: %s; half: %s)", out.Kind, out.LateralRatio, out.CutDiameter*100, out.Kind, out.PreferredKind)
	n.say("length %.2f m to %.2f m, %.0f %% off", out.LengthBefore, out.LengthAfter, out.LengthShare*100)
	n.say("bending at the base by the limb's own wood: %.0f N·m to %.0f N·m, %.0f %% of before; %.0f N come off", out.MomentBefore, out.MomentAfter, out.MomentShare*100, out.WeightOffN)
	n.say("bending by wind: %.0f %% of before, leafy area with length squared and its lever with length", out.WindShare*100)
	if out.DiameterEstimated {
		n.say("diameter at the cut worked out by taper %.2g (%s)", p.LimbTaper.Value, p.LimbTaper.Source)
	}
	if out.LengthEstimated {
		n.say("length of the lateral taken as slender as the limb's own end")
	}
	if out.AngleAssumed {
		n.say("the limb is taken to be level, the heaviest case")
	}
	n.say("green wood of %.0f kg/m3 (%s)", p.GreenDensity.Value, p.GreenDensity.Source)
	if out.Caution != "" {
		n.say("Caution: %s", out.Caution)
	}
	n.say("")
	return n.cautions()
}

// measure is a flag's figure times a unit, where it was given.
func measure(v *float64, unit float64) inventory.Opt[float64] {
	if v == nil {
		return inventory.Opt[float64]{}
	}
	return inventory.Some(*v * unit)
}
