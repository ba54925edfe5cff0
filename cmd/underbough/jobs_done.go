package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// cutForm says how a cut is written on the command line.
const cutForm = `KIND [diameter=CM] [lateral=CM] [stub=CM] [height=M] [bearing=DEG] [reach=M] [count=N] [on=OLD-CUT] [gone] [left=M]`

type jobsDone struct {
	ID        int64    `arg:"" help:"Number of the job."`
	On        string   `help:"Day of the work (default: today)." placeholder:"YYYY-MM-DD"`
	Cut       []string `help:"A cut that was made: ${cut_form}. on names the old cut it was made on; gone: its wood came off whole; left: length of the longest shoot left there." placeholder:"CUT" sep:"none"`
	Dose      string   `help:"Share of the live crown taken, such as 0.05." placeholder:"SHARE"`
	Hours     string   `help:"Crew-hours spent." placeholder:"H"`
	Deviation []string `help:"What was done otherwise than specified, and why: WHAT: REASON." placeholder:"TEXT" sep:"none"`
	Note      string   `help:"A note." placeholder:"TEXT"`
	Height    string   `help:"Height of the tree after the work, metres." placeholder:"M"`
	Crown     string   `help:"Crown radius after the work, metres." placeholder:"M"`
	Removed   bool     `help:"The tree was taken down."`
	Finished  bool     `help:"The work is at its end before its last visit: of a restoration, the tree was found restored."`
	practiceFlag
	assumptions
	mustBy
}

// completion reads what was done.
func (p *jobsDone) completion() (c inventory.Completion, err error) {
	c = inventory.Completion{By: p.By, Note: p.Note, Removed: p.Removed, Finished: p.Finished, Cuts: []inventory.MadeCut{}}
	if c.On, err = parseDay("on", p.On); err != nil {
		return c, err
	}
	for _, f := range []struct {
		name, text string
		to         *inventory.Opt[float64]
	}{{"dose", p.Dose, &c.Dose}, {"hours", p.Hours, &c.Hours}, {"height", p.Height, &c.Height}, {"crown", p.Crown, &c.CrownRadius}} {
		if f.text == "" {
			continue
		}
		v, err := strconv.ParseFloat(f.text, 64)
		if err != nil {
			return c, inventory.Errorf(inventory.Invalid, "--%s %s: expected a number", f.name, f.text)
		}
		*f.to = inventory.Some(v)
	}
	for _, text := range p.Deviation {
		what, reason, ok := strings.Cut(text, ":")
		if !ok {
			return c, inventory.Errorf(inventory.Invalid, "--deviation %q: expected WHAT: REASON", text)
		}
		c.Deviations = append(c.Deviations, inventory.Deviation{What: strings.TrimSpace(what), Reason: strings.TrimSpace(reason)})
	}
	for _, text := range p.Cut {
		m, err := parseCut(text)
		if err != nil {
			return c, err
		}
		c.Cuts = append(c.Cuts, m)
	}
	return c, nil
}

// parseCut reads a cut in the form of cutForm.
func parseCut(text string) (m inventory.MadeCut, err error) {
	bad := func(why string) (inventory.MadeCut, error) {
		return m, inventory.Errorf(inventory.Invalid, "--cut %q: %s; expected %s", text, why, cutForm)
	}
	words := strings.Fields(text)
	if len(words) == 0 || !slices.Contains(inventory.CutKinds, inventory.CutKind(words[0])) {
		return bad(fmt.Sprintf("it does not begin with a kind of cut, one of %v", inventory.CutKinds))
	}
	m.Kind = inventory.CutKind(words[0])
	for _, w := range words[1:] {
		name, value, _ := strings.Cut(w, "=")
		if name == "gone" {
			if value != "" {
				return bad("gone stands by itself")
			}
			m.Gone = true
			continue
		}
		v, err := strconv.ParseFloat(value, 64)
		if err != nil {
			return bad(w + " is not NAME=NUMBER")
		}
		switch name {
		case "diameter":
			m.Diameter = inventory.Some(v / 100)
		case "lateral":
			m.LateralDiameter = inventory.Some(v / 100)
		case "stub":
			m.StubLength = inventory.Some(v / 100)
		case "height":
			m.Height = inventory.Some(v)
		case "bearing":
			m.Bearing = inventory.Some(v)
		case "reach":
			m.Reach = inventory.Some(v)
		case "left":
			m.RegrowthLeft = inventory.Some(v)
		case "count", "on":
			if v != float64(int64(v)) || v < 1 {
				return bad(w + " is not a whole number from 1")
			}
			if name == "count" {
				m.Count = int(v)
			} else {
				m.OnCut = inventory.CutID(v)
			}
		default:
			return bad("nothing is named " + name)
		}
	}
	return m, nil
}

// Run records what was cut.
func (p *jobsDone) Run(c *cli) error {
	done, err := p.completion()
	if err != nil {
		return err
	}
	return c.withJob(p.ID, p.practiceFlag, p.assumptions, func(s *session, b *question.Basis, j *inventory.Job) error {
		out, err := question.Complete(c.ctx, s, b, j.ID, done, inventory.Some(j.Version))
		if err != nil {
			return err
		}
		n := notes{c.stdout, terminalWidth(c.stdout)}
		n.say("Job %d is done: %s of tree %s, visit %d.", j.ID, j.Work, j.Tag, j.Visit)
		for _, d := range out.Defects {
			which := "the work as a whole"
			if d.Cut >= 0 {
				which = fmt.Sprintf("cut %d", d.Cut+1)
			}
			n.say("Defect, %s: %s (%s)", which, d.What, d.Rule)
		}
		n.say("%s", harmText(out.Job))
		n.say("Somebody else checks it: underbough jobs check %d --accept%s\n", j.ID, c.dataFlag())
		return n.cautions()
	})
}

// withJob opens the inventory for work on a job of whatever site.
func (c *cli) withJob(id int64, k practiceFlag, a assumptions, fn func(*session, *question.Basis, *inventory.Job) error) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	j, err := findJob(c, s, id)
	if err != nil {
		s.close()
		return err
	}
	site, err := s.GetSiteByID(c.ctx, s.client, j.Site)
	s.close()
	if err != nil {
		return err
	}
	s, b, err := c.work(&workFlags{Site: site.Name, practiceFlag: k, assumptions: a})
	if err != nil {
		return err
	}
	defer s.close()
	return fn(s, b, j)
}

func harmText(j *inventory.Job) string {
	text := fmt.Sprintf("Harm index %s before, %s predicted by the client's assumption", ranking.Figure(j.HarmBefore*1000), ranking.Figure(j.HarmPredicted*1000))
	if j.HarmAfter.OK {
		text += fmt.Sprintf(", %s computed again from what is recorded now", ranking.Figure(j.HarmAfter.V*1000))
	}
	return text + "."
}

type jobsCheck struct {
	ID        int64  `arg:"" help:"Number of the job."`
	Accept    bool   `help:"Close it; without this it goes back to the crew, with the reason."`
	Reason    string `help:"Why it goes back, or why it is accepted with defects." placeholder:"TEXT"`
	On        string `help:"Day of the check (default: today)." placeholder:"YYYY-MM-DD"`
	WholeTree string `enum:",improbable,possible,probable,imminent" default:"" help:"Likelihood of failure as judged now: improbable, possible, probable or imminent; as in --crown and --limb." placeholder:"WORD"`
	Crown     string `enum:",improbable,possible,probable,imminent" default:"" help:"The same of the crown." placeholder:"WORD"`
	Limb      string `enum:",improbable,possible,probable,imminent" default:"" help:"The same of limbs." placeholder:"WORD"`
	Condition string `help:"Condition as seen." placeholder:"WORD"`
	Finished  bool   `help:"The work is at its end: of a restoration, the tree was found restored."`
	practiceFlag
	assumptions
	mustBy
}

// Run closes a job or sends it back.
func (p *jobsCheck) Run(c *cli) error {
	on, err := parseDay("on", p.On)
	if err != nil {
		return err
	}
	k := question.Checking{By: p.By, On: on, Accept: p.Accept, Reason: p.Reason, Condition: p.Condition, Finished: p.Finished}
	for _, f := range []struct {
		text string
		to   *inventory.Likelihood
	}{{p.WholeTree, &k.WholeTree}, {p.Crown, &k.Crown}, {p.Limb, &k.Limb}} {
		*f.to, _ = inventory.ParseLikelihood(f.text)
	}
	return c.withJob(p.ID, p.practiceFlag, p.assumptions, func(s *session, b *question.Basis, j *inventory.Job) error {
		out, err := question.Check(c.ctx, s, b, j.ID, k, inventory.Some(j.Version))
		if err != nil {
			return err
		}
		n := notes{c.stdout, terminalWidth(c.stdout)}
		if !p.Accept {
			n.say("Job %d goes back to the crew: %s", j.ID, p.Reason)
			return nil
		}
		n.say("Job %d is checked and closed.", j.ID)
		n.say("%s\n", harmText(out))
		return n.cautions()
	})
}

// jobItems says what the job's visit asks for.
func jobItems(n notes, d *question.JobDocument) error {
	var s pruning.Specification
	if len(d.Specification) == 0 {
		return nil
	}
	if err := json.Unmarshal(d.Specification, &s); err != nil {
		return err
	}
	if d.Visit < 1 || d.Visit > len(s.Visits) {
		return nil
	}
	v := &s.Visits[d.Visit-1]
	n.say("\nWhat to do: %s", v.Goal)
	for k := range v.Items {
		n.sayIn(fmt.Sprintf("  %d ", k+1), "%s", v.Items[k].Text)
	}
	for _, o := range s.Overrides {
		n.sayIn("  ", "decided against %s by %s: %s; reason: %s", o.Rule, o.By, o.Breach, o.Reason)
	}
	return nil
}

// jobRounds says what was done, round by round.
func jobRounds(n notes, d *question.JobDocument) {
	if d.Completion == nil {
		return
	}
	for _, c := range d.Completion.Rounds() {
		n.say("\nDone on %s by %s: %s, %s", c.On.Format(time.DateOnly), c.By, plural(int64(len(c.Cuts)), "cut", "cuts"), plural(int64(len(c.Defects)), "defect", "defects"))
		if c.Dose.OK {
			n.sayIn("  ", "%s of the live crown", share(c.Dose.V))
		}
		if c.Removed {
			n.sayIn("  ", "the tree was taken down")
		}
		for i := range c.Cuts {
			n.sayIn("  ", "%s", madeText(&c.Cuts[i]))
		}
		for _, x := range c.Defects {
			n.sayIn("  ", "defect: %s (%s)", x.What, x.Rule)
		}
		for _, x := range c.Deviations {
			n.sayIn("  ", "otherwise than specified: %s: %s", x.What, x.Reason)
		}
	}
	if len(d.Defects) > 0 {
		n.say("%s, which no later round mended.", plural(int64(len(d.Defects)), "defect stands", "defects stand"))
	}
}

// madeText says a cut as it was recorded.
func madeText(m *inventory.MadeCut) string {
	text := string(m.Kind)
	if m.Count > 1 {
		text = fmt.Sprintf("%d × %s", m.Count, m.Kind)
	}
	for _, f := range []struct {
		name string
		v    inventory.Opt[float64]
		unit string
		by   float64
	}{{"of", m.Diameter, "cm", 100}, {"to a lateral of", m.LateralDiameter, "cm", 100}, {"stub", m.StubLength, "cm", 100}, {"at", m.Height, "m up", 1}, {"shoots left of", m.RegrowthLeft, "m", 1}} {
		if f.v.OK {
			text += fmt.Sprintf(", %s %s %s", f.name, strconv.FormatFloat(f.v.V*f.by, 'f', 1, 64), f.unit)
		}
	}
	if m.OnCut != 0 {
		text += fmt.Sprintf(", on cut %d", m.OnCut)
	}
	if m.Gone {
		text += ", its wood came off"
	}
	if m.Recorded != 0 {
		text += fmt.Sprintf("; recorded as cut %d", m.Recorded)
	}
	return text
}

// jobText shows a job.
func jobText(n notes, d *question.JobDocument) error {
	n.say("Job %d, %s: %s of tree %s, visit %d, %d, %s: %s", d.ID, d.Site, d.Work, d.Tag, d.Visit, d.Year, d.Package, d.State)
	next := make([]string, len(d.Next))
	for i, s := range d.Next {
		next[i] = string(s)
	}
	n.say("can become %s", strings.Join(next, " or "))
	if !d.TreeStatus.Standing() {
		n.say("The tree is %s.", orUnknown(string(d.TreeStatus), "no longer in the inventory"))
	}
	if d.Urgent {
		n.say("urgent: a hazard that cannot wait for windows")
	}
	n.say("%.2f crew-hours, cost %.0f; up to %s of the live crown", d.Hours, d.Cost, share(d.Dose))
	n.say("days open: %s", d.OpenDays)
	if d.Quietest != "" {
		n.say("quietest: %s", d.Quietest)
	}
	if err := jobItems(n, d); err != nil {
		return err
	}
	n.say("\nGates:")
	for _, g := range d.Gates {
		text := g.Name + ": not settled; " + g.Why
		if g.Cleared {
			text = fmt.Sprintf("%s: settled by %s on %s %s", g.Name, g.By, g.On.V.Format(time.DateOnly), g.Reference)
		}
		n.sayIn("  ", "%s", strings.TrimSpace(text))
	}
	jobRounds(n, d)
	n.say("\nSteps:")
	for _, s := range d.Steps {
		text := fmt.Sprintf("%s %s by %s", s.At.Local().Format("2006-01-02 15:04"), s.To, s.By)
		if s.Reason != "" {
			text += ": " + s.Reason
		}
		n.sayIn("  ", "%s", text)
	}
	for _, p := range d.Photos {
		n.sayIn("  ", "photo %d: %s, %d bytes, SHA-256 %.12s…, by %s", p.ID, p.Name, p.Bytes, p.SHA256, p.By)
	}
	n.say("")
	return n.cautions()
}
