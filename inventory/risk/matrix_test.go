package risk_test

import (
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/risk"
)

// The first matrix cell by cell as published in a council's street tree plan
// ("Urban Street Tree Management Plan", page 64); rows from imminent down.
func TestFailureByImpact(t *testing.T) {
	u, s, l, v := risk.Unlikely, risk.SomewhatLikely, risk.Likely, risk.VeryLikely
	want := map[inventory.Likelihood][4]risk.Combined{
		inventory.Imminent:   {u, s, l, v},
		inventory.Probable:   {u, u, s, l},
		inventory.Possible:   {u, u, u, s},
		inventory.Improbable: {u, u, u, u},
	}
	for failure, row := range want {
		for impact, cell := range row {
			if got := risk.Combine(failure, risk.Impact(impact)); got != cell {
				t.Errorf("%v × %v impact: %v, published %v", failure, risk.Impact(impact), got, cell)
			}
		}
	}
}

// The second matrix. The rows 'very likely' and 'unlikely' and the multiset of
// the 16 words (8 low, 4 moderate, 3 high, 1 extreme) are confirmed in the same
// plan; the order within the two middle rows is from memory.
func TestCombinedByConsequence(t *testing.T) {
	lo, mo, hi, ex := risk.RatingLow, risk.RatingModerate, risk.RatingHigh, risk.RatingExtreme
	want := map[risk.Combined][4]risk.Rating{
		risk.VeryLikely:     {lo, mo, hi, ex},
		risk.Likely:         {lo, mo, hi, hi},
		risk.SomewhatLikely: {lo, lo, mo, mo},
		risk.Unlikely:       {lo, lo, lo, lo},
	}
	count := map[risk.Rating]int{}
	for combined, row := range want {
		for consequence, cell := range row {
			got := risk.Rate(combined, risk.Consequence(consequence))
			count[got]++
			if got != cell {
				t.Errorf("%v × %v: %v, published %v", combined, risk.Consequence(consequence), got, cell)
			}
		}
	}
	if count[lo] != 8 || count[mo] != 4 || count[hi] != 3 || count[ex] != 1 {
		t.Errorf("words %v, published 8 low, 4 moderate, 3 high, 1 extreme", count)
	}
}

// Worked combinations of the method (derived from the two published matrices).
func TestWorkedRatings(t *testing.T) {
	for _, c := range []struct {
		failure     inventory.Likelihood
		impact      risk.Impact
		consequence risk.Consequence
		want        risk.Rating
	}{
		{inventory.Imminent, risk.High, risk.Severe, risk.RatingExtreme},
		{inventory.Probable, risk.High, risk.Severe, risk.RatingHigh},
		{inventory.Probable, risk.Medium, risk.Severe, risk.RatingModerate},
		{inventory.Possible, risk.High, risk.Severe, risk.RatingModerate},
		{inventory.Imminent, risk.Low, risk.Significant, risk.RatingModerate},
		{inventory.Imminent, risk.Medium, risk.Minor, risk.RatingModerate},
		{inventory.Improbable, risk.High, risk.Severe, risk.RatingLow},
		{inventory.Imminent, risk.High, risk.Negligible, risk.RatingLow},
		{inventory.Probable, risk.Low, risk.Severe, risk.RatingLow},
		{inventory.Imminent, risk.VeryLow, risk.Severe, risk.RatingLow},
	} {
		if got := risk.Rate(risk.Combine(c.failure, c.impact), c.consequence); got != c.want {
			t.Errorf("%v, %v, %v: %v, expected %v", c.failure, c.impact, c.consequence, got, c.want)
		}
	}
}

// What follows from the two published matrices, over all 64 cells: improbable is
// never above low, extreme has one way to it, possible is moderate at most, and
// a very low likelihood of impact is always low.
func TestWhatTheMatricesNeverSay(t *testing.T) {
	extremes := 0
	for l := inventory.Improbable; l <= inventory.Imminent; l++ {
		for i := risk.VeryLow; i <= risk.High; i++ {
			for q := risk.Negligible; q <= risk.Severe; q++ {
				got := risk.Rate(risk.Combine(l, i), q)
				if l == inventory.Improbable && got != risk.RatingLow {
					t.Errorf("improbable, %v, %v: %v", i, q, got)
				}
				if l == inventory.Possible && got > risk.RatingModerate {
					t.Errorf("possible, %v, %v: %v", i, q, got)
				}
				if i == risk.VeryLow && got != risk.RatingLow {
					t.Errorf("%v, very low, %v: %v", l, q, got)
				}
				if got == risk.RatingExtreme {
					extremes++
					if l != inventory.Imminent || i != risk.High || q != risk.Severe {
						t.Errorf("%v, %v, %v is extreme", l, i, q)
					}
				}
			}
		}
	}
	if extremes != 1 {
		t.Errorf("%d ways to extreme, expected 1", extremes)
	}
}
