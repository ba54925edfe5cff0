package main

import (
	"strconv"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/appraisal"
	"github.com/underbough/underbough/inventory/question"
)

type appraiseCmd struct {
	Tag             string   `arg:"" help:"The tree's tag or source id."`
	NurseryCost     float64  `required:"" help:"Cost of a nursery tree of the species, units of money." placeholder:"N"`
	NurseryDiameter float64  `required:"" help:"And its stem's diameter, centimetres." placeholder:"CM"`
	Diameter        *float64 `help:"The tree's stem diameter, centimetres (default: as recorded)." placeholder:"CM"`
	Health          float64  `required:"" help:"Rating from 0 to 1, given by a person; so are the others." placeholder:"SHARE"`
	Structure       float64  `required:"" placeholder:"SHARE"`
	Form            float64  `required:"" placeholder:"SHARE"`
	Functional      float64  `required:"" help:"Functional limits: of the tree and its place." placeholder:"SHARE"`
	External        float64  `required:"" help:"External limits: from without, such as a pest or a law." placeholder:"SHARE"`
	On              string   `help:"Day of the ratings (default: today)." placeholder:"YYYY-MM-DD"`
	Format          string   `default:"text" enum:"text,json" help:"text or json."`
	workFlags
	byFlag
}

// Run appraises a tree by the trunk formula technique and keeps it.
func (p *appraiseCmd) Run(c *cli) error {
	on, err := parseDay("on", p.On)
	if err != nil {
		return err
	}
	s, b, err := c.work(&p.workFlags)
	if err != nil {
		return err
	}
	defer s.close()
	a := &appraisal.Appraisal{
		Method: appraisal.TrunkFormula, NurseryCost: p.NurseryCost, NurseryDiameter: p.NurseryDiameter / 100,
		Health: inventory.Some(p.Health), Structure: inventory.Some(p.Structure), Form: inventory.Some(p.Form), Functional: inventory.Some(p.Functional), External: inventory.Some(p.External),
		By: p.name(), On: on,
	}
	if p.Diameter != nil {
		a.Diameter = *p.Diameter / 100
	}
	if err := question.Appraise(c.ctx, s, b, p.Tag, a); err != nil {
		return err
	}
	if p.Format == "json" {
		return encode(c.stdout, a)
	}
	n := notes{c.stdout, terminalWidth(c.stdout)}
	n.say("Tree %s: %s, by %s; kept.", p.Tag, money(a.Value, a.Currency), a.Method)
	for _, step := range a.Steps {
		n.sayIn("  ", "%s: %s = %s %s", step.Name, step.How, strconv.FormatFloat(step.Value, 'f', 2, 64), step.Unit)
	}
	n.say("The ratings are %s's. A value for a claim or a sale is a qualified appraiser's.\n", a.By)
	return n.cautions()
}
