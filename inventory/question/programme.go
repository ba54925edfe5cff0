package question

import (
	"context"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/risk"
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
	from, share, err := checkQuestion(&q, b.AsOf)
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
	p, err := plan(ctx, b, q, from, trees, value)
	if p != nil {
		p.Record.Result.FirstYearShare = share
	}
	return p, err
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
	if err := checkName("the programme's name", name); err != nil {
		return nil, err
	}
	p, err := Plan(ctx, store, b, q)
	if err != nil {
		return nil, err
	}
	p.Record.Name, p.Record.MadeBy = name, by
	return p, store.SaveProgramme(ctx, &p.Record, b.Profile, b.Practice, p.Items)
}

// checkName reports a text that cannot be a name.
func checkName(what, s string) error {
	if strings.TrimSpace(s) == "" || len(s) > 200 || !utf8.ValidString(s) || strings.ContainsFunc(s, unicode.IsControl) {
		return inventory.Errorf(inventory.Invalid, "%s %.60q: expected 1 to 200 bytes, not blank, without control characters", what, s)
	}
	return nil
}

// checkQuestion fills in what was left out and reports what cannot be. A budget
// that is given once holds for a calendar year: of a first year that begins late
// it is the share of the days left, which is returned.
func checkQuestion(q *programme.Question, asOf time.Time) (from time.Time, share float64, err error) {
	invalid := func(format string, args ...any) (time.Time, float64, error) {
		return from, 1, inventory.Errorf(inventory.Invalid, format, args...)
	}
	from, err = time.Parse(time.DateOnly, q.From)
	if err != nil {
		return invalid("from %.40q: expected the programme's first day, such as 2027-01-01", q.From)
	}
	if from.Year() < asOf.Year() || from.Year() > 2150 {
		return invalid("from %s: expected a day of the years %d, in which the inventory is looked at, to 2150", q.From, asOf.Year())
	}
	if q.Years < 1 || q.Years > programme.MaxYears {
		return invalid("years: %d, expected 1 to %d", q.Years, programme.MaxYears)
	}
	if q.Measure != programme.Money && q.Measure != programme.Hours {
		return invalid("measure %.40q: expected %s or %s", q.Measure, programme.Money, programme.Hours)
	}
	for _, b := range q.Budget {
		if !(b >= 0) || math.IsInf(b, 1) {
			return invalid("budget: %v, expected 0 or more", b)
		}
	}
	share = 1
	switch {
	case len(q.Budget) == q.Years:
		q.Budget = slices.Clone(q.Budget)
	case len(q.Budget) == 1:
		share = shareLeft(from)
		once := q.Budget[0]
		q.Budget = []float64{once * share}
		for len(q.Budget) < q.Years {
			q.Budget = append(q.Budget, once)
		}
	default:
		return invalid("budget: %d figures for %d years: give one for every year, or one for all", len(q.Budget), q.Years)
	}
	if q.Cycle == 0 {
		q.Cycle = 5 // left out
	}
	if q.Cycle < 1 || q.Cycle > 50 {
		return invalid("cycle: %d years, expected 1 to 50", q.Cycle)
	}
	if q.MustDue < 0 || q.MustDue >= q.Years {
		return invalid("must_due: %d, expected 0 for the first year up to %d for the last", q.MustDue, q.Years-1)
	}
	if _, ok := gradeOf(q.Rated); q.Rated != "" && (!ok || q.Rated == "low") {
		return invalid("must_rating %.40q: expected moderate, high or extreme", q.Rated)
	}
	if !(q.Least >= 0) || math.IsInf(q.Least, 1) {
		return invalid("least_harm: %v, expected 0 or more", q.Least)
	}
	return from, share, checkTags(q)
}

// checkTags reports tags that cannot be, and a tree that is put in two years.
func checkTags(q *programme.Question) error {
	for _, tag := range q.Must {
		if err := checkName("must", tag); err != nil {
			return err
		}
	}
	years := make(map[string]int)
	for _, pin := range q.Pins {
		if err := checkName("pin", pin.Tag); err != nil {
			return err
		}
		if before, ok := years[pin.Tag]; ok && before != pin.Year {
			return inventory.Errorf(inventory.Invalid, "pin %q: the years %d and %d are both given, expected one", pin.Tag, before, pin.Year)
		}
		years[pin.Tag] = pin.Year
	}
	return nil
}

// shareLeft is the share of its calendar year that is left on a day, that day
// included.
func shareLeft(from time.Time) float64 {
	end := yearEnd(from)
	return float64(end.YearDay()-from.YearDay()+1) / float64(end.YearDay())
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

func yearEnd(t time.Time) time.Time { return time.Date(t.Year(), 12, 31, 0, 0, 0, 0, time.UTC) }

func yearBegin(year int) time.Time { return time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC) }
