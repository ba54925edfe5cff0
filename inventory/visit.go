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

	// A hollow or decayed column measured in the stem.
	StemDiameter  Opt[float64] // inside the bark, at the height of the measure, metres
	DecayDiameter Opt[float64] // of the decayed or missing wood there, metres
	SoundWall     Opt[float64] // the thinnest sound wall there, metres
	OpeningShare  Opt[float64] // share of the girth that is open, 0 to 1

	OtherPoints Opt[int] // what the visitor adds in a point rating, 0 to 2

	NextOn Opt[time.Time] // when the visitor asked for the next visit
}
