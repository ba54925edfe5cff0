package postgres

import (
	"strings"
	"testing"
)

// A fault in what several wait for together is an error to each, with its stack.
// A database that was never opened is fault enough.
func TestFaultsBesideTheAsker(t *testing.T) {
	_, gathered := (&DB{}).gatheredOf(t.Context(), 1, siteState{ID: 1, Generation: 1}, "x")
	_, harms := (&DB{}).harms(t.Context(), 1, siteState{Generation: 1})
	for _, err := range []error{gathered, harms} {
		if err == nil || !strings.Contains(err.Error(), "features.go") {
			t.Error(err)
		}
	}
}
