// Package pruning says what to cut on a tree and what not: rules that are named,
// sourced and testable, from what is recorded of the tree. It is pure.
package pruning

import (
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// Maturity of a tree, for the limits of dose.
type Maturity string

// The maturities.
const (
	Young       Maturity = "young"
	Established Maturity = "established"
	Mature      Maturity = "mature"
)

// System is the pruning system: how the crown is meant to look.
type System string

// Natural keeps the form of the species; nothing else is specified here.
const Natural System = "natural"

// Fired is a rule that spoke, why in figures, and where it comes from.
type Fired struct {
	Rule   Rule   `json:"rule"`
	Why    string `json:"why"`
	Source string `json:"source"`
}

// Place is where in the crown something is to be done.
type Place string

// The places in the crown.
const (
	AtOldCut   Place = "at the old cut"  // of the item's cut
	LimbEnd    Place = "limb end"        // the outer third of a limb
	LimbInside Place = "inside the limb" // from the trunk to the first foliage
	WholeCrown Place = "whole crown"
	OverTarget Place = "over the place beneath"
	UpperCrown Place = "leader and scaffold"
)

// Places lists every place in the crown.
var Places = []Place{AtOldCut, LimbEnd, LimbInside, WholeCrown, OverTarget, UpperCrown}

// Item is one instruction.
type Item struct {
	// Cut is the kind asked for: removal or reduction, and empty where nothing is
	// cut.
	Cut   inventory.CutKind `json:"cut,omitempty"`
	Place Place             `json:"place"`
	// OnCut is the old cut that it is about; 0 for none.
	OnCut inventory.CutID `json:"on_cut,omitempty"`
	// Where that is: degrees and metres; as recorded of the old cut.
	Bearing inventory.Opt[float64] `json:"bearing_deg,omitzero"`
	Height  inventory.Opt[float64] `json:"height_m,omitzero"`
	Reach   inventory.Opt[float64] `json:"reach_m,omitzero"`
	// Sizes of the wood taken off at the cut, metres; zero where none is said.
	SizeFrom float64 `json:"size_from_m,omitempty"`
	SizeTo   float64 `json:"size_to_m,omitempty"`
	// LateralShare is the least diameter of the lateral cut to, over that of what
	// is removed; zero where there is none.
	LateralShare float64 `json:"lateral_share,omitempty"`
	Text         string  `json:"text"` // the instruction in words
	Rule         Rule    `json:"rule"`
}

// Visit is one of the times that work is done on the tree.
type Visit struct {
	Number     int     `json:"number"`      // from 1
	AfterYears int     `json:"after_years"` // from the first
	Dose       float64 `json:"dose"`        // share of the live crown at the most
	Items      []Item  `json:"items"`
	Goal       string  `json:"goal"` // what it is for, in words
}

// Override is a rule that somebody went against, and why.
type Override struct {
	Rule   Rule      `json:"rule"`
	Breach string    `json:"breach"` // what breaks the rule, in figures
	Reason string    `json:"reason"`
	By     string    `json:"by"`
	At     time.Time `json:"at"`
}

// Specification is the pruning asked for on one tree.
type Specification struct {
	Tree      inventory.TreeID `json:"tree_id"`
	Work      practice.Work    `json:"work"`
	Objective string           `json:"objective"`
	System    System           `json:"system"`
	Maturity  Maturity         `json:"maturity"`
	Stressed  bool             `json:"stressed"`
	DoseCap   float64          `json:"dose_cap"`   // share of the live crown in one season
	DoseTotal float64          `json:"dose_total"` // over all visits
	Visits    []Visit          `json:"visits"`
	Not       []string         `json:"not"`  // what not to do
	Stop      string           `json:"stop"` // when the work is finished; empty where one visit ends it
	// SecondOpinion says why somebody qualified should look before anything is cut;
	// empty where no rule asks for it.
	SecondOpinion string `json:"second_opinion,omitempty"`
	// CycleYears is how long after the last visit the next look is due.
	CycleYears int `json:"cycle_years"`
	// WaitYears is how long after the first visit nothing live is taken yet.
	WaitYears int        `json:"wait_years,omitempty"`
	Note      string     `json:"note,omitempty"` // of the person who changed it
	Rules     []Fired    `json:"rules"`
	Overrides []Override `json:"overrides,omitempty"`
	// PracticeName and PracticeDigest are of the assumptions it rests on.
	PracticeName   string `json:"practice"`
	PracticeDigest string `json:"practice_digest"`
	AsOf           string `json:"as_of"` // the day that years were counted to
}
