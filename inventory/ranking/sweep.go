package ranking

import (
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// Sweep asks for every standing tree of a site past all targets of the site.
type Sweep struct {
	Site    inventory.Site
	Profile *profile.Profile
	AsOf    time.Time // the day that years are counted to
	// At is the instant whose inventory is read; the latest where it is missing.
	At inventory.Opt[time.Time]
}

// Lot is some trees of a sweep, in the order in which they lie on the ground.
// It belongs to one worker and is used again once the worker is done with it.
type Lot struct {
	Assessor *Assessor
	Trees    []Facts
}

// TreeName is how people know a tree.
type TreeName struct {
	Tree          inventory.TreeID
	Tag, SourceID string
}

// Label is the tag, or the source id where there is none.
func (n TreeName) Label() string {
	if n.Tag != "" {
		return n.Tag
	}
	return n.SourceID
}
