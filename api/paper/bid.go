package paper

import (
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/programme"
)

// BidSheet is the work that bidders are asked to price.
type BidSheet struct {
	Basis
	Title string // of the call, or the package
	Rows  []BidRow
	// Conditions are the client's own, printed before ours.
	Conditions []string
	// Estimate adds a sheet with the client's own hours and cost. It is left out of
	// what goes to bidders.
	Estimate bool
	Currency string // a word such as EUR; empty for units of money
	// GroupHours and GroupCost are what setting up in a package takes, once in each
	// year that there is work in it; read for the client's own estimate only.
	GroupHours, GroupCost float64
}

// BidRow is one visit to one tree.
type BidRow struct {
	Tree        Tree
	Work        practice.Work
	Year, Visit int
	Package     string
	Dose        float64 // share of the live crown at the most
	Text        string  // the instructions in words
	LineInReach bool
	Hours, Cost float64 // the client's own estimate
}

// SiteProgramme is what the report says of a programme.
type SiteProgramme struct {
	Record programme.Record
	Items  []programme.Item
}
