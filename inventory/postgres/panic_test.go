package postgres

import (
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/tiling"
)

// A fault in what several wait for together is an error to each, with its stack.
// A database that was never opened is fault enough.
func TestFaultsBesideTheAsker(t *testing.T) {
	layer, _ := inventory.GetTileLayer("exposure")
	r := &tileReader{ctx: t.Context(), db: &DB{}, query: inventory.TileQuery{Client: 1, Layer: layer, State: "x"}, layer: tiling.NewLayer("x")}
	_, gathered := r.gathered()
	_, harms := (&DB{}).harms(t.Context(), 1, siteState{Generation: 1})
	for _, err := range []error{gathered, harms} {
		if err == nil || !strings.Contains(err.Error(), "features.go") {
			t.Error(err)
		}
	}
}
