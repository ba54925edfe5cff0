package question

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/season"
)

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
		if c.Position != nil && c.Position.AtTree(j.Point) {
			c.Notices = append(c.Notices, fmt.Sprintf("the device was %.3g m from the tree, give or take %.3g m: see whether the job is of another tree", c.Position.FromTree.V, c.Position.Accuracy))
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
		return bad("height_m", "%v m", err)
	}
	if err := above(c.CrownRadius, 50); err != nil {
		return bad("crown_radius_m", "%v m", err)
	}
	if p := c.Position; p != nil {
		if !(p.Longitude >= -180 && p.Longitude <= 180) {
			return bad("position.longitude", "%v, expected -180 to 180, degrees", p.Longitude)
		}
		if !(p.Latitude >= -90 && p.Latitude <= 90) {
			return bad("position.latitude", "%v, expected -90 to 90, degrees", p.Latitude)
		}
		if !(p.Accuracy >= 0 && p.Accuracy <= 1e6) {
			return bad("position.accuracy_m", "%v, expected 0 to 1000000, metres", p.Accuracy)
		}
		if p.At.Year() < 1950 || p.At.After(today.AddDate(0, 0, 1)) {
			return bad("position.at", "%s, expected when the device was there, which is in the past", p.At.Format(time.RFC3339))
		}
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
		if err := above(inCM(m.Diameter), 1500); err != nil {
			return bad(field+".diameter_cm", "%v cm", err)
		}
		for _, f := range []struct {
			name, unit string
			v          inventory.Opt[float64]
			most       float64
		}{{"lateral_diameter_cm", "cm", inCM(m.LateralDiameter), 1500}, {"stub_length_cm", "cm", inCM(m.StubLength), 5000}, {"height_m", "m", m.Height, 130}, {"reach_m", "m", m.Reach, 100}, {"regrowth_left_m", "m", m.RegrowthLeft, 130}} {
			if err := within(f.v, 0, f.most); err != nil {
				return bad(field+"."+f.name, "%v %s", err, f.unit)
			}
		}
		if m.Bearing.OK && !(m.Bearing.V >= 0 && m.Bearing.V < 360) {
			return bad(field+".bearing_deg", "%v, expected 0 up to 360 degrees", m.Bearing.V)
		}
		if m.OnCut == 0 && (m.Gone || m.RegrowthLeft.OK) {
			return bad(field+".on_cut", "is missing: gone and regrowth_left_m are about an old cut; say which")
		}
	}
	return nil
}

// inCM is a length of metres in the unit that it is sent in, without what the two
// conversions leave behind the twelfth digit.
func inCM(v inventory.Opt[float64]) inventory.Opt[float64] {
	if v.OK {
		v.V, _ = strconv.ParseFloat(strconv.FormatFloat(100*v.V, 'g', 12, 64), 64)
	}
	return v
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
