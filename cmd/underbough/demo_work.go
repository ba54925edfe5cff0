package main

import (
	"fmt"

	"github.com/underbough/underbough/cmd/underbough/demo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/question"
)

// demoBudget is the invented owner's for a year, units of money.
const demoBudget = 40_000

// planWork gives the town a programme with its jobs, and carries one package on to
// each state of a job. It does nothing where the town has a programme.
func (d *demoCmd) planWork(c *cli, s *session) (*programme.Record, error) {
	f := workFlags{Site: demo.Site}
	other, b, err := c.work(&f)
	if err != nil {
		return nil, err
	}
	defer other.close()
	list, err := s.FindProgrammes(c.ctx, s.client, b.Site.ID)
	if err != nil {
		return nil, err
	}
	if len(list) > 0 {
		return &list[0], nil
	}
	const by = "invented planner"
	made, err := question.MakeProgramme(c.ctx, s, b, "invented five years", by, programme.Question{
		From: fmt.Sprintf("%d-01-01", b.AsOf.Year()+1), Years: 5, Measure: programme.Money, Budget: []float64{demoBudget}, Rated: "high", MustDue: 1,
	})
	if err != nil {
		return nil, err
	}
	if _, err := question.Propose(c.ctx, s, b, made.Record.ID, by); err != nil {
		return nil, err
	}
	return &made.Record, d.workOn(c, s, b, made.Record.ID)
}

// workOn carries the first jobs of the first year on: one stays proposed, one is
// approved, one in hand, one done with a stub, one checked, one withdrawn.
func (d *demoCmd) workOn(c *cli, s *session, b *question.Basis, id inventory.ProgrammeID) error {
	list, err := s.FindJobs(c.ctx, inventory.JobQuery{Client: s.client, Programme: id, Year: b.AsOf.Year() + 1})
	if err != nil {
		return err
	}
	// Work with cuts shows more than a look does.
	var jobs []inventory.Job
	for _, j := range list {
		if j.Work != "second opinion" && j.Work != "cleaning" && len(jobs) < 5 {
			jobs = append(jobs, j)
		}
	}
	const owner, office, crew, inspector = "invented owner", "invented office", "invented crew A", "invented inspector C"
	none := inventory.Opt[int]{}
	for i := range jobs {
		j := &jobs[i]
		if _, err := question.Move(c.ctx, s, s.client, j.ID, inventory.Approved, owner, "", none); err != nil {
			return err
		}
		if i == 0 {
			continue
		}
		if i == 1 {
			if _, err := question.Move(c.ctx, s, s.client, j.ID, inventory.Withdrawn, owner, "invented: put off until the street is dug up", none); err != nil {
				return err
			}
			continue
		}
		for _, g := range j.Gates {
			if _, err := question.ClearGate(c.ctx, s, s.client, j.ID, question.Settling{Gate: g.Name, Cleared: true, By: office, Reference: "invented-1", On: b.AsOf, Today: b.AsOf}, none); err != nil {
				return err
			}
		}
		if _, err := question.Move(c.ctx, s, s.client, j.ID, inventory.InHand, crew, "", none); err != nil {
			return err
		}
		if i == 2 {
			continue
		}
		if err := d.finish(c, s, b, j, i == 3, crew, inspector); err != nil {
			return err
		}
	}
	return nil
}

// finish records what was cut; with a stub the job waits for its check.
func (d *demoCmd) finish(c *cli, s *session, b *question.Basis, j *inventory.Job, stub bool, crew, inspector string) error {
	cuts := []inventory.MadeCut{
		{Kind: inventory.CutReduction, Count: 3, Diameter: inventory.Some(0.06), LateralDiameter: inventory.Some(0.032), Height: inventory.Some(7.5)},
		{Kind: inventory.CutRemoval, Count: 2, Diameter: inventory.Some(0.04)},
	}
	if stub {
		cuts[1].StubLength = inventory.Some(0.12)
	}
	done := inventory.Completion{On: b.AsOf, By: crew, Cuts: cuts, Dose: inventory.Some(min(j.Dose, 0.05)), Hours: inventory.Some(2.0), Note: "invented"}
	if _, err := question.Complete(c.ctx, s, b, j.ID, done, inventory.Opt[int]{}); err != nil || stub {
		return err
	}
	_, err := question.Check(c.ctx, s, b, j.ID, question.Checking{By: inspector, On: b.AsOf, Accept: true, Reason: "invented: looked at from the ground", Limb: inventory.Possible, Condition: "fair"}, inventory.Opt[int]{})
	return err
}
