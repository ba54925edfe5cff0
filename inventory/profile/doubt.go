package profile

import "fmt"

// Doubt is how far what the engine was told may be from the truth.
type Doubt struct {
	// Standard deviations of the natural logarithm of a target's occupancy.
	OccupancyCounted Number `yaml:"occupancy_counted"`
	OccupancyGiven   Number `yaml:"occupancy_given"`
	OccupancyAssumed Number `yaml:"occupancy_assumed"`
	// Likelihood of failure, by how it was got.
	Judged   Step `yaml:"likelihood_judged"`
	Stale    Step `yaml:"likelihood_stale"`
	Inferred Step `yaml:"likelihood_inferred"`
}

// Step is the chance that a likelihood is really one class higher, and one
// lower; and with the same chance again another one.
type Step struct {
	Higher Number `yaml:"higher"`
	Lower  Number `yaml:"lower"`
}

// maxLogSD is e^2 = 7 times up or down in two cases of three: no place is known
// as badly as that.
const maxLogSD = 2

func (d Doubt) validate() error {
	for _, o := range []struct {
		name string
		Number
	}{
		{"counted", d.OccupancyCounted}, {"given", d.OccupancyGiven}, {"assumed", d.OccupancyAssumed},
	} {
		if o.Value > maxLogSD {
			return fmt.Errorf("doubt.occupancy_%s: %v is a standard deviation of a logarithm, expected at most %d", o.name, o.Value, maxLogSD)
		}
	}
	for _, s := range []struct {
		name string
		Step
	}{
		{"judged", d.Judged}, {"stale", d.Stale}, {"inferred", d.Inferred},
	} {
		if s.Higher.Value+s.Lower.Value > 1 {
			return fmt.Errorf("doubt.likelihood_%s: higher %v and lower %v are together more than 1", s.name, s.Higher.Value, s.Lower.Value)
		}
	}
	return nil
}
