package ranking

import (
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// Facts is what the inventory knows of one tree.
type Facts struct {
	Tree   inventory.Tree
	Cuts   []inventory.Cut
	Visits []inventory.Visit // in order of their day
}

// FactsQuery asks for standing trees with their cuts and visits, in the order
// of their ids. Empty conditions hold for every tree.
type FactsQuery struct {
	Client inventory.ClientID
	Sites  []string // names
	Tags   []string
	Trees  []int64
	Cut    int64       // carrying this cut; 0 for any
	Boxes  []orb.Bound // standing in any of these, degrees
	From   inventory.TreeID
	Limit  int
}

// SiteBox is a box on a site, degrees.
type SiteBox struct {
	Site inventory.SiteID
	orb.Bound
}
