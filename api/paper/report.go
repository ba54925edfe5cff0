package paper

import (
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/ranking"
)

// SiteReport is the report on a site, for an owner or a council.
type SiteReport struct {
	Basis
	// Trees are all standing trees, in the order of their ranks.
	Trees []ReportTree
	// Top is how many of them are told of one by one with pictures; 0 for DefaultTop.
	Top       int
	Targets   []inventory.Target
	Programme *SiteProgramme // nil where none was made
	// Effect is what the client takes work to do.
	Effect       practice.Effect
	Decisions    *Decisions
	Restorations []RestorationProgress
	Inspections  []Inspection
	Value        *Value // nil where nobody appraised anything
	Notes        []string
}

// DefaultTop is how many trees a report tells of one by one.
const DefaultTop = 20

// ReportTree is one standing tree. Zones and all below Row are read of the top
// trees only.
type ReportTree struct {
	Tree
	Row           ranking.Row
	Paragraph     string // why it stands where it does, in words
	Specification *pruning.Specification
	// Undecided says that somebody qualified has to look before anything is cut.
	Undecided   bool
	Hours, Cost float64  // of all visits of the specification
	Quietest    string   // hours to close the place in
	Notes       []string // such as the balance of the crown or a limb
}

// RestorationProgress is how far the restoration of a tree has come.
type RestorationProgress struct {
	Tag, Species string
	Done, Visits int     // visits done and asked for
	DoseSoFar    float64 // shares of the live crown taken, added up
	Next         int     // calendar year of the next visit; 0 for none
	Note         string
}

// Inspection is a look at a tree that is due, or that never was.
type Inspection struct {
	Tag, Species string
	Due          time.Time
	Never        bool // old bad cuts, and no visit on record; Due is zero
	Overdue      bool
	Why          string
}

// Value is what the standing trees are worth and give, as a person appraised.
type Value struct {
	Trees     int // appraised
	Appraised float64
	Currency  string
	Method    string // and whose ratings
	// Ground under crowns, that under two crowns counted twice: square metres of
	// what is drawn as areas, and metres of what is drawn as lines.
	ShadeParking, ShadeParkingLength float64
	ShadeWalks, ShadeWalksLength     float64 // walks and plazas together
}

// Report writes the report as one HTML document that needs nothing else.
func Report(r *SiteReport) ([]byte, error) { return execute("report", newReportView(r)) }
