package programme

import (
	"fmt"
	"math"
)

// BidClass is a class of stem diameter that bids are priced by.
type BidClass struct {
	Index  int    // from 0, the smallest
	Inches string // label
	Cm     string // label
}

// bidClasses is how many there are: up to 6 in, then steps of 6 in, and over 42.
const bidClasses = 8

// BidClassOf returns the class of a stem of dbh metres in steps of 6 inches: to
// 6, 7 to 12, 13 to 18 and so on to 42, and over 42, as bids are commonly asked
// for. The published labels leave the fractions between them open; here a class
// holds what is over its lower edge up to and including its upper one, so 6.0 in
// is in the first, 6.5 in in "7-12" and 12.5 in in "13-18".
func BidClassOf(dbh float64) BidClass {
	inches := math.Round(dbh/0.0254*1e6) / 1e6 // 0.1524 m is 6 in, not a little more
	i := int(math.Ceil(inches/6)) - 1
	i = min(max(i, 0), bidClasses-1)
	c := BidClass{Index: i}
	low, high := 6*i, 6*(i+1)
	switch i {
	case 0:
		c.Inches, c.Cm = "to 6 in", "to 15.2 cm"
	case bidClasses - 1:
		c.Inches, c.Cm = "over 42 in", "over 106.7 cm"
	default:
		c.Inches = fmt.Sprintf("%d-%d in", low+1, high)
		c.Cm = fmt.Sprintf("over %.1f to %.1f cm", float64(low)*2.54, float64(high)*2.54)
	}
	return c
}

// BidClasses lists every class, smallest first.
func BidClasses() []BidClass {
	all := make([]BidClass, bidClasses)
	for i := range all {
		all[i] = BidClassOf((6*float64(i) + 3) * 0.0254)
	}
	return all
}
