package profile

import (
	"fmt"
	"math"
)

// Calibration is what the yearly chances of failure are held against: how often
// branches of a population of street trees fail, by a published count. It holds
// the order of magnitude; it predicts no tree, and no plan lowers it by a figure
// that anyone has shown.
type Calibration struct {
	BaseRateLow  Number `yaml:"branch_failures_per_1000_low"` // a year
	BaseRateHigh Number `yaml:"branch_failures_per_1000_high"`
	InLeaf       Number `yaml:"in_leaf_factor"` // rate in leaf over rate out of leaf
	// Crown is how an average inventory's crowns divide by likelihood, as shares.
	Crown struct {
		Improbable Number `yaml:"improbable"`
		Possible   Number `yaml:"possible"`
		Probable   Number `yaml:"probable"`
		Imminent   Number `yaml:"imminent"`
	} `yaml:"crown"`
}

// BranchFailuresPer1000 is what the yearly chances come to for 1,000 trees of
// the calibration's average inventory, branches of the crown.
func (p *Profile) BranchFailuresPer1000() float64 {
	share, chance := &p.Calibration.Crown, &p.Weights.Chance
	return 1000 * (share.Improbable.Value*chance.Improbable.Value + share.Possible.Value*chance.Possible.Value +
		share.Probable.Value*chance.Probable.Value + share.Imminent.Value*chance.Imminent.Value)
}

// SeasonChance is the factor on the yearly chance of failure that makes it the
// rate of a season. In and out of leaf are as far apart as the calibration says
// and their mean over the year's days is 1. An evergreen is in leaf all year.
func (p *Profile) SeasonChance(s Season, evergreen bool) float64 {
	if evergreen || s == WholeYear || s == "" {
		return 1
	}
	share, factor := p.Calendar.LeafShare(), p.Calibration.InLeaf.Value
	inLeaf := factor / (share*factor + 1 - share)
	if s == LeafOff {
		return inLeaf / factor
	}
	return inLeaf
}

func (c *Calibration) validate() error {
	if c.BaseRateLow.Value > c.BaseRateHigh.Value {
		return fmt.Errorf("calibration.branch_failures_per_1000_low: %v is above branch_failures_per_1000_high, %v", c.BaseRateLow.Value, c.BaseRateHigh.Value)
	}
	if c.InLeaf.Value <= 0 {
		return fmt.Errorf("calibration.in_leaf_factor: %v: expected more than 0", c.InLeaf.Value)
	}
	if sum := c.Crown.Improbable.Value + c.Crown.Possible.Value + c.Crown.Probable.Value + c.Crown.Imminent.Value; math.Abs(sum-1) > 1e-9 {
		return fmt.Errorf("calibration.crown: the shares add up to %v, expected 1", sum)
	}
	return nil
}
