package ranking

import (
	"fmt"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// By is what trees are ordered by.
type By string

// The orders.
const (
	ByHarm     By = "harm"     // expected harm, likelihood and exposure together
	ByExposure By = "exposure" // persons under the crown, likelihood left out
	ByRating   By = "rating"   // the qualitative rating, then harm
)

// Orders lists every order.
var Orders = []By{ByHarm, ByExposure, ByRating}

// ParseBy reads an order.
func ParseBy(s string) (By, error) {
	for _, b := range Orders {
		if s == string(b) {
			return b, nil
		}
	}
	return "", inventory.Errorf(inventory.Invalid, "order by %q: expected harm, exposure or rating", s)
}

// Under is how much of one kind of target lies under a tree.
type Under struct {
	Kind    inventory.TargetKind
	LengthM float64
	AreaM2  float64
	Points  int
	persons float64
}

func (u Under) String() string {
	var parts []string
	if u.AreaM2 > 0 {
		parts = append(parts, figure(u.AreaM2)+" m²")
	}
	if u.LengthM > 0 {
		parts = append(parts, figure(u.LengthM)+" m")
	}
	if u.Points > 0 {
		parts = append(parts, fmt.Sprintf("%d×", u.Points))
	}
	return strings.ReplaceAll(string(u.Kind), "_", " ") + " " + strings.Join(parts, " + ")
}

// figure writes a measure with the digits that mean something.
func figure(v float64) string {
	if v < 0.05 {
		return "<0.1"
	}
	if v < 10 {
		return fmt.Sprintf("%.1f", v)
	}
	return fmt.Sprintf("%.0f", v)
}
