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

// YearDocument is a programme's year for programs.
type YearDocument struct {
	Year                int     `json:"year"`
	Trees               int     `json:"trees"`
	Groups              int     `json:"packages"`
	Hours               float64 `json:"crew_hours"`
	Cost                float64 `json:"cost"`
	Budget              float64 `json:"budget"`
	Used                float64 `json:"used"`
	HarmIndexBefore     float64 `json:"harm_index_before"`
	HarmIndexLeft       float64 `json:"harm_index_left"`
	HarmIndexWorstFirst float64 `json:"harm_index_left_worst_first"`
	HarmIndexFlatCycle  float64 `json:"harm_index_left_flat_cycle"`
}

// CycleDocument is what a cycle of some length comes to in the long run.
type CycleDocument struct {
	CycleYears    int      `json:"cycle_years"`
	Hours         float64  `json:"crew_hours_a_year"`
	Cost          float64  `json:"cost_a_year"`
	HarmLeftShare float64  `json:"harm_left_share"`
	MoneyPerTree  *float64 `json:"money_a_tree_and_year"`
}

// ProgrammeDocument is a programme for programs.
type ProgrammeDocument struct {
	ID                inventory.ProgrammeID `json:"programme_id"` // 0 where it is not kept
	Site              string                `json:"site"`
	Name              string                `json:"name"`
	Question          programme.Question    `json:"question"`
	Method            string                `json:"method"`
	Trees             int                   `json:"trees"`
	Planned           int                   `json:"planned"`
	InWork            int                   `json:"in_work"`
	Left              []string              `json:"left"`
	Years             []YearDocument        `json:"years"`
	HarmIndexTakenOff float64               `json:"harm_index_taken_off"`
	HarmIndexBound    float64               `json:"harm_index_bound"`
	Gap               float64               `json:"gap_share"`
	Exact             bool                  `json:"exact"`
	Cycles            []CycleDocument       `json:"cycles"`
	BestCycleYears    *float64              `json:"best_cycle_years"` // by published economics; null where no tree was appraised
	Currency          string                `json:"currency"`
	Profile           string                `json:"profile"`
	ProfileDigest     string                `json:"profile_digest"`
	Practice          string                `json:"practice"`
	PracticeDigest    string                `json:"practice_digest"`
	AsOf              string                `json:"as_of"`
	MadeAt            *time.Time            `json:"made_at"`
	MadeBy            string                `json:"made_by"`
	ProposedAt        *time.Time            `json:"proposed_at"`
	Assumption        string                `json:"assumption"`
	Cautions          string                `json:"cautions"`
}

// EffectAssumption goes with every figure of harm that work takes off.
const EffectAssumption = "How much harm a visit takes off is the client's own assumption, from the practice. It orders work and promises nothing: over 8 years in Rochester NY pruned streets had fewer requests and less priority work, and branch failures alike (Luley et al. 2002)."

// DocumentOf is a programme for programs.
func DocumentOf(r *programme.Record) *ProgrammeDocument {
	out := &ProgrammeDocument{
		ID: r.ID, Site: r.Site.Name, Name: r.Name, Question: r.Question, Method: r.Result.Method, Trees: r.Result.Trees, Planned: r.Result.Planned, InWork: r.Result.InWork,
		Left: r.Result.Left, HarmIndexTakenOff: r.Result.TakenOff * 1000, HarmIndexBound: r.Result.Bound * 1000, Gap: r.Result.Gap, Exact: r.Result.Exact, Currency: r.Result.Currency,
		Profile: r.ProfileName, ProfileDigest: r.ProfileDigest, Practice: r.PracticeName, PracticeDigest: r.PracticeDigest, AsOf: r.AsOf.Format(time.DateOnly),
		MadeBy: r.MadeBy, Assumption: EffectAssumption, Cautions: Cautions, Years: []YearDocument{}, Cycles: []CycleDocument{},
	}
	if out.Left == nil {
		out.Left = []string{}
	}
	if !r.MadeAt.IsZero() {
		out.MadeAt = &r.MadeAt
	}
	if r.ProposedAt.OK {
		out.ProposedAt = &r.ProposedAt.V
	}
	for i, y := range r.Result.Years {
		out.Years = append(out.Years, YearDocument{
			Year: r.Result.FirstYear + i, Trees: y.Trees, Groups: y.Groups, Hours: y.Hours, Cost: y.Cost, Budget: r.Question.Budget[i], Used: y.Used,
			HarmIndexBefore: y.HarmBefore * 1000, HarmIndexLeft: y.HarmLeft * 1000, HarmIndexWorstFirst: r.Result.WorstFirst[i].HarmLeft * 1000, HarmIndexFlatCycle: r.Result.Flat[i].HarmLeft * 1000,
		})
	}
	if c := r.Result.Cycles; c != nil {
		for _, one := range c.Results {
			d := CycleDocument{CycleYears: one.CycleYears, Hours: one.Hours, Cost: one.Cost, HarmLeftShare: one.HarmLeft}
			if one.MoneyPerTree.OK {
				d.MoneyPerTree = &one.MoneyPerTree.V
			}
			out.Cycles = append(out.Cycles, d)
		}
		if c.Best.OK {
			out.BestCycleYears = &c.Best.V
		}
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
	Gates              []inventory.Gate          `json:"gates"`
	Hours              float64                   `json:"crew_hours"`
	Cost               float64                   `json:"cost"`
	Dose               float64                   `json:"dose"`
	OpenDays           string                    `json:"open_days"`
	Quietest           string                    `json:"quietest"`
	HarmIndexBefore    float64                   `json:"harm_index_before"`
	HarmIndexPredicted float64                   `json:"harm_index_predicted"`
	HarmIndexAfter     *float64                  `json:"harm_index_after"`
	Completion         *inventory.Completion     `json:"completion"`
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
