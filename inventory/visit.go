package inventory

import "time"

// Likelihood is how likely a part is to fail within the time frame of an
// assessment, in the four words of the qualitative method.
type Likelihood uint8

// The likelihoods, in order. Unjudged means that nobody and no rule has said.
const (
	Unjudged Likelihood = iota
	Improbable
	Possible
	Probable
	Imminent
)

var likelihoodWords = [...]string{"", "improbable", "possible", "probable", "imminent"}

func (l Likelihood) String() string { return likelihoodWords[l] }

// ParseLikelihood reads one of the four words; the empty text is Unjudged.
func ParseLikelihood(s string) (Likelihood, bool) {
	for i, w := range likelihoodWords {
		if s == w {
			return Likelihood(i), true
		}
	}
	return Unjudged, false
}

// Visit is what someone saw on a day. Visits are added, never overwritten.
type Visit struct {
	ID       VisitID
	Tree     TreeID
	SourceID string
	On       time.Time // the day
	By       string    // who looked, with qualification where given

	Condition string
	// How likely each part was judged to fail; Unjudged where the visit is
	// silent about a part.
	WholeTree, Crown, Limb Likelihood
	Note                   string

	DBH, Height, CrownRadius Opt[float64] // measures taken, metres
}
