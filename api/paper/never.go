package paper

import (
	"slices"

	"github.com/underbough/underbough/inventory/pruning"
)

// sharedNot is what is not to be done on any of several trees: it is said once.
// What holds for a single tree is said of it.
func sharedNot(specs []*pruning.Specification) (list []string) {
	first := true
	for _, s := range specs {
		switch {
		case len(s.Visits) == 0: // nothing is done on it
		case first:
			list, first = slices.Clone(s.Not), false
		default:
			list = slices.DeleteFunc(list, func(n string) bool { return !slices.Contains(s.Not, n) })
		}
	}
	if len(specs) < 2 {
		return nil
	}
	return list
}

// without is a list without what is said elsewhere.
func without(list, said []string) []string {
	return slices.DeleteFunc(slices.Clone(list), func(s string) bool { return slices.Contains(said, s) })
}
