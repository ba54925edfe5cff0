package question

import (
	"encoding/json"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/pruning"
)

// SpecifiedDocument is a specification for programs.
type SpecifiedDocument struct {
	Site           string                `json:"site"`
	Tag            string                `json:"tag"`
	Tree           inventory.TreeID      `json:"tree_id"`
	Species        string                `json:"species"`
	Specification  pruning.Specification `json:"specification"`
	ByPerson       bool                  `json:"by_person"` // somebody changed it; else rules made it
	Package        string                `json:"package"`
	VisitCost      programme.Cost        `json:"visit_cost"`
	Currency       string                `json:"currency"`
	OpenDays       string                `json:"open_days"` // within a year
	Closed         []ClosedDocument      `json:"closed"`
	Quietest       string                `json:"quietest"`
	Progress       pruning.Progress      `json:"progress"`
	Balance        *pruning.Asymmetry    `json:"balance"` // null where the crown was not measured by bearing
	History        []KeptDocument        `json:"history"`
	HarmIndex      float64               `json:"harm_index"`
	TakesOffShare  float64               `json:"takes_off_share"` // of the harm, a visit, as the client assumes
	Practice       string                `json:"practice"`
	PracticeDigest string                `json:"practice_digest"`
	WindowsNote    string                `json:"windows_note"`
	Cautions       string                `json:"cautions"`
}

// ClosedDocument is a run of days that windows close.
type ClosedDocument struct {
	From    string   `json:"from"`
	To      string   `json:"to"`
	Windows []string `json:"windows"` // name and reason
}

// KeptDocument is a specification that was kept.
type KeptDocument struct {
	ID       inventory.SpecificationID `json:"specification_id"`
	ByPerson bool                      `json:"by_person"`
	MadeAt   time.Time                 `json:"made_at"`
	MadeBy   string                    `json:"made_by"`
}

// Document is the specification for programs.
func (s *Specified) Document(b *Basis) *SpecifiedDocument {
	out := &SpecifiedDocument{
		Site: b.Site.Name, Tag: s.Label(), Tree: s.Tree.ID, Species: s.Tree.Species, Specification: s.Spec, ByPerson: s.Kept != 0, Package: s.Street,
		VisitCost: s.Cost, Currency: b.Practice.Rates.Currency, OpenDays: s.OpenDays(), Closed: []ClosedDocument{}, Quietest: s.Quiet, Progress: s.Progress, History: []KeptDocument{},
		HarmIndex: s.Result.Harm * 1000, TakesOffShare: b.Practice.Effect.TakesOff[s.Spec.Work].Value, Practice: b.Practice.Name, PracticeDigest: b.Practice.Digest,
		WindowsNote: b.Practice.Windows.Note, Cautions: Cautions,
	}
	for _, c := range s.Openings.Closed {
		d := ClosedDocument{From: c.From.Format(time.DateOnly), To: c.To.Format(time.DateOnly)}
		for _, w := range c.Windows {
			text := w.Name + ": " + w.Reason
			if w.Unsure != "" {
				text += " (" + w.Unsure + ")"
			}
			d.Windows = append(d.Windows, text)
		}
		out.Closed = append(out.Closed, d)
	}
	if a, ok := BalanceOf(&s.Tree); ok {
		out.Balance = &a
	}
	for _, k := range s.History {
		out.History = append(out.History, KeptDocument{k.ID, k.ByPerson, k.MadeAt, k.MadeBy})
	}
	return out
}

// JobDocument is a job for programs, with its steps.
type JobDocument struct {
	ID                 inventory.JobID           `json:"job_id"`
	Site               string                    `json:"site"`
	Tree               inventory.TreeID          `json:"tree_id"`
	Tag                string                    `json:"tag"`
	Programme          *inventory.ProgrammeID    `json:"programme_id"`
	SpecificationID    inventory.SpecificationID `json:"specification_id"`
	Specification      json.RawMessage           `json:"specification"`
	Visit              int                       `json:"visit"`
	Year               int                       `json:"year"`
	Package            string                    `json:"package"`
	Work               string                    `json:"work"`
	State              inventory.JobState        `json:"state"`
	Next               []inventory.JobState      `json:"next_states"`
	Must               bool                      `json:"must"`
	Urgent             bool                      `json:"urgent"`
	TreeStatus         inventory.TreeStatus      `json:"tree_status"` // as the inventory has it now; empty where the tree is no longer in it
	Gates              []inventory.Gate          `json:"gates"`
	Hours              float64                   `json:"crew_hours"`
	Cost               float64                   `json:"cost"`
	Dose               float64                   `json:"dose"`
	OpenDays           string                    `json:"open_days"`
	Quietest           string                    `json:"quietest"`
	HarmIndexBefore    float64                   `json:"harm_index_before"`
	HarmIndexPredicted float64                   `json:"harm_index_predicted"`
	HarmIndexAfter     *float64                  `json:"harm_index_after"`
	Completion         *inventory.Completion     `json:"completion"`       // the last round, with the earlier ones
	Defects            []inventory.Defect        `json:"standing_defects"` // of all rounds, that no later one mended
	Version            int                       `json:"version"`
	ChangedAt          time.Time                 `json:"changed_at"`
	ChangedBy          string                    `json:"changed_by"`
	Steps              []StepDocument            `json:"steps"`
	Photos             []PhotoDocument           `json:"photos"`
	Cautions           string                    `json:"cautions"`
}

// StepDocument is a step of a job.
type StepDocument struct {
	At     time.Time          `json:"at"`
	By     string             `json:"by"`
	From   inventory.JobState `json:"from"` // empty for the first
	To     inventory.JobState `json:"to"`
	Reason string             `json:"reason"`
}

// PhotoDocument is a picture of a job, without its bytes.
type PhotoDocument struct {
	ID        inventory.PhotoID `json:"photo_id"`
	Name      string            `json:"name"`
	MediaType string            `json:"media_type"`
	SHA256    string            `json:"sha256"`
	Bytes     int               `json:"bytes"`
	At        time.Time         `json:"at"`
	By        string            `json:"by"`
}

// JobDocumentOf is a job for programs.
func JobDocumentOf(j *inventory.Job, site string, events []inventory.JobEvent, photos []inventory.Photo) *JobDocument {
	out := &JobDocument{
		ID: j.ID, Site: site, Tree: j.Tree, Tag: j.Tag, SpecificationID: j.SpecificationID, Specification: j.Specification, Visit: j.Visit, Year: j.Year, Package: j.Package,
		Work: j.Work, State: j.State, Next: j.NextStates(), Must: j.Must, Gates: j.Gates, Hours: j.Hours, Cost: j.Cost, Dose: j.Dose, OpenDays: j.Open, Quietest: j.Quietest,
		HarmIndexBefore: j.HarmBefore * 1000, HarmIndexPredicted: j.HarmPredicted * 1000, Completion: j.Completion, Version: j.Version, ChangedAt: j.ChangedAt, ChangedBy: j.ChangedBy,
		Steps: []StepDocument{}, Photos: []PhotoDocument{}, Cautions: Cautions,
	}
	out.Urgent, out.TreeStatus, out.Defects = j.Urgent, j.TreeStatus, []inventory.Defect{}
	if j.Completion != nil {
		out.Defects = append(out.Defects, j.Completion.Standing()...)
	}
	if out.Gates == nil {
		out.Gates = []inventory.Gate{}
	}
	if j.Programme != 0 {
		out.Programme = &j.Programme
	}
	if j.HarmAfter.OK {
		after := j.HarmAfter.V * 1000
		out.HarmIndexAfter = &after
	}
	for _, e := range events {
		if e.Job == j.ID {
			out.Steps = append(out.Steps, StepDocument{e.At, e.By, e.From, e.To, e.Reason})
		}
	}
	for _, p := range photos {
		if p.Job == j.ID {
			out.Photos = append(out.Photos, PhotoDocument{p.ID, p.Name, p.MediaType, p.SHA256, p.Size, p.At, p.By})
		}
	}
	return out
}
