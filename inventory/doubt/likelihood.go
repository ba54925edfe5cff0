package doubt

import (
	"fmt"
	"math"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// Source is how a likelihood was got.
type Source uint8

// The sources, from the surest.
const (
	Judged   Source = iota // by a visit
	Stale                  // by a visit older than the profile's limit
	Inferred               // by a screening rule
	sources
)

// Draw is the index of a spread of likelihoods.
type Draw uint8

// NoDraw leaves a part's likelihood as it is.
const NoDraw Draw = 0

const classes = int(inventory.Imminent) // from Improbable on

// DrawOf returns the draw for a likelihood got from a source, an index of what
// Likelihoods returns. That of Unjudged is NoDraw.
func DrawOf(l inventory.Likelihood, s Source) Draw {
	if l == inventory.Unjudged {
		return NoDraw
	}
	return Draw(int(s)*classes + int(l))
}

// Spread is what may be drawn in place of one: each factor with its share.
type Spread struct {
	Factors []float32 // at most 256
	Shares  []float32 // as many, that sum to 1; kept to 1/4096
}

func (s *Spread) validate() error {
	if len(s.Factors) != len(s.Shares) || len(s.Factors) > 256 {
		return fmt.Errorf("%d factors and %d shares, expected as many of each and at most 256", len(s.Factors), len(s.Shares))
	}
	sum := float32(0)
	for i, f := range s.Factors {
		if !(f >= 0 && f <= math.MaxFloat32 && s.Shares[i] >= 0) {
			return fmt.Errorf("factor %v with share %v, expected numbers from 0", f, s.Shares[i])
		}
		sum += s.Shares[i]
	}
	if len(s.Factors) > 0 && !(math.Abs(float64(sum)-1) < 1e-4) {
		return fmt.Errorf("the shares sum to %v, expected 1", sum)
	}
	return nil
}

// Likelihoods returns the spread of each likelihood from each source, by Draw.
// Its factors are the yearly chance of the class drawn over that of the class
// stated.
func Likelihoods(p *profile.Profile) []Spread {
	out := make([]Spread, 1+int(sources)*classes)
	for s, step := range [...]profile.Step{p.Doubt.Judged, p.Doubt.Stale, p.Doubt.Inferred} {
		for l := inventory.Improbable; l <= inventory.Imminent; l++ {
			out[DrawOf(l, Source(s))] = spread(p, l, step)
		}
	}
	return out
}

// spread walks from a class up and down the scale, each further class with the
// step's chance again; the last class takes what would go beyond it.
func spread(p *profile.Profile, l inventory.Likelihood, step profile.Step) Spread {
	stated := p.Chance(l)
	if stated == 0 {
		return Spread{}
	}
	shares := make([]float64, classes+1)
	shares[l] = 1
	walk := func(chance float64, by int, end inventory.Likelihood) {
		for at := l; at != end; {
			moved := chance
			if at != l {
				moved *= shares[at]
			}
			shares[at] -= moved
			at = inventory.Likelihood(int(at) + by)
			shares[at] = moved
		}
	}
	walk(step.Higher.Value, 1, inventory.Imminent)
	walk(step.Lower.Value, -1, inventory.Improbable)
	var out Spread
	for at := inventory.Improbable; at <= inventory.Imminent; at++ {
		out.Factors = append(out.Factors, float32(p.Chance(at)/stated))
		out.Shares = append(out.Shares, float32(shares[at]))
	}
	return out
}
