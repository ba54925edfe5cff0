// Package programme turns specified work into hours and money, and chooses what
// to do in which year within a budget so as to take off the most expected harm,
// with a proven gap to the best that could be. It is pure.
package programme

import (
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// PlannedVisit is one visit of a candidate's work.
type PlannedVisit struct {
	After    int     // years after the first visit
	Hours    float64 // crew-hours
	Cost     float64 // units of money
	TakesOff float64 // share of the harm still there that it takes off, as the client assumes
}

// Candidate is one tree's work.
type Candidate struct {
	Tree   inventory.TreeID
	Label  string // tag, for messages and for breaking ties
	Group  string // street or area that is worked in together
	Work   practice.Work
	Harm   float64 // expected harm in a year as ranked, before any work
	Visits []PlannedVisit
	// Must is work that has to be done: its first visit by the year DueBy, counted
	// from 0, or as early as there is room after it. MustBy says by what, in words;
	// empty for no more than that.
	Must   bool
	DueBy  int
	MustBy string
	// Earliest is the first year in which it may begin, from 0: growing seasons to
	// wait.
	Earliest int
	// Closed are first years, a bit each, in which it may not begin: some visit
	// would come in a year of which windows leave no day. ClosedBy names them.
	Closed   uint16
	ClosedBy string
	// Pinned is the year that a person put its first visit in. It wins over DueBy.
	Pinned inventory.Opt[int]
}

// Measure is what a budget is given in.
type Measure string

// The measures of a budget.
const (
	Money Measure = "money"
	Hours Measure = "hours"
)

// Problem is what to plan.
type Problem struct {
	Years      int // 1 to MaxYears
	Measure    Measure
	Budget     []float64 // by year, in the measure
	Candidates []Candidate
	// GroupHours and GroupCost are what setting up in a group takes, once for each
	// year in which any of its trees is worked on.
	GroupHours, GroupCost float64
	// Lasts is for how many years the effect of a visit lasts.
	Lasts int
	// OtherHarm is expected harm in a year of trees that are no candidates. It is in
	// what is left of every year, whatever is planned.
	OtherHarm float64

	order []int // of the candidates, see sorted
}

// MayBegin reports whether a candidate's first visit may be in a year, from 0, as
// far as it depends on the candidate alone; what is late may.
func (p *Problem) MayBegin(i, year int) bool {
	c := &p.Candidates[i]
	return year >= c.Earliest && year < p.Years && c.Closed>>year&1 == 0 && (!c.Pinned.OK || c.Pinned.V == year)
}

// MaxYears is the longest programme.
const MaxYears = 10

// NotPlanned is the start of a candidate that is left out.
const NotPlanned = -1

// Year is what a programme does in one year.
type Year struct {
	Trees      int     // whose first visit it is
	Visits     int     // first ones and later ones
	Groups     int     // worked in: so many set-ups
	Hours      float64 // visits and set-ups
	Cost       float64 // of these
	VisitHours float64
	VisitCost  float64
	SetUpHours float64
	SetUpCost  float64
	HarmBefore float64 // expected harm of that year if nothing were done
	HarmLeft   float64 // and with the work done so far; half a year's effect in the year of a visit
	// Used is what is spent of the budget, in its measure, set-ups included, and
	// Over by how much that is more than there is: only in a plan that a person
	// changed.
	Used, Over float64
}

// Plan is a programme: the year of each candidate's first visit.
type Plan struct {
	Method string // how it was made, in words
	Start  []int  // by candidate, NotPlanned for none
	Years  []Year
	// TakenOff is the harm taken off over all years; Bound is what no programme
	// within the budget can exceed, and Gap is (Bound - TakenOff) / Bound. Exact is
	// true where the search was exhausted. Plans that were not solved for have no
	// bound: it and the gap are 0. With candidates in Left or Late the bound is for
	// programmes that have what must be done in the same years.
	TakenOff, Bound, Gap float64
	Exact                bool
	// Left are candidates that must be done or were put in a year by a person, and
	// could not be within the budget in any year that they may be in, in the order
	// of their places. Late are those that are done after they are due.
	Left, Late []int
	// Prices are what one more unit of each year's budget would take off, by the
	// bound (the multipliers of the relaxation); empty where no bound was made.
	Prices []float64
}
