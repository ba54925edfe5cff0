// Package risk holds the trade's qualitative method: how likely a part is to
// fail, to strike, and with what consequences, combined by two matrices into
// one rating; and the screening rules that stand in where nobody has judged.
//
// The matrices are standard practice (ANSI A300 Part 9 and its companion
// guide); the cells are checked against a council plan that publishes them.
package risk

import "github.com/underbough/underbough/inventory"

// Impact is how likely a failing part is to strike a target.
type Impact uint8

// The likelihoods of impact.
const (
	VeryLow Impact = iota
	Low
	Medium
	High
)

func (i Impact) String() string { return [...]string{"very low", "low", "medium", "high"}[i] }

// Combined is the likelihood that a part fails and strikes.
type Combined uint8

// The combined likelihoods.
const (
	Unlikely Combined = iota
	SomewhatLikely
	Likely
	VeryLikely
)

func (c Combined) String() string {
	return [...]string{"unlikely", "somewhat likely", "likely", "very likely"}[c]
}

// Consequence is what a strike would do.
type Consequence uint8

// The consequences.
const (
	Negligible Consequence = iota
	Minor
	Significant
	Severe
)

func (c Consequence) String() string {
	return [...]string{"negligible", "minor", "significant", "severe"}[c]
}

// Rating is the result of the method.
type Rating uint8

// The ratings, in order.
const (
	RatingLow Rating = iota
	RatingModerate
	RatingHigh
	RatingExtreme
)

var ratingWords = [...]string{"low", "moderate", "high", "extreme"}

func (r Rating) String() string { return ratingWords[r] }

// failureImpact is the first matrix: rows improbable to imminent, columns
// impact very low to high.
var failureImpact = [4][4]Combined{
	{Unlikely, Unlikely, Unlikely, Unlikely},
	{Unlikely, Unlikely, Unlikely, SomewhatLikely},
	{Unlikely, Unlikely, SomewhatLikely, Likely},
	{Unlikely, SomewhatLikely, Likely, VeryLikely},
}

// combinedConsequence is the second matrix: rows unlikely to very likely,
// columns consequence negligible to severe.
var combinedConsequence = [4][4]Rating{
	{RatingLow, RatingLow, RatingLow, RatingLow},
	{RatingLow, RatingLow, RatingModerate, RatingModerate},
	{RatingLow, RatingModerate, RatingHigh, RatingHigh},
	{RatingLow, RatingModerate, RatingHigh, RatingExtreme},
}

// Combine is the first matrix. An unjudged likelihood combines to Unlikely.
func Combine(l inventory.Likelihood, i Impact) Combined {
	if l == inventory.Unjudged {
		return Unlikely
	}
	return failureImpact[l-inventory.Improbable][i]
}

// Rate is the second matrix.
func Rate(c Combined, q Consequence) Rating { return combinedConsequence[c][q] }
