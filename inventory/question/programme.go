package question

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/risk"
	"github.com/underbough/underbough/inventory/season"
)

// ProgrammeStore keeps programmes.
type ProgrammeStore interface {
	WorkStore
	FindAppraisals(ctx context.Context, site inventory.Site) ([]inventory.KeptAppraisal, error)
	SaveProgramme(ctx context.Context, r *programme.Record, p *profile.Profile, k *practice.Practice, items []programme.Item) error
	FindProgrammes(ctx context.Context, client inventory.ClientID, site inventory.SiteID) ([]programme.Record, error)
	GetProgramme(ctx context.Context, client inventory.ClientID, id inventory.ProgrammeID) (programme.Record, []programme.Item, error)
}

// Planned is a programme with all that it was made from.
type Planned struct {
	Record  programme.Record
	Items   []programme.Item // by first year, package and place; those left out last
	Trees   []WorkTree
	Problem *programme.Problem
	Plan    *programme.Plan
}

// Plan works out a programme, without keeping it.
func Plan(ctx context.Context, store ProgrammeStore, b *Basis, q programme.Question) (*Planned, error) {
	from, err := checkQuestion(&q)
	if err != nil {
		return nil, err
	}
	trees, err := WorkTrees(ctx, store, b)
	if err != nil {
		return nil, err
	}
	value, err := meanValue(ctx, store, b)
	if err != nil {
		return nil, err
	}
	return plan(ctx, b, q, from, trees, value)
}

// meanValue is what the trees that were appraised are worth on the average.
func meanValue(ctx context.Context, store ProgrammeStore, b *Basis) (float64, error) {
	list, err := store.FindAppraisals(ctx, b.Site)
	if err != nil || len(list) == 0 {
		return 0, err
	}
	sum := 0.0
	for i := range list {
		sum += list[i].Value
	}
	return sum / float64(len(list)), nil
}

func plan(ctx context.Context, b *Basis, q programme.Question, from time.Time, trees []WorkTree, value float64) (*Planned, error) {
	m := &maker{Basis: b, q: q, from: from, trees: trees, value: value}
	if err := m.candidates(); err != nil {
		return nil, err
	}
	solved, err := programme.Solve(ctx, &m.problem)
	if err != nil {
		return nil, err
	}
	out := &Planned{Trees: trees, Problem: &m.problem, Plan: solved, Items: m.items(solved)}
	out.Record = programme.Record{
		Client: b.Site.Client, Site: b.Site, Question: q, AsOf: b.AsOf,
		ProfileName: b.Profile.Name, ProfileDigest: b.Profile.TextDigest(), PracticeName: b.Practice.Name, PracticeDigest: b.Practice.Digest,
	}
	out.Record.Result, err = m.result(solved)
	return out, err
}

// MakeProgramme works out a programme and keeps it.
func MakeProgramme(ctx context.Context, store ProgrammeStore, b *Basis, name, by string, q programme.Question) (*Planned, error) {
	if strings.TrimSpace(name) == "" || len(name) > 200 {
		return nil, inventory.Errorf(inventory.Invalid, "the programme's name %q: expected 1 to 200 bytes", name)
	}
	p, err := Plan(ctx, store, b, q)
	if err != nil {
		return nil, err
	}
	p.Record.Name, p.Record.MadeBy = name, by
	return p, store.SaveProgramme(ctx, &p.Record, b.Profile, b.Practice, p.Items)
}

// checkQuestion fills in what was left out and reports what cannot be.
func checkQuestion(q *programme.Question) (time.Time, error) {
	from, err := time.Parse(time.DateOnly, q.From)
	if err != nil {
		return from, inventory.Errorf(inventory.Invalid, "from %q: expected the programme's first day, such as 2027-01-01", q.From)
	}
	if from.Year() < 1950 || from.Year() > 2150 {
		return from, inventory.Errorf(inventory.Invalid, "from %s: expected a day of the years 1950 to 2150", q.From)
	}
	if q.Years < 1 || q.Years > programme.MaxYears {
		return from, inventory.Errorf(inventory.Invalid, "years: %d, expected 1 to %d", q.Years, programme.MaxYears)
	}
	if q.Measure != programme.Money && q.Measure != programme.Hours {
		return from, inventory.Errorf(inventory.Invalid, "measure %q: expected %s or %s", q.Measure, programme.Money, programme.Hours)
	}
	switch len(q.Budget) {
	case 1:
		for len(q.Budget) < q.Years {
			q.Budget = append(q.Budget, q.Budget[0])
		}
	case q.Years:
	default:
		return from, inventory.Errorf(inventory.Invalid, "budget: %d figures for %d years: give one for every year, or one for all", len(q.Budget), q.Years)
	}
	if q.Cycle == 0 {
		q.Cycle = 5
	}
	if q.Cycle < 1 || q.Cycle > 50 {
		return from, inventory.Errorf(inventory.Invalid, "cycle: %d years, expected 1 to 50", q.Cycle)
	}
	if q.MustDue < 0 || q.MustDue >= q.Years {
		return from, inventory.Errorf(inventory.Invalid, "must_due: %d, expected 0 for the first year up to %d for the last", q.MustDue, q.Years-1)
	}
	if _, ok := gradeOf(q.Rated); q.Rated != "" && !ok {
		return from, inventory.Errorf(inventory.Invalid, "must_rating %q: expected moderate, high or extreme", q.Rated)
	}
	return from, nil
}

// gradeOf is the grade of a rating's word.
func gradeOf(word string) (risk.Grade, bool) {
	for g := risk.Grade(risk.RatingLow); g <= risk.Grade(risk.RatingExtreme); g++ {
		if g.String() == word {
			return g, true
		}
	}
	return 0, false
}

// cyclesCompared are the lengths of cycle that a programme is asked about, years.
var cyclesCompared = []int{4, 5, 7}

// maker turns trees into candidates and a plan into items.
type maker struct {
	*Basis
	q       programme.Question
	from    time.Time
	trees   []WorkTree
	problem programme.Problem
	of      []int // the tree of each candidate, by place
	visits  [][]programme.ItemVisit
	offset  []int // visits of each candidate's specification that are done already
	inWork  int
	byHarm  map[inventory.TreeID]int
	value   float64 // of a tree on the average, of those appraised; 0 for none
}

// candidates lists all work that could be done. Trees with a job that is approved
// or in hand are planned around: their jobs take from the budget of their year.
func (m *maker) candidates() error {
	m.problem = programme.Problem{
		Years: m.q.Years, Measure: m.q.Measure, Budget: slices.Clone(m.q.Budget), Lasts: int(m.Practice.Effect.Lasts.Value),
		GroupHours: m.Practice.Rates.GroupHours.Value, GroupCost: m.Practice.Rates.GroupHours.Value * m.Practice.Rates.CrewHourCost.Value,
	}
	musts, pins, err := m.named()
	if err != nil {
		return err
	}
	least, rated := gradeOf(m.q.Rated)
	calendar := season.NewCalendar(&m.Practice.Windows, m.from, yearEnd(m.from))
	m.rank()
	for i := range m.trees {
		t := &m.trees[i]
		if len(t.Open) > 0 {
			m.planAround(t)
			continue
		}
		if t.Result.Harm*1000 < m.q.Least && t.Spec.SecondOpinion == "" && !musts[t.Tree.ID] {
			continue
		}
		c, visits, done, ok := m.candidate(t, calendar)
		if !ok {
			continue
		}
		if musts[t.Tree.ID] || rated && t.Result.Score.Rating >= least || c.Work == practice.SecondOpinion {
			c.Must, c.DueBy = true, max(m.q.MustDue, c.Earliest)
			if c.DueBy >= m.q.Years {
				c.Must = false // due after the programme
			}
		}
		if year, ok := pins[t.Tree.ID]; ok {
			c.Pinned = inventory.Some(year)
			c.Earliest = min(c.Earliest, year)
		}
		m.problem.Candidates = append(m.problem.Candidates, c)
		m.of, m.visits, m.offset = append(m.of, i), append(m.visits, visits), append(m.offset, done)
	}
	return nil
}

// rank gives each tree its place by harm.
func (m *maker) rank() {
	order := make([]int, len(m.trees))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		x, y := &m.trees[a], &m.trees[b]
		return cmp.Or(cmp.Compare(y.Result.Harm, x.Result.Harm), strings.Compare(x.Label(), y.Label()), cmp.Compare(x.Tree.ID, y.Tree.ID))
	})
	m.byHarm = make(map[inventory.TreeID]int, len(order))
	for place, i := range order {
		m.byHarm[m.trees[i].Tree.ID] = place + 1
	}
}

// named finds the trees that the question names.
func (m *maker) named() (musts map[inventory.TreeID]bool, pins map[inventory.TreeID]int, err error) {
	if len(m.q.Must) == 0 && len(m.q.Pins) == 0 {
		return nil, nil, nil
	}
	byLabel := make(map[string][]inventory.TreeID)
	for i := range m.trees {
		t := &m.trees[i]
		byLabel[t.Label()] = append(byLabel[t.Label()], t.Tree.ID)
	}
	find := func(what, label string) (inventory.TreeID, error) {
		if n := len(byLabel[label]); n != 1 {
			return 0, inventory.Errorf(inventory.NotFound, "%s %q: %d standing trees of site %q have that tag, expected one", what, label, n, m.Site.Name)
		}
		return byLabel[label][0], nil
	}
	musts, pins = make(map[inventory.TreeID]bool), make(map[inventory.TreeID]int)
	for _, label := range m.q.Must {
		id, err := find("must", label)
		if err != nil {
			return nil, nil, err
		}
		musts[id] = true
	}
	for _, pin := range m.q.Pins {
		id, err := find("pin", pin.Tag)
		if err != nil {
			return nil, nil, err
		}
		year := pin.Year - m.from.Year()
		if year < 0 || year >= m.q.Years {
			return nil, nil, inventory.Errorf(inventory.Invalid, "pin %q: the year %d is not one of the programme's, %d to %d", pin.Tag, pin.Year, m.from.Year(), m.from.Year()+m.q.Years-1)
		}
		pins[id] = year
	}
	return musts, pins, nil
}

// planAround takes what jobs agreed to need out of their years' budgets.
func (m *maker) planAround(t *WorkTree) {
	m.inWork++
	for _, j := range t.Open {
		year := max(j.Year-m.from.Year(), 0)
		if year >= m.q.Years {
			continue
		}
		spent := j.Cost
		if m.q.Measure == programme.Hours {
			spent = j.Hours
		}
		m.problem.Budget[year] = max(0, m.problem.Budget[year]-spent)
	}
}

// candidate is the work still to come on a tree; ok is false where none is.
func (m *maker) candidate(t *WorkTree, calendar *season.Calendar) (c programme.Candidate, visits []programme.ItemVisit, done int, ok bool) {
	s := &t.Spec
	earliest, done := m.earliest(t)
	if done >= len(s.Visits) {
		return c, nil, done, false
	}
	cost := m.CostOf(t)
	c = programme.Candidate{Tree: t.Tree.ID, Label: t.Label(), Group: t.Street, Work: s.Work, Harm: t.Result.Harm, Earliest: earliest}
	first := s.Visits[done].AfterYears
	for k := done; k < len(s.Visits); k++ {
		v := programme.PlannedVisit{After: s.Visits[k].AfterYears - first, Hours: cost.Hours, Cost: cost.Cost, TakesOff: m.Practice.Effect.TakesOff[s.Work].Value}
		c.Visits = append(c.Visits, v)
		visits = append(visits, programme.ItemVisit{Number: k + 1, Dose: s.Visits[k].Dose, Hours: v.Hours, Cost: v.Cost, TakesOff: v.TakesOff})
	}
	if c.Earliest == 0 && len(calendar.Openings(seasonCase(t, done+1)).Open) == 0 {
		c.Earliest = 1
	}
	return c, visits, done, c.Earliest < m.q.Years
}

// seasonCase is a visit's work, for the windows. visit counts from 1.
func seasonCase(t *WorkTree, visit int) season.Case {
	return season.Case{Species: t.Tree.Species, Over: t.OverKinds(), TakesLive: t.Spec.Visits[visit-1].Dose > 0}
}

// earliest is the first year in which work on the tree may begin, and how many
// visits of its specification are done.
func (m *maker) earliest(t *WorkTree) (year, done int) {
	r := &t.Round
	if len(r.Jobs) == 0 {
		return 0, 0
	}
	last, from := r.Last().Year(), m.from.Year()
	switch {
	case r.Underway() && r.Spec.Work == t.Spec.Work && r.Next() < len(t.Spec.Visits):
		done = r.Next()
		wait := t.Spec.Visits[done].AfterYears - t.Spec.Visits[done-1].AfterYears
		return max(0, last+max(wait, 1)-from), done
	case r.Spec.Work == practice.SecondOpinion && t.Spec.Work != practice.SecondOpinion:
		return max(0, last-from), 0
	}
	// The tree comes again when its natural cycle does.
	return max(0, last+naturalCycle(&t.Spec, &m.Practice.Cycle)-from), 0
}

// items says what the plan does with each tree.
func (m *maker) items(p *programme.Plan) []programme.Item {
	out := make([]programme.Item, len(p.Start))
	for i := range p.Start {
		c, t := &m.problem.Candidates[i], &m.trees[m.of[i]]
		item := programme.Item{
			Tree: c.Tree, Label: c.Label, Species: t.Tree.Species, Package: c.Group, Work: c.Work, Harm: c.Harm, Place: m.byHarm[c.Tree],
			Must: c.Must, Visits: slices.Clone(m.visits[i]), Why: programme.Why(&m.problem, p, i),
		}
		if p.Start[i] != programme.NotPlanned {
			item.First = m.from.Year() + p.Start[i]
		}
		for k := range item.Visits {
			if item.First != 0 {
				item.Visits[k].Year = item.First + c.Visits[k].After
			}
		}
		out[i] = item
	}
	slices.SortFunc(out, func(a, b programme.Item) int {
		return cmp.Or(cmp.Compare(yearOrLast(a.First), yearOrLast(b.First)), strings.Compare(a.Package, b.Package), cmp.Compare(a.Place, b.Place))
	})
	return out
}

func yearOrLast(year int) int {
	if year == 0 {
		return 1 << 30
	}
	return year
}

// result sums the plan up and sets it beside the other ways.
func (m *maker) result(p *programme.Plan) (programme.Result, error) {
	worst, err := programme.WorstFirst(&m.problem)
	if err != nil {
		return programme.Result{}, err
	}
	flat, err := programme.FlatCycle(&m.problem, m.q.Cycle)
	if err != nil {
		return programme.Result{}, err
	}
	cycles, err := programme.CompareCycles(&m.problem, cyclesCompared, programme.Economics{TreeValue: m.value, DeclinePerYear: m.Practice.Cycle.DeclinePerYear.Value})
	if err != nil {
		return programme.Result{}, err
	}
	r := programme.Result{
		Method: p.Method, Trees: len(p.Start), FirstYear: m.from.Year(), Years: p.Years, WorstFirst: worst.Years, Flat: flat.Years,
		TakenOff: p.TakenOff, Bound: p.Bound, Gap: p.Gap, Exact: p.Exact, InWork: m.inWork, Currency: m.Practice.Rates.Currency,
		Cycles: cycles,
	}
	for i := range p.Start {
		if p.Start[i] != programme.NotPlanned {
			r.Planned++
		}
	}
	for _, i := range p.Left {
		r.Left = append(r.Left, m.problem.Candidates[i].Label)
	}
	return r, nil
}

func yearEnd(t time.Time) time.Time { return time.Date(t.Year(), 12, 31, 0, 0, 0, 0, time.UTC) }

func yearBegin(year int) time.Time { return time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC) }
