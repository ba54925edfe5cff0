package question

import (
	"fmt"
	"math"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/ranking"
)

// YearDocument is a programme's year for programs.
type YearDocument struct {
	Year                int     `json:"year"`
	Trees               int     `json:"trees"`        // whose first visit it is
	Visits              int     `json:"visits"`       // first ones and later ones
	Groups              int     `json:"packages"`     // worked in: so many set-ups
	Hours               float64 `json:"crew_hours"`   // visits and set-ups
	Cost                float64 `json:"cost"`         // of these
	VisitHours          float64 `json:"visits_hours"` // what the visits take alone
	VisitCost           float64 `json:"visits_cost"`
	SetUpHours          float64 `json:"setup_hours"` // one for each package
	SetUpCost           float64 `json:"setup_cost"`
	Budget              float64 `json:"budget"`
	Committed           float64 `json:"committed"`         // to jobs approved or in hand before the programme
	Used                float64 `json:"used"`              // by the programme
	Left                float64 `json:"left"`              // of the budget; below 0 where more was committed than there is
	HarmIndexBefore     float64 `json:"harm_index_before"` // of all standing trees, candidates or not
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
	CostPerCent   *float64 `json:"cost_a_year_per_percent_off"` // null where nothing is taken off
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
	Left              []string              `json:"left"` // has to be done and fits no year
	Late              []string              `json:"late"` // has to be done and is done after it is due
	Years             []YearDocument        `json:"years"`
	HarmIndexInWork   float64               `json:"harm_index_in_work"`   // a year, of trees planned around
	HarmUndecided     float64               `json:"harm_index_undecided"` // a year, of trees whose work is a second opinion
	UndecidedShare    float64               `json:"undecided_share"`      // of the harm of all standing trees
	FirstYearShare    float64               `json:"first_year_share"`     // of a budget given once, that a first year begun late has
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
	Notes             []string              `json:"notes"` // what to know before the figures are used
	CyclesNote        string                `json:"cycles_note"`
	LastsYears        int                   `json:"lasts_years"` // that the effect of a visit is assumed to last
	Assumption        string                `json:"assumption"`
	Cautions          string                `json:"cautions"`
}

// EffectAssumption goes with every figure of harm that work takes off.
const EffectAssumption = "How much harm a visit takes off is the client's own assumption, from the practice. It orders work and promises nothing: over 8 years in Rochester NY pruned streets had fewer requests and less priority work, and branch failures alike (Luley et al. 2002)."

// DocumentOf is a programme for programs.
func DocumentOf(r *programme.Record) *ProgrammeDocument {
	out := &ProgrammeDocument{
		ID: r.ID, Site: r.Site.Name, Name: r.Name, Question: r.Question, Method: r.Result.Method, Trees: r.Result.Trees, Planned: r.Result.Planned, InWork: r.Result.InWork,
		Left: r.Result.Left, Late: r.Result.Late, HarmIndexInWork: r.Result.HarmInWork * 1000, HarmUndecided: r.Result.Undecided * 1000, FirstYearShare: r.Result.FirstYearShare, HarmIndexTakenOff: r.Result.TakenOff * 1000, HarmIndexBound: r.Result.Bound * 1000, Gap: r.Result.Gap, Exact: r.Result.Exact, Currency: r.Result.Currency,
		Profile: r.ProfileName, ProfileDigest: r.ProfileDigest, Practice: r.PracticeName, PracticeDigest: r.PracticeDigest, AsOf: r.AsOf.Format(time.DateOnly),
		MadeBy: r.MadeBy, LastsYears: r.Result.Lasts, Assumption: EffectAssumption, Cautions: Cautions, Years: []YearDocument{}, Cycles: []CycleDocument{},
	}
	if out.Left == nil {
		out.Left = []string{}
	}
	if out.Late == nil {
		out.Late = []string{}
	}
	if len(r.Result.Years) > 0 && r.Result.Years[0].HarmBefore > 0 {
		out.UndecidedShare = r.Result.Undecided / r.Result.Years[0].HarmBefore
	}
	if !r.MadeAt.IsZero() {
		out.MadeAt = &r.MadeAt
	}
	if r.ProposedAt.OK {
		out.ProposedAt = &r.ProposedAt.V
	}
	out.years(&r.Result, r.Question.Budget)
	if c := r.Result.Cycles; c != nil {
		for _, one := range c.Results {
			d := CycleDocument{CycleYears: one.CycleYears, Hours: one.Hours, Cost: one.Cost, HarmLeftShare: one.HarmLeft}
			if off := 100 * (1 - one.HarmLeft); off > 1e-9 {
				per := one.Cost / off
				d.CostPerCent = &per
			}
			if one.MoneyPerTree.OK {
				d.MoneyPerTree = &one.MoneyPerTree.V
			}
			out.Cycles = append(out.Cycles, d)
		}
		if c.Best.OK {
			out.BestCycleYears = &c.Best.V
		}
		out.CyclesNote = cyclesNote(c, r.Result.Lasts)
	}
	out.Notes = out.notes()
	return out
}

// years fills the years in.
func (d *ProgrammeDocument) years(r *programme.Result, budget []float64) {
	for i, y := range r.Years {
		committed := 0.0
		if i < len(r.Committed) {
			committed = r.Committed[i]
		}
		d.Years = append(d.Years, YearDocument{
			Year: r.FirstYear + i, Trees: y.Trees, Visits: y.Visits, Groups: y.Groups, Hours: y.Hours, Cost: y.Cost,
			VisitHours: y.VisitHours, VisitCost: y.VisitCost, SetUpHours: y.SetUpHours, SetUpCost: y.SetUpCost,
			Budget: budget[i], Committed: committed, Used: y.Used, Left: rest(budget[i] - committed - y.Used),
			HarmIndexBefore: y.HarmBefore * 1000, HarmIndexLeft: y.HarmLeft * 1000, HarmIndexWorstFirst: r.WorstFirst[i].HarmLeft * 1000, HarmIndexFlatCycle: r.Flat[i].HarmLeft * 1000,
		})
	}
}

// rest is what is left of a budget, without what rounding leaves of one that is used
// up.
func rest(v float64) float64 {
	if math.Abs(v) < 1e-6 {
		return 0
	}
	return v
}

// notes say in sentences what follows from the figures and what they leave out.
func (d *ProgrammeDocument) notes() []string {
	out := []string{}
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if d.Planned == 0 {
		add("Nothing is planned: no work has room in the budget, or none may be done in these years.")
	}
	if d.HarmUndecided > 0 {
		add("A harm index of %s a year, %.0f %% of the whole, waits for a decision: it is of trees whose work is a second opinion, and what is done after that is neither planned nor costed.",
			ranking.Figure(d.HarmUndecided), d.UndecidedShare*100)
	}
	if d.FirstYearShare > 0 && d.FirstYearShare < 1 && len(d.Years) > 0 {
		add("The budget of %d is %.0f %% of a year's, for the days that are left of it; give a budget for each year to set another.", d.Years[0].Year, d.FirstYearShare*100)
	}
	if d.InWork > 0 {
		add("%d trees with jobs approved or in hand are planned around: their jobs are taken from the budget of their year, without set-ups, and their harm index of %s a year stays in the totals, with nothing taken off.",
			d.InWork, ranking.Figure(d.HarmIndexInWork))
	}
	if len(d.Late) > 0 {
		add("%d trees that have to be done are done late: what has to be done goes before everything else, what is due first and then what does most harm before the rest, each in the first year with room.", len(d.Late))
	}
	if len(d.Left) > 0 {
		add("%d trees that have to be done, second opinions by rule among them, fit no year.", len(d.Left))
	}
	return out
}

// cyclesNote says how lengths of cycle are to be compared.
func cyclesNote(c *programme.Cycles, lasts int) string {
	if lasts < 1 {
		return ""
	}
	text := fmt.Sprintf("The effect of a visit is assumed to last %d years: cycles up to that renew it before it ends, leave the same harm, and differ in money alone; longer ones leave trees without it for a time.", lasts)
	if !c.Best.OK {
		text += " What waiting loses in the trees' value is not in it: appraise trees to get the cycle that costs least with that (Milwaukee: about 1 % of condition a year, about 5 years)."
	}
	return text
}
