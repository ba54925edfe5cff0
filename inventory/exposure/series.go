package exposure

import "math"

// The mean of 1 − e^(−n·x) over the factors x of a week is one smooth function
// of the number of persons n. Its series cost a few multiplications where the
// sum over columns costs an exponential each, and lose nothing: seriesTerms
// terms are good to a part in 1e13 as far as a series is used.
const (
	seriesTerms = 12
	// nearZero is how many persons in the busiest hour the series about nobody is
	// used for; it keeps its digits there, which one about another number would
	// not.
	nearZero = 0.1
	// seriesReach is the width, in persons in the busiest hour, of the other
	// series, and seriesCount how many of them there are.
	seriesReach = 1.0
	seriesCount = 64
	// Two weeks have one series about nobody, of all its terms up to pairReach
	// persons in the busiest hour and of few of them nearZero.
	pairTerms, pairTermsNearZero = 16, 8
	pairReach                    = 1.0
)

// pairSeries is the series of two weeks about nobody, by powers of the persons
// of the first and of the second.
type pairSeries [pairTerms + 1][pairTerms + 1]float64

// seriesAt holds one series. That of place 0 is about nobody, by powers of
// persons; that of place i > 0 about (i−½)·seriesReach persons in the busiest
// hour, by powers of what goes beyond. It is made when it is first used.
type seriesAt struct {
	made  bool
	terms [seriesTerms + 1]float64
}

// expand makes room for the series of one week, or works out that of two.
func (f *fold) expand() {
	switch len(f.weeks) {
	case 1:
		f.one = make([]seriesAt, seriesCount+1)
	case 2:
		f.two = new(pairSeries)
		for c, share := range f.shares {
			f.addTwo(f.factors[2*c], f.factors[2*c+1], share)
		}
	}
}

// ofOne is the occupied share of a single week with n persons in the mean of
// its ordinary week and busiest in its busiest hour.
func (f *fold) ofOne(n, busiest float64) float64 {
	at, by := 0, n
	if busiest > nearZero {
		at = 1 + int(busiest/seriesReach)
		by = busiest - (float64(at)-0.5)*seriesReach
	}
	s := &f.one[at]
	if !s.made {
		f.workOut(s, at)
	}
	t := &s.terms
	sum := t[seriesTerms]
	for k := seriesTerms - 1; k >= 0; k-- {
		sum = sum*by + t[k]
	}
	return sum
}

// workOut fills a series about m persons: the mean of 1 − e^(−m·x), then of
// −(−x)^k·e^(−m·x)/k!.
func (f *fold) workOut(s *seriesAt, at int) {
	s.made = true
	most := f.factors[f.peaks[0]]
	for c, share := range f.shares {
		x, about := f.factors[c], 0.0
		if at > 0 {
			// In persons of the busiest hour.
			x /= most
			about = (float64(at) - 0.5) * seriesReach
		}
		s.terms[0] -= share * math.Expm1(-about*x)
		term := -share * math.Exp(-about*x)
		for k := 1; k <= seriesTerms; k++ {
			term *= -x / float64(k)
			s.terms[k] += term
		}
	}
}

// addTwo adds a column to the series of two weeks about nobody: the terms of
// (−1)^(i+j+1)·x^i·z^j/(i!·j!).
func (f *fold) addTwo(x, z, share float64) {
	row := -share
	for i := range pairTerms + 1 {
		term := row
		for j := range pairTerms + 1 - i {
			if i+j > 0 {
				f.two[i][j] += term
			}
			term *= -z / float64(j+1)
		}
		row *= -x / float64(i+1)
	}
}

// ofTwo is the occupied share of two weeks together with a and b persons and
// busiest in their busiest hour.
func (f *fold) ofTwo(a, b, busiest float64) float64 {
	terms := pairTerms
	if busiest <= nearZero {
		terms = pairTermsNearZero
	}
	sum := 0.0
	for i := terms; i >= 0; i-- {
		row := &f.two[i]
		inner := row[terms-i]
		for j := terms - i - 1; j >= 0; j-- {
			inner = inner*b + row[j]
		}
		sum = sum*a + inner
	}
	return sum
}
