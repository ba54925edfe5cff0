package question

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/season"
)

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
	windows *windows
	inWork  int
	// Of a year: what jobs agreed to take of the budgets, and expected harm, of trees
	// with such jobs and of trees that wait for a decision.
	committed           []float64
	harmInWork, waiting float64
	byHarm              map[inventory.TreeID]int
	value               float64 // of a tree on the average, of those appraised; 0 for none
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
	m.windows, m.committed = m.newWindows(), make([]float64, m.q.Years)
	m.rank()
	for i := range m.trees {
		t := &m.trees[i]
		if t.Spec.Work == practice.SecondOpinion {
			m.waiting += t.Result.Harm
		}
		if len(t.Open) > 0 {
			m.planAround(t)
			continue
		}
		c, visits, done := m.candidate(t)
		m.must(&c, t, musts[t.Tree.ID])
		if year, ok := pins[t.Tree.ID]; ok {
			c.Pinned = inventory.Some(year)
			c.Earliest = min(c.Earliest, year)
		}
		asked := c.Must || c.Pinned.OK
		if len(c.Visits) == 0 || !asked && (c.Earliest >= m.q.Years || t.Result.Harm*1000 < m.q.Least) {
			m.problem.OtherHarm += t.Result.Harm
			continue
		}
		m.problem.Candidates = append(m.problem.Candidates, c)
		m.of, m.visits, m.offset = append(m.of, i), append(m.visits, visits), append(m.offset, done)
	}
	return nil
}

// must says whether work has to be done, by when and by what. A second opinion has
// to be got by rule; where the tree is rated so that it must be done, or may well
// fail over places, in the first year. What may begin only later is due then, and
// only what somebody named is asked for after the years.
func (m *maker) must(c *programme.Candidate, t *WorkTree, named bool) {
	least, rated := gradeOf(m.q.Rated)
	rated = rated && t.Result.Score.Rating >= least
	c.DueBy = m.q.MustDue
	var by []string
	if named {
		by = append(by, "named in the question")
	}
	if rated {
		by = append(by, "rated "+t.Result.Score.Rating.String())
	}
	if c.Work == practice.SecondOpinion {
		by = append(by, "a second opinion, by rule")
		if rated || t.Result.Likelihood >= inventory.Probable && len(t.Result.Over) > 0 {
			c.DueBy = 0
		}
	}
	c.DueBy = max(c.DueBy, c.Earliest)
	c.Must = named || len(by) > 0 && c.DueBy < m.q.Years
	c.MustBy = strings.Join(by, ", ")
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
	m.harmInWork += t.Result.Harm
	m.problem.OtherHarm += t.Result.Harm
	for _, j := range t.Open {
		year := max(j.Year-m.from.Year(), 0)
		if year >= m.q.Years {
			continue
		}
		spent := j.Cost
		if m.q.Measure == programme.Hours {
			spent = j.Hours
		}
		m.committed[year] += spent
		m.problem.Budget[year] = max(0, m.problem.Budget[year]-spent)
	}
}

// candidate is the work still to come on a tree; it has no visits where none is.
func (m *maker) candidate(t *WorkTree) (c programme.Candidate, visits []programme.ItemVisit, done int) {
	s := &t.Spec
	earliest, done := m.earliest(t)
	c = programme.Candidate{Tree: t.Tree.ID, Label: t.Label(), Group: t.Street, Work: s.Work, Harm: t.Result.Harm, Earliest: earliest}
	if done >= len(s.Visits) {
		return c, nil, done
	}
	cost := m.CostOf(t)
	first := s.Visits[done].AfterYears
	for k := done; k < len(s.Visits); k++ {
		v := programme.PlannedVisit{After: s.Visits[k].AfterYears - first, Hours: cost.Hours, Cost: cost.Cost, TakesOff: m.Practice.Effect.TakesOff[s.Work].Value}
		c.Visits = append(c.Visits, v)
		visits = append(visits, programme.ItemVisit{Number: k + 1, Dose: s.Visits[k].Dose, Hours: v.Hours, Cost: v.Cost, TakesOff: v.TakesOff})
	}
	m.windows.close(&c, t, done)
	return c, visits, done
}

// seasonCase is a visit's work, for the windows. visit counts from 1.
func seasonCase(t *WorkTree, visit int) season.Case {
	return season.Case{Species: t.Tree.Species, Over: t.OverKinds(), TakesLive: t.Spec.Visits[visit-1].Dose > 0}
}

// windowsOf are the windows that a visit's work is held to: none where it is a
// look and nothing is cut.
func windowsOf(t *WorkTree, visit int, p *practice.Practice) *practice.Windows {
	items := t.Spec.Visits[visit-1].Items
	if len(items) == 0 || slices.ContainsFunc(items, func(i pruning.Item) bool { return i.Cut != "" }) {
		return &p.Windows
	}
	return &practice.Windows{}
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
	case m.anew(t):
		// What somebody asked for after the last visit waits for no cycle.
		return max(0, last+int(m.Practice.Restoration.Between.Value)-from), 0
	}
	// The tree comes again when its natural cycle does.
	return max(0, last+naturalCycle(&t.Spec, &m.Practice.Cycle)-from), 0
}

// anew reports whether a person specified other work than what was done last.
func (m *maker) anew(t *WorkTree) bool {
	r := &t.Round
	last := &r.Jobs[len(r.Jobs)-1]
	if t.Kept == 0 || last.SpecificationID == t.Kept {
		return false
	}
	return !r.Underway() || r.Spec.Work != t.Spec.Work
}

// items says what the plan does with each tree.
func (m *maker) items(p *programme.Plan) []programme.Item {
	out := make([]programme.Item, len(p.Start))
	for i := range p.Start {
		c, t := &m.problem.Candidates[i], &m.trees[m.of[i]]
		item := programme.Item{
			Tree: c.Tree, Label: c.Label, Species: t.Tree.Species, Package: c.Group, Work: c.Work, Harm: c.Harm, Place: m.byHarm[c.Tree],
			Must: c.Must, Late: c.Late(p.Start[i]), Visits: slices.Clone(m.visits[i]), Why: programme.Why(&m.problem, p, i),
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
		Cycles: cycles, Lasts: m.problem.Lasts, Committed: m.committed, FirstYearShare: 1, HarmInWork: m.harmInWork, Undecided: m.waiting,
	}
	for i := range p.Start {
		if p.Start[i] != programme.NotPlanned {
			r.Planned++
		}
	}
	for _, i := range p.Left {
		r.Left = append(r.Left, m.problem.Candidates[i].Label)
	}
	for _, i := range p.Late {
		r.Late = append(r.Late, m.problem.Candidates[i].Label)
	}
	return r, nil
}
