package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

type specifyCmd struct {
	Tag    string `arg:"" help:"The tree's tag or source id."`
	Format string `default:"text" enum:"text,json" help:"text or json."`
	workFlags
	byFlag
	Dose      []string `help:"Set a visit's dose: --dose 2=0.1 takes a tenth of the live crown at the second visit." placeholder:"VISIT=SHARE" sep:"none"`
	After     []string `help:"Set when a visit comes: --after 2=4 is four years after the first." placeholder:"VISIT=YEARS" sep:"none"`
	Lateral   string   `help:"Least diameter of the laterals cut to, over that of what is removed, such as 0.5." placeholder:"SHARE"`
	Cycle     string   `help:"Years from the last visit to the next look." placeholder:"YEARS"`
	Objective string   `help:"What the work is for, in words." placeholder:"TEXT"`
	Note      string   `help:"A note to keep with the change." placeholder:"TEXT"`
	Reason    string   `help:"Why a rule is gone against. Without one, what breaks a rule is refused; topping and heading are always." placeholder:"TEXT"`
}

// Run shows what to cut on a tree and what not, or keeps it as a person wants it.
func (p *specifyCmd) Run(c *cli) error {
	change, changes, err := p.change()
	if err != nil {
		return err
	}
	s, b, err := c.work(&p.workFlags)
	if err != nil {
		return err
	}
	defer s.close()
	var found *question.Specified
	if changes {
		if p.AsOf != "" {
			return inventory.Errorf(inventory.Invalid, "--as-of: the past is not changed; leave it out to change the specification")
		}
		found, err = question.ChangeSpecification(c.ctx, s, b, p.Tag, change)
	} else {
		found, err = question.Specify(c.ctx, s, b, p.Tag)
	}
	if err != nil {
		return err
	}
	if p.Format == "json" {
		return encode(c.stdout, found.Document(b))
	}
	return writeSpecification(notes{c.stdout, terminalWidth(c.stdout)}, b, found)
}

// change reads what is to be set, and whether anything is.
func (p *specifyCmd) change() (ch pruning.Change, any bool, err error) {
	ch = pruning.Change{By: p.name(), Reason: p.Reason, At: time.Now().UTC()}
	visits := make(map[int]*pruning.VisitChange)
	var order []int
	visit := func(flag, text string) (*pruning.VisitChange, string, error) {
		n, value, ok := strings.Cut(text, "=")
		number, err := strconv.Atoi(n)
		if !ok || err != nil || number < 1 {
			return nil, "", inventory.Errorf(inventory.Invalid, "--%s %s: expected VISIT=VALUE, such as 2=0.1", flag, text)
		}
		if visits[number] == nil {
			visits[number] = &pruning.VisitChange{Number: number}
			order = append(order, number)
		}
		return visits[number], value, nil
	}
	for _, text := range p.Dose {
		v, value, err := visit("dose", text)
		if err != nil {
			return ch, false, err
		}
		share, err := strconv.ParseFloat(value, 64)
		if err != nil {
			return ch, false, inventory.Errorf(inventory.Invalid, "--dose %s: expected a share of the live crown, such as 0.1", text)
		}
		v.Dose = inventory.Some(share)
	}
	for _, text := range p.After {
		v, value, err := visit("after", text)
		if err != nil {
			return ch, false, err
		}
		years, err := strconv.Atoi(value)
		if err != nil {
			return ch, false, inventory.Errorf(inventory.Invalid, "--after %s: expected whole years", text)
		}
		v.AfterYears = inventory.Some(years)
	}
	for _, n := range order {
		ch.Visits = append(ch.Visits, *visits[n])
	}
	if p.Lateral != "" {
		share, err := strconv.ParseFloat(p.Lateral, 64)
		if err != nil {
			return ch, false, inventory.Errorf(inventory.Invalid, "--lateral %s: expected a share, such as 0.5", p.Lateral)
		}
		ch.LateralShare = inventory.Some(share)
	}
	if p.Cycle != "" {
		years, err := strconv.Atoi(p.Cycle)
		if err != nil {
			return ch, false, inventory.Errorf(inventory.Invalid, "--cycle %s: expected whole years", p.Cycle)
		}
		ch.CycleYears = inventory.Some(years)
	}
	if p.Objective != "" {
		ch.Objective = inventory.Some(p.Objective)
	}
	if p.Note != "" {
		ch.Note = inventory.Some(p.Note)
	}
	any = len(ch.Visits) > 0 || ch.LateralShare.OK || ch.CycleYears.OK || ch.Objective.OK || ch.Note.OK
	if !any && p.Reason != "" {
		return ch, false, inventory.Errorf(inventory.Invalid, "--reason: nothing is changed that needs one: give --dose, --after, --lateral, --cycle, --objective or --note too")
	}
	return ch, any, nil
}

// writeSpecification says a specification in words.
func writeSpecification(n notes, b *question.Basis, s *question.Specified) error {
	d := &s.Spec
	name := s.Tree.Species
	if name == "" {
		name = "species not recorded"
	}
	n.say("%s, tree %s, %s: %s", b.Site.Name, s.Label(), name, d.Work)
	who := "by rules from what is recorded"
	if s.Kept != 0 {
		who = "as a person decided"
	}
	n.say("%s; practice %s, years counted to %s\n", who, d.PracticeName, d.AsOf)
	n.say("Objective: %s", d.Objective)
	n.say("Pruning system: %s; %s tree%s; at the most %s of the live crown in a season, %s over all visits", d.System, d.Maturity, stressedWord(d.Stressed), share(d.DoseCap), share(d.DoseTotal))
	if d.SecondOpinion != "" {
		n.say("Second opinion first: %s", d.SecondOpinion)
	}
	for i := range d.Visits {
		v := &d.Visits[i]
		when := "first"
		if v.AfterYears > 0 {
			when = plural(int64(v.AfterYears), "year", "years") + " after the first"
		}
		n.say("\nVisit %d, %s: %s; up to %s of the live crown", v.Number, when, strings.TrimSuffix(v.Goal, "."), share(v.Dose))
		for k := range v.Items {
			n.sayIn(fmt.Sprintf("  %d ", k+1), "%s", v.Items[k].Text)
		}
	}
	if len(d.Not) > 0 {
		n.say("\nNot: %s", strings.Join(d.Not, " "))
	}
	if d.Stop != "" {
		n.say("Finished when: %s", d.Stop)
	}
	n.say("Next look %s after the last visit.", plural(int64(d.CycleYears), "year", "years"))
	n.say("\nWhy:")
	for _, r := range d.Rules {
		n.sayIn("  ", "%s: %s (%s)", r.Rule, r.Why, r.Source)
	}
	for _, o := range d.Overrides {
		n.sayIn("  ", "gone against %s by %s: %s; reason: %s", o.Rule, o.By, o.Breach, o.Reason)
	}
	n.say("\nDays open within a year: %s", s.OpenDays())
	n.say("%s", b.Practice.Windows.Note)
	if s.Quiet != "" {
		n.say("Quietest: %s", s.Quiet)
	}
	n.say("A visit: %.2f crew-hours, %s", s.Cost.Hours, money(s.Cost.Cost, b.Practice.Rates.Currency))
	for _, l := range s.Cost.Lines {
		n.sayIn("  ", "%s %.2f h", l.Name, l.Hours)
	}
	n.say("Harm index %s; a visit is taken to take off %s of it. %s", ranking.Figure(s.Result.Harm*1000), share(b.Practice.Effect.TakesOff[d.Work].Value), question.EffectAssumption)
	if a, ok := question.BalanceOf(&s.Tree); ok {
		n.say("Balance: %s", a.String())
	}
	n.say("Progress: %s\n", s.Progress.Words)
	return n.cautions()
}

func stressedWord(stressed bool) string {
	if stressed {
		return ", stressed"
	}
	return ""
}

// share writes a share as percent.
func share(v float64) string { return strconv.FormatFloat(v*100, 'f', -1, 64) + " %" }

// money writes units of money.
func money(v float64, currency string) string {
	text := strconv.FormatFloat(v, 'f', 0, 64)
	if currency == "" {
		return text + " units of money"
	}
	return text + " " + currency
}
