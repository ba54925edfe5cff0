package programme

import (
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// Question is what a programme was asked for.
type Question struct {
	From    string    `json:"from"` // first day, YYYY-MM-DD; the first year ends with its calendar year
	Years   int       `json:"years"`
	Measure Measure   `json:"measure"`
	Budget  []float64 `json:"budget"`      // by year
	Must    []string  `json:"must"`        // tags of trees that must be done, besides those rated so
	MustDue int       `json:"must_due"`    // years from the first by whose end they must be begun
	Pins    []Pin     `json:"pins"`        // first visits that a person put in a year
	Cycle   int       `json:"cycle"`       // years of the flat cycle it is compared with
	Least   float64   `json:"least_harm"`  // harm index below which trees are left out
	Rated   string    `json:"must_rating"` // trees of this rating or higher must be done; empty for none
}

// Pin is a first visit that a person put in a year.
type Pin struct {
	Tag  string `json:"tag"`
	Year int    `json:"year"` // calendar
}

// Result is what came out.
type Result struct {
	Method     string   `json:"method"`
	Trees      int      `json:"trees"`   // candidates
	Planned    int      `json:"planned"` // with a first visit in one of the years
	FirstYear  int      `json:"first_year"`
	Years      []Year   `json:"years"`
	WorstFirst []Year   `json:"worst_first"`
	Flat       []Year   `json:"flat_cycle"`
	TakenOff   float64  `json:"taken_off"`
	Bound      float64  `json:"bound"`
	Gap        float64  `json:"gap"`
	Exact      bool     `json:"exact"`
	Left       []string `json:"left"`    // labels of trees that must be done and did not fit in any year
	Late       []string `json:"late"`    // and of those that are done after they are due
	InWork     int      `json:"in_work"` // trees with jobs approved or in hand, planned around
	// Committed is what those jobs take of the budget, by year; the programme has the
	// rest. It is empty in programmes that were kept before it was.
	Committed      []float64 `json:"committed"`
	Lasts          int       `json:"lasts"`            // years that the effect of a visit is assumed to last
	FirstYearShare float64   `json:"first_year_share"` // of a budget given once, that the first year has
	HarmInWork     float64   `json:"harm_in_work"`     // expected in a year, of trees planned around
	Undecided      float64   `json:"undecided"`        // expected in a year, of trees whose work is a second opinion
	Cycles         *Cycles   `json:"cycles"`
	Currency       string    `json:"currency"`
}

// Record is a programme as it was made.
type Record struct {
	ID             inventory.ProgrammeID
	Client         inventory.ClientID
	Site           inventory.Site
	Name           string
	Question       Question
	Result         Result
	ProfileName    string
	ProfileDigest  string
	PracticeName   string
	PracticeDigest string
	AsOf           time.Time
	MadeAt         time.Time
	MadeBy         string
	ProposedAt     inventory.Opt[time.Time]
}

// ItemVisit is one visit of an item.
type ItemVisit struct {
	Number   int     `json:"number"`
	Year     int     `json:"year"` // calendar; beyond the programme's last for those that come after it
	Dose     float64 `json:"dose"`
	Hours    float64 `json:"hours"`
	Cost     float64 `json:"cost"`
	TakesOff float64 `json:"takes_off"`
}

// Item is what a programme says of one tree.
type Item struct {
	Tree    inventory.TreeID `json:"tree_id"`
	Label   string           `json:"tag"`
	Species string           `json:"species"`
	Package string           `json:"package"`
	Work    practice.Work    `json:"work"`
	Harm    float64          `json:"harm"`
	Place   int              `json:"place"`      // by harm, from 1
	First   int              `json:"first_year"` // calendar, 0 where left out
	Must    bool             `json:"must"`
	Late    bool             `json:"late"` // after the year that it is due
	Visits  []ItemVisit      `json:"visits"`
	Why     string           `json:"why"`
}
