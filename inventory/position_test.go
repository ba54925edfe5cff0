package inventory_test

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// Distances by GeographicLib 2.1's GeodSolve on WGS 84: 100 m to the east and 100 m
// to the north of 25.28° E, 54.68° N end at 25.28155032935° E and 54.68089833027° N.
func TestPositionAtTree(t *testing.T) {
	tree := orb.Point{25.28, 54.68}
	for name, c := range map[string]struct {
		p        inventory.Position
		distance float64
		far      bool
	}{
		"at it":                            {inventory.Position{Longitude: 25.28, Latitude: 54.68, Accuracy: 4}, 0, false},
		"east, sharply":                    {inventory.Position{Longitude: 25.28155032935, Latitude: 54.68, Accuracy: 6}, 100, true},
		"east, where the device is unsure": {inventory.Position{Longitude: 25.28155032935, Latitude: 54.68, Accuracy: 80}, 100, false},
		"north, sharply":                   {inventory.Position{Longitude: 25.28, Latitude: 54.68089833027, Accuracy: 70}, 100, true},
	} {
		far := c.p.AtTree(tree)
		if far != c.far || math.Abs(c.p.FromTree.V-c.distance) > 0.01 {
			t.Errorf("%s: %v m, far %v; expected %v m, %v", name, c.p.FromTree.V, far, c.distance, c.far)
		}
	}
}
