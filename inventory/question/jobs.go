package question

import (
	"context"
	"encoding/json"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/programme"
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

// Proposal is what making a programme's jobs came to.
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
