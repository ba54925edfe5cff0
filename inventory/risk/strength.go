package risk

import "fmt"

// The strength-loss formulas of the trade, for screening: a stem of diameter D
// inside the bark with a decayed or hollow column of diameter d, both in one
// unit. They take concentric circles for granted; Kane and Ryan 2004 found each
// to misclassify some real sections. Only the fourth power is the true loss of
// stiffness of a centred round hollow.

// Wagener is the share of strength lost by Wagener 1963: (d/D)³.
func Wagener(decay, stem float64) (float64, error) {
	if err := checkSection(decay, stem); err != nil {
		return 0, err
	}
	q := decay / stem
	return q * q * q, nil
}

// Coder is the share of strength lost by Coder 1989: (d/D)⁴.
func Coder(decay, stem float64) (float64, error) {
	if err := checkSection(decay, stem); err != nil {
		return 0, err
	}
	q := decay / stem
	return q * q * q * q, nil
}

// WithOpening is the share of strength lost where a share of the girth, 0 to 1,
// is open as well, by Smiley and Fraedrich 1992: (d³ + r(D³ − d³)) / D³.
func WithOpening(decay, stem, opening float64) (float64, error) {
	if !(opening >= 0 && opening <= 1) {
		return 0, fmt.Errorf("opening of %v of the girth: expected a share from 0 to 1", opening)
	}
	cube, err := Wagener(decay, stem)
	if err != nil {
		return 0, err
	}
	return cube + opening*(1-cube), nil
}

// WallRatio is t/R: the thinnest sound wall over the stem's radius (Mattheck et
// al. 1994). It says nothing of a stem with more than 120 degrees of its girth
// open, and is disputed for mature trees.
func WallRatio(wall, stem float64) (float64, error) {
	if !(stem > 0) {
		return 0, fmt.Errorf("stem diameter %v: expected more than 0", stem)
	}
	if !(wall >= 0 && wall <= stem/2) {
		return 0, fmt.Errorf("sound wall %v: expected 0 to the stem's radius, %v", wall, stem/2)
	}
	return wall / (stem / 2), nil
}

func checkSection(decay, stem float64) error {
	if !(stem > 0) {
		return fmt.Errorf("stem diameter %v: expected more than 0", stem)
	}
	if !(decay >= 0) {
		return fmt.Errorf("decayed diameter %v: expected 0 or more", decay)
	}
	if decay > stem {
		return fmt.Errorf("decayed diameter %v is larger than the stem's, %v", decay, stem)
	}
	return nil
}
