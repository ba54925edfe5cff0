package inventory

import (
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
)

// Position is where a device says that it was, as the W3C's Geolocation API has
// it: degrees in WGS 84, and a radius in metres that the true place lies within
// with 95 % confidence (Geolocation, 5.4.1).
type Position struct {
	Longitude float64   `json:"longitude"`
	Latitude  float64   `json:"latitude"`
	Accuracy  float64   `json:"accuracy_m"`
	At        time.Time `json:"at"` // when the device was there
	// FromTree is the distance to the tree as the inventory had it, metres.
	FromTree Opt[float64] `json:"from_tree_m,omitzero"`
}

// besideTree is how far from a tree's point its crew may well stand, metres: under
// the edge of a wide crown, and the point itself may be some metres off. Common
// practice, no source.
const besideTree = 25

// AtTree keeps how far a position is from a tree, and reports whether that is more
// than the device's accuracy and standing beside the tree explain.
func (p *Position) AtTree(tree orb.Point) (far bool) {
	d := geo.DistanceM(orb.Point{p.Longitude, p.Latitude}, tree)
	p.FromTree = Some(d)
	return d > p.Accuracy+besideTree
}

// Asked is the request that something was recorded by: the key that the client
// made for it, and a digest of what it said. The same request again is known by it.
type Asked struct {
	Key    string `json:"key"`
	SHA256 string `json:"sha256"`
}
