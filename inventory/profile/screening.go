package profile

import "fmt"

// Screening holds the thresholds of the rules for parts that nobody has judged.
type Screening struct {
	RegrownYears    Number `yaml:"regrown_years"`
	HeavyRegrowth   Number `yaml:"heavy_regrowth_m"`
	ShootRatio      Number `yaml:"shoot_ratio"`      // base of the shoots over the stub they stand on
	ShootRatioWork  Number `yaml:"shoot_ratio_work"` // near which work is to be planned
	LongLimb        Number `yaml:"long_limb_m"`
	BareShare       Number `yaml:"bare_share"`
	WideCut         Number `yaml:"wide_cut_m"`
	CautionCut      Number `yaml:"caution_cut_m"`
	WoundShare      Number `yaml:"wound_share"` // of the diameter of the wood that carries it
	OpenYears       Number `yaml:"open_years"`
	OpenClosure     Number `yaml:"open_closure"`
	LateralShare    Number `yaml:"lateral_share"`
	StaleVisitYears Number `yaml:"stale_visit_years"`
	Lean            Number `yaml:"lean_deg"`
	Cavity          Cavity `yaml:"cavity"`
}

// Cavity holds the limits of the strength-loss formulas for a decayed or hollow
// stem, as shares of the sound section.
type Cavity struct {
	Wagener      Number `yaml:"wagener"`
	CoderCaution Number `yaml:"coder_caution"`
	CoderHazard  Number `yaml:"coder_hazard"`
	WithOpening  Number `yaml:"with_opening"`
	Wall         Number `yaml:"wall"`
	Opening      Number `yaml:"opening"` // share of the girth beyond which the wall rule does not hold
}

// validate checks that what is above in meaning is above in figure.
func (s *Screening) validate() error {
	c := &s.Cavity
	for _, pair := range []struct {
		lower, upper string
		a, b         float64
	}{
		{"shoot_ratio", "shoot_ratio_work", s.ShootRatio.Value, s.ShootRatioWork.Value},
		{"caution_cut_m", "wide_cut_m", s.CautionCut.Value, s.WideCut.Value},
		{"cavity.coder_caution", "cavity.coder_hazard", c.CoderCaution.Value, c.CoderHazard.Value},
	} {
		if pair.a > pair.b {
			return fmt.Errorf("screening.%s: %v is above %s, %v", pair.lower, pair.a, pair.upper, pair.b)
		}
	}
	for _, share := range []struct {
		name  string
		value float64
	}{
		{"bare_share", s.BareShare.Value}, {"wound_share", s.WoundShare.Value}, {"open_closure", s.OpenClosure.Value},
		{"lateral_share", s.LateralShare.Value}, {"cavity.wagener", c.Wagener.Value}, {"cavity.coder_hazard", c.CoderHazard.Value},
		{"cavity.with_opening", c.WithOpening.Value}, {"cavity.wall", c.Wall.Value}, {"cavity.opening", c.Opening.Value},
	} {
		if share.value > 1 {
			return fmt.Errorf("screening.%s: %v: expected a share from 0 to 1", share.name, share.value)
		}
	}
	return nil
}
