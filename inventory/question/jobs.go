package question

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/season"
)

// JobStore keeps jobs.
type JobStore interface {
	ProgrammeStore
	Propose(ctx context.Context, site inventory.Site, id inventory.ProgrammeID, jobs []inventory.NewJob, actor string) (withdrawn int, err error)
	AddJob(ctx context.Context, site inventory.Site, j *inventory.NewJob, p *practice.Practice, actor string) error
	ChangeJob(ctx context.Context, client inventory.ClientID, id inventory.JobID, actor string, version inventory.Opt[int], change func(*inventory.Job) (*inventory.JobChange, error)) (*inventory.Job, error)
	SetHarmAfter(ctx context.Context, client inventory.ClientID, actor string, harm map[inventory.JobID]float64) error
	JobEvents(ctx context.Context, client inventory.ClientID, jobs []int64) ([]inventory.JobEvent, error)
	GetSiteByID(ctx context.Context, client inventory.ClientID, id inventory.SiteID) (inventory.Site, error)
}

// Proposed is what making a programme's jobs came to.
type Proposal struct {
	Programme programme.Record
	Jobs      int
	Withdrawn int      // of an older programme, that nobody had agreed to
	Gone      []string // trees of the programme that stand no longer, or are in work by now
}

// Propose makes the jobs of a programme: one for each visit within its years. What
// is to be cut is specified from the inventory as it stands.
func Propose(ctx context.Context, store JobStore, b *Basis, id inventory.ProgrammeID, by string) (*Proposal, error) {
	record, items, err := store.GetProgramme(ctx, b.Site.Client, id)
	if err != nil {
		return nil, err
	}
	if record.Site.ID != b.Site.ID {
		return nil, inventory.Errorf(inventory.NotFound, "programme %d is of site %q, not of %q", id, record.Site.Name, b.Site.Name)
	}
	if b.Practice.Digest != record.PracticeDigest {
		return nil, inventory.Errorf(inventory.Conflict, "programme %d was made under another practice (%s, %.12s…): give that one, or make the programme again", id, record.PracticeName, record.PracticeDigest)
	}
	trees, err := WorkTrees(ctx, store, b)
	if err != nil {
		return nil, err
	}
	at := make(map[inventory.TreeID]*WorkTree, len(trees))
	for i := range trees {
		at[trees[i].Tree.ID] = &trees[i]
	}
	out := &Proposal{Programme: record}
	var jobs []inventory.NewJob
	m := newJobMaker(b, &record)
	for i := range items {
		if items[i].First == 0 {
			continue
		}
		t := at[items[i].Tree]
		if t == nil || len(t.Open) > 0 {
			out.Gone = append(out.Gone, items[i].Label)
			continue
		}
		if jobs, err = m.add(jobs, t, &items[i]); err != nil {
			return nil, err
		}
	}
	out.Jobs = len(jobs)
	out.Withdrawn, err = store.Propose(ctx, b.Site, id, jobs, by)
	return out, err
}

// jobMaker makes jobs of a programme's items.
type jobMaker struct {
	*Basis
	from      time.Time
	last      int // year of the programme
	calendars map[int]*season.Calendar
	urgent    bool
}

func newJobMaker(b *Basis, r *programme.Record) *jobMaker {
	from, _ := time.Parse(time.DateOnly, r.Question.From) // checked when the programme was made
	return &jobMaker{Basis: b, from: from, last: r.Result.FirstYear + r.Question.Years - 1, calendars: make(map[int]*season.Calendar)}
}

// days are those of a year that work may be planned on.
func (m *jobMaker) days(year int) (from, to time.Time) {
	from = yearBegin(year)
	if m.from.After(from) {
		from = m.from
	}
	return from, yearEnd(from)
}

func (m *jobMaker) calendar(year int) *season.Calendar {
	c, ok := m.calendars[year]
	if !ok {
		from, to := m.days(year)
		c = season.NewCalendar(&m.Practice.Windows, from, to)
		m.calendars[year] = c
	}
	return c
}

// add makes the jobs of one item: its visits within the programme's years.
func (m *jobMaker) add(jobs []inventory.NewJob, t *WorkTree, item *programme.Item) ([]inventory.NewJob, error) {
	body, err := json.Marshal(&t.Spec)
	if err != nil {
		return nil, err
	}
	left := t.Result.Harm
	for _, v := range item.Visits {
		if v.Year > m.last || v.Number > len(t.Spec.Visits) {
			break
		}
		j := m.job(t, v.Number, v.Year)
		j.Package, j.Must, j.Hours, j.Cost = item.Package, item.Must, v.Hours, v.Cost
		j.HarmBefore = left
		left *= 1 - v.TakesOff
		j.HarmPredicted = left
		if t.Kept != 0 {
			j.SpecificationID = t.Kept
		} else {
			j.Body = body
		}
		jobs = append(jobs, j)
	}
	return jobs, nil
}

// job is one visit with its days, hours and gates.
func (m *jobMaker) job(t *WorkTree, visit, year int) inventory.NewJob {
	calendar, c := m.calendar(year), seasonCase(t, visit)
	c.Urgent = m.urgent
	from, to := m.days(year)
	look := windowsOf(t, visit, m.Practice) != &m.Practice.Windows
	if look {
		calendar = season.NewCalendar(&practice.Windows{}, from, to)
	}
	gates := []inventory.Gate{} // a look needs no leave
	if !look {
		gates = calendar.Gates(season.GateCase{Case: c, From: from, To: to, LineInReach: t.LineInReach()})
	}
	return inventory.NewJob{Job: inventory.Job{
		Tree: t.Tree.ID, Tag: t.Label(), Visit: visit, Year: year, Package: t.Street, Work: string(t.Spec.Work), State: inventory.Proposed, Urgent: m.urgent,
		Gates: gates,
		Dose:  t.Spec.Visits[visit-1].Dose, Open: season.Words(calendar.Openings(c)), Quietest: t.Quiet, Point: t.Tree.Point,
	}}
}

// NewVisit is a job to be made by hand: a visit of the tree's specification in a
// year.
type NewVisit struct {
	Tag         string
	Visit, Year int
	Urgent      bool // a hazard that cannot wait for windows
	By          string
}

// AddJob makes one job by hand. A visit that is planned already, or done, is made
// no second time.
func AddJob(ctx context.Context, store JobStore, b *Basis, v NewVisit) (*inventory.NewJob, error) {
	tag, visit, year := v.Tag, v.Visit, v.Year
	t, err := OneWorkTree(ctx, store, b, tag)
	if err != nil {
		return nil, err
	}
	if visit < 1 || visit > len(t.Spec.Visits) {
		return nil, inventory.Errorf(inventory.Invalid, "visit %d: the specification of tree %s has %d", visit, tag, len(t.Spec.Visits))
	}
	if year < b.AsOf.Year() || year > b.AsOf.Year()+20 {
		return nil, inventory.Errorf(inventory.Invalid, "year %d: expected %d to %d", year, b.AsOf.Year(), b.AsOf.Year()+20)
	}
	if err := planned(ctx, store, b, t, visit); err != nil {
		return nil, err
	}
	m := &jobMaker{Basis: b, from: b.AsOf, calendars: make(map[int]*season.Calendar), urgent: v.Urgent}
	j := m.job(t, visit, year)
	cost := b.CostOf(t)
	j.Hours, j.Cost, j.HarmBefore = cost.Hours, cost.Cost, t.Result.Harm
	j.HarmPredicted = t.Result.Harm * (1 - b.Practice.Effect.TakesOff[t.Spec.Work].Value)
	if t.Kept != 0 {
		j.SpecificationID = t.Kept
	} else if j.Body, err = json.Marshal(&t.Spec); err != nil {
		return nil, err
	}
	return &j, store.AddJob(ctx, b.Site, &j, b.Practice, v.By)
}

// planned reports a visit that a job is there for.
func planned(ctx context.Context, store JobStore, b *Basis, t *WorkTree, visit int) error {
	list, err := store.FindJobs(ctx, inventory.JobQuery{Client: b.Site.Client, Tree: t.Tree.ID, States: []inventory.JobState{inventory.Proposed, inventory.Approved, inventory.InHand}})
	if err != nil {
		return err
	}
	for i := range list {
		if list[i].Visit == visit && list[i].Work == string(t.Spec.Work) {
			return inventory.Errorf(inventory.Conflict, "tree %s: job %d is there for visit %d, %s", t.Label(), list[i].ID, visit, list[i].State)
		}
	}
	if t.Round.Underway() && visit <= t.Round.Next() {
		return inventory.Errorf(inventory.Conflict, "tree %s: visit %d is done; visit %d comes next", t.Label(), visit, t.Round.Next()+1)
	}
	return nil
}

// Move takes a job to another state that needs no more than who and why: see
// Complete and Check for the others.
func Move(ctx context.Context, store JobStore, client inventory.ClientID, id inventory.JobID, to inventory.JobState, by, reason string, version inventory.Opt[int]) (*inventory.Job, error) {
	if to == inventory.Done || to == inventory.Checked {
		return nil, inventory.Errorf(inventory.Invalid, "job %d: %s is recorded with what was cut, or seen", id, to)
	}
	return store.ChangeJob(ctx, client, id, by, version, func(j *inventory.Job) (*inventory.JobChange, error) {
		if err := j.Step(to, by, reason); err != nil {
			return nil, err
		}
		return &inventory.JobChange{Reason: reason}, nil
	})
}

// MarkUrgent says that a job is about a hazard that cannot wait, and why: windows
// then allow it under their conditions, and what those ask for becomes a gate.
func MarkUrgent(ctx context.Context, store JobStore, b *Basis, id inventory.JobID, by, reason string, version inventory.Opt[int]) (*inventory.Job, error) {
	if strings.TrimSpace(by) == "" || strings.TrimSpace(reason) == "" {
		return nil, inventory.Errorf(inventory.Invalid, "job %d: by and reason must be given: say who finds that it cannot wait, and why", id)
	}
	list, err := store.FindJobs(ctx, inventory.JobQuery{Client: b.Site.Client, IDs: []int64{int64(id)}})
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, inventory.Errorf(inventory.NotFound, "there is no job %d", id)
	}
	t, err := OneWorkTree(ctx, store, b, fmt.Sprintf("#%d", list[0].Tree))
	if err != nil {
		return nil, err
	}
	m := &jobMaker{Basis: b, from: b.AsOf, calendars: make(map[int]*season.Calendar), urgent: true}
	return store.ChangeJob(ctx, b.Site.Client, id, by, version, func(j *inventory.Job) (*inventory.JobChange, error) {
		if j.State != inventory.Proposed && j.State != inventory.Approved {
			return nil, inventory.Errorf(inventory.Conflict, "job %d is %s: only work that is not begun is made urgent", id, j.State)
		}
		now := m.job(t, min(j.Visit, len(t.Spec.Visits)), j.Year)
		j.Urgent, j.Open = true, now.Open
		for _, g := range now.Gates {
			if !slices.ContainsFunc(j.Gates, func(o inventory.Gate) bool { return o.Name == g.Name }) {
				j.Gates = append(j.Gates, g)
			}
		}
		return &inventory.JobChange{Reason: "urgent: " + reason}, nil
	})
}

// Settling is how a gate was settled, or that it is open again.
type Settling struct {
	Gate          string
	Cleared       bool
	By, Reference string
	On, Today     time.Time
}

// ClearGate settles one gate of a job, or opens it again. What proves it, such as
// the permit's number or that none is needed, must be said.
func ClearGate(ctx context.Context, store JobStore, client inventory.ClientID, id inventory.JobID, w Settling, version inventory.Opt[int]) (*inventory.Job, error) {
	name, cleared, by, reference, on := w.Gate, w.Cleared, w.By, w.Reference, w.On
	if strings.TrimSpace(by) == "" {
		return nil, inventory.Errorf(inventory.Invalid, "job %d: by is empty: say who settled %s", id, name)
	}
	if cleared && on.After(w.Today.AddDate(0, 0, 1)) {
		return nil, inventory.Errorf(inventory.Invalid, "job %d: on: %s is in the future: a gate is settled once it is", id, on.Format(time.DateOnly))
	}
	return store.ChangeJob(ctx, client, id, by, version, func(j *inventory.Job) (*inventory.JobChange, error) {
		at := slices.IndexFunc(j.Gates, func(g inventory.Gate) bool { return strings.EqualFold(g.Name, name) })
		if at < 0 {
			names := make([]string, len(j.Gates))
			for i, g := range j.Gates {
				names[i] = g.Name
			}
			return nil, inventory.Errorf(inventory.NotFound, "job %d has no gate %q: expected one of %s", id, name, strings.Join(names, ", "))
		}
		if j.State != inventory.Proposed && j.State != inventory.Approved {
			return nil, inventory.Errorf(inventory.Conflict, "job %d is %s: its gates were settled before", id, j.State)
		}
		if cleared && strings.TrimSpace(reference) == "" {
			return nil, inventory.Errorf(inventory.Invalid, "job %d: reference is empty: give the number that settles %s, or say in words why none is needed", id, name)
		}
		g := &j.Gates[at]
		g.Cleared, g.By, g.On, g.Reference = cleared, "", inventory.Opt[time.Time]{}, ""
		what := g.Name + " open again"
		if cleared {
			g.By, g.On, g.Reference = by, inventory.Some(on), reference
			what = strings.TrimSpace(g.Name + " cleared " + reference)
		}
		return &inventory.JobChange{Reason: what}, nil
	})
}

// Completed is a job that was done, with what the rules found.
type Completed struct {
	Job     *inventory.Job
	Defects []inventory.Defect
}

// Complete records what a crew did: each cut is classed at once, what it changed
// in the inventory is written with it, and the tree is computed anew.
func Complete(ctx context.Context, store JobStore, b *Basis, id inventory.JobID, c inventory.Completion, version inventory.Opt[int]) (*Completed, error) {
	if err := checkCompletion(id, &c, b.AsOf); err != nil {
		return nil, err
	}
	t, err := treeOfJob(ctx, store, b, id)
	if err != nil {
		return nil, err
	}
	out := &Completed{}
	j, err := store.ChangeJob(ctx, b.Site.Client, id, c.By, version, func(j *inventory.Job) (*inventory.JobChange, error) {
		var s pruning.Specification
		if err := json.Unmarshal(j.Specification, &s); err != nil {
			return nil, fmt.Errorf("specification of job %d: %w", id, err)
		}
		if first := earlierOf(j.MadeAt, b.AsOf); c.On.Before(first) {
			return nil, inventory.Errorf(inventory.Invalid, "job %d: on: %s is before the job was made, %s", id, c.On.Format(time.DateOnly), first.Format(time.DateOnly))
		}
		if j.Completion != nil {
			for _, r := range j.Completion.Rounds() {
				one := *r
				one.Earlier = nil
				c.Earlier = append(c.Earlier, one)
			}
		}
		var stem inventory.Opt[float64]
		if t != nil {
			stem = t.Tree.DBH
		}
		c.Defects = pruning.ReviewOn(&c, &s, j.Visit, stem, b.Practice)
		if d, ok := b.outOfSeason(j, t, &c); ok {
			c.Defects = append(c.Defects, d)
		}
		j.Completion = &c
		if err := j.Step(inventory.Done, c.By, ""); err != nil {
			return nil, err
		}
		reason := ""
		if n := len(c.Defects); n > 0 {
			reason = fmt.Sprintf("%d defects found by the rules", n)
		}
		return &inventory.JobChange{Reason: reason, Effects: effectsOf(j, &c, &s, b.Practice)}, nil
	})
	if err != nil {
		return nil, err
	}
	out.Job, out.Defects = j, j.Completion.Defects
	return out, assessAgain(ctx, store, b, out.Job, c.By)
}

// earlierOf is the day of the earlier of two times.
func earlierOf(a, b time.Time) time.Time {
	if b.Before(a) {
		a = b
	}
	y, m, d := a.UTC().Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}

// treeOfJob opens the tree of a job; nil where it is no longer standing.
func treeOfJob(ctx context.Context, store JobStore, b *Basis, id inventory.JobID) (*WorkTree, error) {
	list, err := store.FindJobs(ctx, inventory.JobQuery{Client: b.Site.Client, IDs: []int64{int64(id)}})
	if err != nil || len(list) == 0 || !list[0].TreeStatus.Standing() {
		return nil, err
	}
	return OneWorkTree(ctx, store, b, fmt.Sprintf("#%d", list[0].Tree))
}

// outOfSeason finds work done on a day that a window closes, unless a deviation
// says why.
func (b *Basis) outOfSeason(j *inventory.Job, t *WorkTree, c *inventory.Completion) (inventory.Defect, bool) {
	if t == nil || len(c.Cuts) == 0 && !c.Removed {
		return inventory.Defect{}, false
	}
	o := season.Open(season.Case{Species: t.Tree.Species, Over: t.OverKinds(), TakesLive: c.Dose.V > 0 || j.Dose > 0, Urgent: j.Urgent}, &b.Practice.Windows, c.On, c.On)
	day := o.On(c.On)
	if day.Allowed {
		return inventory.Defect{}, false
	}
	for _, d := range c.Deviations {
		if what := strings.ToLower(d.What); strings.Contains(what, "window") || strings.Contains(what, "day") || strings.Contains(what, "season") {
			return inventory.Defect{}, false
		}
	}
	names := make([]string, len(day.Blocked))
	for i, w := range day.Blocked {
		names[i] = w.Name + " (" + w.Reason + ")"
	}
	return inventory.Defect{Cut: -1, Rule: "closed window", What: fmt.Sprintf("done on %s, which is closed by %s, without a deviation that says why", c.On.Format(time.DateOnly), strings.Join(names, ", "))}, true
}

// effectsOf is what a completion changes in the inventory.
func effectsOf(j *inventory.Job, c *inventory.Completion, s *pruning.Specification, p *practice.Practice) *inventory.WorkEffects {
	w := &inventory.WorkEffects{Removed: c.Removed}
	for i := range c.Cuts {
		m := &c.Cuts[i]
		kind := pruning.ClassMade(m, p)
		cut := inventory.Cut{Kind: kind, On: inventory.Some(c.On), Diameter: m.Diameter, LateralDiameter: m.LateralDiameter, Height: m.Height, Bearing: m.Bearing, Reach: m.Reach, StubLength: m.StubLength}
		if kind != m.Kind {
			cut.GivenKind = m.Kind
		}
		if m.Count > 1 {
			cut.Count = inventory.Some(m.Count)
		}
		w.Cuts = append(w.Cuts, cut)
		if m.OnCut != 0 && m.Gone {
			w.Gone = append(w.Gone, m.OnCut)
		}
		if m.OnCut != 0 && m.RegrowthLeft.OK && !m.Gone {
			w.Regrowth = append(w.Regrowth, inventory.RegrowthLeft{Cut: m.OnCut, Length: m.RegrowthLeft.V})
		}
	}
	note := fmt.Sprintf("work of job %d: %s, visit %d", j.ID, j.Work, j.Visit)
	if c.Note != "" {
		note += ": " + c.Note
	}
	w.Visit = inventory.Visit{On: c.On, By: c.By, Note: note, Height: c.Height, CrownRadius: c.CrownRadius}
	if !c.Removed {
		w.Visit.NextOn = inventory.Some(nextVisit(c.On, j.Visit, s, p))
	}
	return w
}

// nextVisit is when somebody should come again after a visit's work: for the next
// visit of the specification; after the last, a year later where bad cuts were
// worked on, else after the natural cycle.
func nextVisit(on time.Time, visit int, s *pruning.Specification, p *practice.Practice) time.Time {
	years := s.CycleYears
	switch {
	case visit < len(s.Visits):
		years = s.Visits[visit].AfterYears - s.Visits[visit-1].AfterYears
	case s.Work == practice.Restoration || s.Work == practice.Rebalancing || s.Work == practice.Reduction || s.Work == practice.SecondOpinion:
		years = int(p.Cycle.InspectYears.Value)
	}
	return on.AddDate(max(years, 1), 0, 0)
}

// checkCompletion names the field that cannot be.
func checkCompletion(id inventory.JobID, c *inventory.Completion, today time.Time) error {
	bad := func(field, format string, args ...any) error {
		return inventory.Errorf(inventory.Invalid, "job %d: %s: %s", id, field, fmt.Sprintf(format, args...))
	}
	if strings.TrimSpace(c.By) == "" {
		return bad("by", "is empty: say who did the work")
	}
	if c.On.IsZero() || c.On.Year() < 1950 {
		return bad("on", "expected the day that the work was done on, such as 2027-02-14")
	}
	// A day's grace: it may be tomorrow where the work was done.
	if c.On.After(today.AddDate(0, 0, 1)) {
		return bad("on", "%s is in the future", c.On.Format(time.DateOnly))
	}
	if err := within(c.Dose, 0, 1); err != nil {
		return bad("dose", "%v, a share of the live crown", err)
	}
	if err := within(c.Hours, 0, 10_000); err != nil {
		return bad("hours", "%v, crew-hours", err)
	}
	if err := above(c.Height, 130); err != nil {
		return bad("height_m", "%v", err)
	}
	if err := above(c.CrownRadius, 50); err != nil {
		return bad("crown_radius_m", "%v", err)
	}
	for i := range c.Deviations {
		if strings.TrimSpace(c.Deviations[i].What) == "" || strings.TrimSpace(c.Deviations[i].Reason) == "" {
			return bad(fmt.Sprintf("deviations[%d]", i), "what and reason must both be given")
		}
	}
	for i := range c.Cuts {
		m, field := &c.Cuts[i], fmt.Sprintf("cuts[%d]", i)
		if !slices.Contains(inventory.CutKinds, m.Kind) {
			return bad(field+".kind", "%q, expected one of %v", m.Kind, inventory.CutKinds)
		}
		if m.Count < 0 || m.Count > 10_000 {
			return bad(field+".count", "%d, expected 1 to 10000", m.Count)
		}
		if err := above(m.Diameter, 15); err != nil {
			return bad(field+".diameter_cm", "%v (in metres)", err)
		}
		for _, f := range []struct {
			name string
			v    inventory.Opt[float64]
			most float64
		}{{"lateral_diameter_cm", m.LateralDiameter, 15}, {"stub_length_cm", m.StubLength, 50}, {"height_m", m.Height, 130}, {"reach_m", m.Reach, 100}, {"regrowth_left_m", m.RegrowthLeft, 130}} {
			if err := within(f.v, 0, f.most); err != nil {
				return bad(field+"."+f.name, "%v (in metres)", err)
			}
		}
		if m.Bearing.OK && !(m.Bearing.V >= 0 && m.Bearing.V < 360) {
			return bad(field+".bearing_deg", "%v, expected 0 up to 360", m.Bearing.V)
		}
		if m.OnCut == 0 && (m.Gone || m.RegrowthLeft.OK) {
			return bad(field+".on_cut", "is missing: gone and regrowth_left_m are about an old cut; say which")
		}
	}
	return nil
}

func within(v inventory.Opt[float64], least, most float64) error {
	if v.OK && !(v.V >= least && v.V <= most) {
		return fmt.Errorf("%v, expected %v to %v", v.V, least, most)
	}
	return nil
}

func above(v inventory.Opt[float64], most float64) error {
	if v.OK && !(v.V > 0 && v.V <= most) {
		return fmt.Errorf("%v, expected above 0 to %v", v.V, most)
	}
	return nil
}

// Checking is what somebody who looked at the work says.
type Checking struct {
	By     string
	On     time.Time
	Accept bool   // false sends the job back to the crew
	Reason string // needed where it is sent back, or accepted with defects
	// What was judged, where anything was; Unjudged leaves it as it is.
	WholeTree, Crown, Limb inventory.Likelihood
	Condition              string
	Finished               bool // the work is at its end: of a restoration, the tree was found restored
}

// Check closes a job that was done, or sends it back.
func Check(ctx context.Context, store JobStore, b *Basis, id inventory.JobID, k Checking, version inventory.Opt[int]) (*inventory.Job, error) {
	j, err := store.ChangeJob(ctx, b.Site.Client, id, k.By, version, func(j *inventory.Job) (*inventory.JobChange, error) {
		to := inventory.Checked
		if !k.Accept {
			to = inventory.InHand
		}
		if k.Accept && j.State == inventory.Done && len(j.Completion.Standing()) > 0 && strings.TrimSpace(k.Reason) == "" {
			return nil, inventory.Errorf(inventory.Invalid, "job %d has %d defects that no later round mended: send it back, or give the reason why it is accepted with them", id, len(j.Completion.Standing()))
		}
		if j.State != inventory.Done {
			return nil, inventory.Errorf(inventory.Conflict, "job %d is %s: what is checked is work that is done", id, j.State)
		}
		if err := j.Step(to, k.By, k.Reason); err != nil {
			return nil, err
		}
		change := &inventory.JobChange{Reason: k.Reason}
		if k.Accept {
			j.Completion.Finished = j.Completion.Finished || k.Finished
			on := k.On
			if on.Before(j.Completion.On) {
				return nil, inventory.Errorf(inventory.Invalid, "job %d: on: %s is before the work was done, %s", id, on.Format(time.DateOnly), j.Completion.On.Format(time.DateOnly))
			}
			var s pruning.Specification
			if err := json.Unmarshal(j.Specification, &s); err != nil {
				return nil, fmt.Errorf("specification of job %d: %w", id, err)
			}
			change.Visit = &inventory.Visit{On: on, By: k.By, Condition: k.Condition, WholeTree: k.WholeTree, Crown: k.Crown, Limb: k.Limb, Note: fmt.Sprintf("check of job %d", j.ID)}
			if !j.Completion.Removed {
				change.Visit.NextOn = inventory.Some(nextVisit(j.Completion.On, j.Visit, &s, b.Practice))
				if change.Visit.NextOn.V.Before(on) {
					change.Visit.NextOn = inventory.Some(on)
				}
			}
		}
		return change, nil
	})
	if err != nil || !k.Accept {
		return j, err
	}
	return j, assessAgain(ctx, store, b, j, k.By)
}

// assessAgain keeps what is computed of a job's tree after its work. The harm of
// a tree that is gone is none.
func assessAgain(ctx context.Context, store JobStore, b *Basis, j *inventory.Job, by string) error {
	site, err := store.GetSiteByID(ctx, b.Site.Client, j.Site)
	if err != nil {
		return err
	}
	if _, err := UpToDate(ctx, store, site, b.Profile, b.AsOf, false); err != nil {
		return err
	}
	harm := 0.0
	if !j.Completion.Removed {
		e, err := Explain(ctx, store, site, fmt.Sprintf("#%d", j.Tree), b.Profile, b.AsOf)
		if err != nil {
			return err
		}
		harm = e.Assessment.Harm
	}
	j.HarmAfter = inventory.Some(harm)
	return store.SetHarmAfter(ctx, b.Site.Client, by, map[inventory.JobID]float64{j.ID: harm})
}

// Effect is what work took off, as predicted by the client's assumption and as
// computed again afterwards.
type Effect struct {
	Jobs                     int
	Before, Predicted, After float64 // expected harm in a year, of jobs with all three
}

// EffectOf sums up jobs that are done or checked.
func EffectOf(jobs []inventory.Job) (e Effect) {
	for i := range jobs {
		j := &jobs[i]
		if (j.State != inventory.Done && j.State != inventory.Checked) || !j.HarmAfter.OK || math.IsNaN(j.HarmAfter.V) {
			continue
		}
		e.Jobs++
		e.Before += j.HarmBefore
		e.Predicted += j.HarmPredicted
		e.After += j.HarmAfter.V
	}
	return e
}

// EffectDocument is an effect for programs.
type EffectDocument struct {
	Jobs               int     `json:"jobs"`
	HarmIndexBefore    float64 `json:"harm_index_before"`
	HarmIndexPredicted float64 `json:"harm_index_predicted"`
	HarmIndexAfter     float64 `json:"harm_index_after"`
	Assumption         string  `json:"assumption"`
	Cautions           string  `json:"cautions"`
}

// Document is the effect for programs.
func (e Effect) Document() *EffectDocument {
	return &EffectDocument{e.Jobs, e.Before * 1000, e.Predicted * 1000, e.After * 1000, EffectAssumption, Cautions}
}

// PhotoBytes is the most that a picture takes.
const PhotoBytes = 25 << 20

// pictures are how files of each type begin; WebP has its own words at the eighth
// byte besides.
var pictures = map[string]string{"image/jpeg": "\xff\xd8\xff", "image/png": "\x89PNG\r\n\x1a\n", "image/webp": "RIFF"}

// CheckPhoto reports what keeps a file from being a job's picture. A type is what
// the file itself says.
func CheckPhoto(p *inventory.Photo) error {
	switch {
	case len(p.Bytes) == 0:
		return inventory.Errorf(inventory.Invalid, "the photo is empty")
	case len(p.Bytes) > PhotoBytes:
		return inventory.Errorf(inventory.Invalid, "the photo has %d bytes: %d are allowed", len(p.Bytes), PhotoBytes)
	case strings.TrimSpace(p.Name) == "" || len(p.Name) > 200 || strings.ContainsFunc(p.Name, unicode.IsControl):
		return inventory.Errorf(inventory.Invalid, "the photo's name %.60q: expected 1 to 200 bytes without control characters", p.Name)
	}
	begin, ok := pictures[p.MediaType]
	if !ok {
		return inventory.Errorf(inventory.Invalid, "the photo is %s: expected image/jpeg, image/png or image/webp", p.MediaType)
	}
	if !strings.HasPrefix(string(p.Bytes[:min(len(p.Bytes), 16)]), begin) || p.MediaType == "image/webp" && (len(p.Bytes) < 12 || string(p.Bytes[8:12]) != "WEBP") {
		return inventory.Errorf(inventory.Invalid, "the photo does not begin as %s does", p.MediaType)
	}
	return nil
}
