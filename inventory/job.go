package inventory

import (
	"encoding/json"
	"time"

	"github.com/paulmach/orb"
)

// The identities of the rows of the programme.
type (
	ProgrammeID     int64
	JobID           int64
	SpecificationID int64
	PhotoID         int64
)

// JobState is how far a job has come.
type JobState string

// The states of a job.
const (
	Proposed  JobState = "proposed"  // a programme put it forward
	Approved  JobState = "approved"  // the owner, or somebody for them, agreed to it
	InHand    JobState = "in hand"   // a crew has it
	Done      JobState = "done"      // the crew says what was cut
	Checked   JobState = "checked"   // somebody else looked at it
	Withdrawn JobState = "withdrawn" // given up or put off, with the reason
)

// JobStates lists every state in its order.
var JobStates = []JobState{Proposed, Approved, InHand, Done, Checked, Withdrawn}

// Gate is something that has to be settled before a job is taken in hand.
type Gate struct {
	Name      string         `json:"name"` // permit, line clearance, nest survey, road closure, …
	Why       string         `json:"why"`
	Cleared   bool           `json:"cleared"`
	By        string         `json:"by,omitempty"`
	On        Opt[time.Time] `json:"on,omitzero"`
	Reference string         `json:"reference,omitempty"` // the number of the permit
}

// Job is one visit to one tree in a programme.
type Job struct {
	ID        JobID
	Client    ClientID
	Site      SiteID
	Tree      TreeID
	Tag       string // of the tree
	Programme ProgrammeID
	Visit     int // of the specification, from 1
	Year      int // calendar year it is planned for
	Package   string
	Work      string
	State     JobState
	Must      bool
	Urgent    bool // a hazard that cannot wait for windows
	Gates     []Gate
	// Specification is the one that the job is of, and SpecificationID its number.
	Specification   json.RawMessage
	SpecificationID SpecificationID
	Hours, Cost     float64
	Dose            float64 // share of the live crown at the most
	// Open are the days of the planned year on which no window closes the work, in
	// words; Quietest the hours to close the place in.
	Open, Quietest string
	// HarmBefore is the tree's expected harm in a year when the job was made,
	// HarmPredicted what the client's assumption leaves of it, and HarmAfter what
	// was computed after the job had been checked.
	HarmBefore, HarmPredicted float64
	HarmAfter                 Opt[float64]
	Completion                *Completion
	Point                     orb.Point
	TreeStatus                TreeStatus // as the inventory has it now; empty where the tree is no longer in it
	MadeAt                    time.Time
	Version                   int
	ChangedAt                 time.Time
	ChangedBy                 string
}

// JobEvent is one step of a job.
type JobEvent struct {
	Job    JobID
	At     time.Time
	By     string
	From   JobState // empty for the first
	To     JobState
	Reason string
}

// MadeCut is a cut that a crew made. Lengths in metres.
type MadeCut struct {
	Kind            CutKind      `json:"kind"` // as the crew calls it
	Count           int          `json:"count,omitempty"`
	Diameter        Opt[float64] `json:"diameter_m,omitzero"`
	LateralDiameter Opt[float64] `json:"lateral_diameter_m,omitzero"`
	StubLength      Opt[float64] `json:"stub_length_m,omitzero"`
	Height          Opt[float64] `json:"height_m,omitzero"`
	Bearing         Opt[float64] `json:"bearing_deg,omitzero"`
	Reach           Opt[float64] `json:"reach_m,omitzero"`
	// OnCut is the old cut whose shoots it was made on; 0 for none.
	OnCut CutID `json:"on_cut,omitempty"`
	// Recorded is the cut that it stands as on the tree's record.
	Recorded CutID `json:"recorded,omitempty"`
	// Gone says that the wood with the old cut was taken off whole.
	Gone bool `json:"gone,omitempty"`
	// RegrowthLeft is the length of the longest shoot left at the old cut.
	RegrowthLeft Opt[float64] `json:"regrowth_left_m,omitzero"`
}

// Deviation is what was done otherwise than specified, and why.
type Deviation struct {
	What   string `json:"what"`
	Reason string `json:"reason"`
}

// Defect is what is wrong with work that was done.
type Defect struct {
	Cut  int    `json:"cut"` // place among the cuts made, from 0; -1 for the work as a whole
	Rule string `json:"rule"`
	What string `json:"what"`
}

// Completion is what a crew records of a job that is done.
type Completion struct {
	On         time.Time    `json:"on"` // the day
	By         string       `json:"by"`
	Cuts       []MadeCut    `json:"cuts"`
	Dose       Opt[float64] `json:"dose,omitzero"`  // share of the live crown taken
	Hours      Opt[float64] `json:"hours,omitzero"` // crew-hours spent
	Deviations []Deviation  `json:"deviations,omitempty"`
	Note       string       `json:"note,omitempty"`
	// Measures after the work, metres.
	Height      Opt[float64] `json:"height_m,omitzero"`
	CrownRadius Opt[float64] `json:"crown_radius_m,omitzero"`
	// Removed says that the tree was taken down.
	Removed bool `json:"removed,omitempty"`
	// Finished says that the work is at its end before its last visit, or at it: of
	// a restoration, that the tree was found restored.
	Finished bool `json:"finished,omitempty"`
	// Position is where the crew's device was; nil where it was left out.
	Position *Position `json:"position,omitempty"`
	// Request is the one that it was recorded by, where that had a key.
	Request *Asked `json:"request,omitempty"`
	// Notices are what whoever checks the work should look at; no defects.
	Notices []string `json:"notices,omitempty"`
	// Defects are what the rules found.
	Defects []Defect `json:"defects,omitempty"`
	// Earlier are the completions of rounds before, which were sent back: cuts that
	// were made stay made.
	Earlier []Completion `json:"earlier,omitempty"`
}

// Rounds lists every completion of the job, the first one first.
func (c *Completion) Rounds() []*Completion {
	out := make([]*Completion, 0, len(c.Earlier)+1)
	for i := range c.Earlier {
		out = append(out, &c.Earlier[i])
	}
	return append(out, c)
}

// Of returns the round that was recorded by the request with this key; nil where
// none was.
func (c *Completion) Of(key string) *Completion {
	if c == nil || key == "" {
		return nil
	}
	for _, r := range c.Rounds() {
		if r.Request != nil && r.Request.Key == key {
			return r
		}
	}
	return nil
}

// TotalDose is the share of the live crown taken over all rounds; missing where no
// round says.
func (c *Completion) TotalDose() (dose Opt[float64]) {
	for _, r := range c.Rounds() {
		if r.Dose.OK {
			dose = Some(dose.V + r.Dose.V)
		}
	}
	return dose
}

// Standing lists the defects of all rounds that no later round has mended: one of
// a cut is mended once the wood with it was taken off.
func (c *Completion) Standing() (out []Defect) {
	gone := make(map[CutID]bool)
	for _, r := range c.Rounds() {
		for i := range r.Cuts {
			if r.Cuts[i].Gone {
				gone[r.Cuts[i].OnCut] = true
			}
		}
	}
	for _, r := range c.Rounds() {
		for _, d := range r.Defects {
			if d.Cut >= 0 && d.Cut < len(r.Cuts) && r.Cuts[d.Cut].Recorded != 0 && gone[r.Cuts[d.Cut].Recorded] {
				continue
			}
			out = append(out, d)
		}
	}
	return out
}

// Photo is a picture that belongs to a job.
type Photo struct {
	ID        PhotoID
	Job       JobID
	Name      string
	MediaType string
	SHA256    string
	Bytes     []byte // nil in lists
	Size      int
	At        time.Time
	By        string
}

// JobQuery asks for jobs, by year, package and tag. Empty conditions hold for
// every job.
type JobQuery struct {
	Client    ClientID
	Site      SiteID
	IDs       []int64
	States    []JobState
	Year      int
	Package   string
	Programme ProgrammeID
	Tree      TreeID
	Trees     []int64
	Limit     int // 0 for all
}

// RegrowthLeft is the length of the longest shoot left at an old cut, metres.
type RegrowthLeft struct {
	Cut    CutID
	Length float64
}

// WorkEffects is what work that was done changes in the inventory.
type WorkEffects struct {
	Cuts     []Cut // made
	Gone     []CutID
	Regrowth []RegrowthLeft
	Visit    Visit
	Removed  bool // the tree was taken down
}

// JobChange is what goes with a change of a job.
type JobChange struct {
	Reason  string
	Effects *WorkEffects // nil where the inventory stays as it is
	Visit   *Visit       // of whoever checked the work; nil for none
}

// NewJob is a job to be made, with its specification.
type NewJob struct {
	Job
	Body json.RawMessage // a specification to be kept; nil where SpecificationID names one
}

// DueVisit is a tree that somebody asked to be looked at again.
type DueVisit struct {
	Tree    TreeID
	Label   string
	Species string
	LastOn  time.Time
	NextOn  time.Time
	// Never is set for a tree that carries old bad cuts and that no visit is on
	// record of; LastOn and NextOn are zero then.
	Never bool
}
