package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

type programmeCmd struct {
	Make    programmeMake    `cmd:"" help:"Choose what to do in which year within a budget, to take off the most expected harm, and keep it."`
	List    programmeList    `cmd:"" help:"List the programmes, the latest first."`
	Show    programmeShow    `cmd:"" help:"Show a programme: its years, or its trees."`
	Propose programmePropose `cmd:"" help:"Make a programme's jobs: one for each visit within its years."`
}

type programmeMake struct {
	Name    string   `required:"" help:"What people call it." placeholder:"NAME"`
	Years   int      `default:"5" help:"Years, 1 to 10 (default: 5)."`
	Budget  string   `required:"" help:"Budget of a year, or of each year with commas between." placeholder:"N[,N…]"`
	In      string   `enum:"money,hours" default:"money" help:"What the budget is in: money or crew-hours (default: money)." placeholder:"money|hours"`
	From    string   `help:"First day; the first year ends with its calendar year (default: the first of next January)." placeholder:"YYYY-MM-DD"`
	Must    string   `help:"Trees that have to be done whatever else is, by tag." placeholder:"TAGS"`
	MustIf  string   `enum:",moderate,high,extreme" default:"" help:"Trees rated so or higher have to be done." placeholder:"RATING"`
	MustBy  int      `default:"1" help:"Year, from 1, by whose end what must be done is begun (default: 1)." placeholder:"YEAR"`
	Pin     []string `help:"Put a tree's first visit in a year: --pin RP-137=2028." placeholder:"TAG=YEAR" sep:"none"`
	Cycle   int      `default:"5" help:"Years of the flat cycle that it is compared with (default: 5)."`
	Least   float64  `default:"0" help:"Leave out trees of a lower harm index than this, unless they must be done."`
	Format  string   `default:"text" enum:"text,json" help:"text or json."`
	Discard bool     `help:"Work it out and show it without keeping it."`
	workFlags
	byFlag
}

// question is what is asked for.
func (p *programmeMake) question(asOf time.Time) (programme.Question, error) {
	var q programme.Question
	switch {
	case p.Years >= 1 && (p.MustBy < 1 || p.MustBy > p.Years):
		return q, inventory.Errorf(inventory.Invalid, "--must-by %d: expected a year of the programme, 1 to %d", p.MustBy, p.Years)
	case p.Cycle < 1 || p.Cycle > 50:
		return q, inventory.Errorf(inventory.Invalid, "--cycle %d: expected 1 to 50 years", p.Cycle)
	case !(p.Least >= 0) || math.IsInf(p.Least, 1):
		return q, inventory.Errorf(inventory.Invalid, "--least %v: expected a harm index, 0 or more", p.Least)
	}
	q = programme.Question{From: p.From, Years: p.Years, Measure: programme.Measure(p.In), Must: splitList(p.Must), MustDue: p.MustBy - 1, Cycle: p.Cycle, Least: p.Least, Rated: p.MustIf}
	if q.From == "" {
		q.From = fmt.Sprintf("%d-01-01", asOf.Year()+1)
	}
	for _, text := range splitList(p.Budget) {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			return q, inventory.Errorf(inventory.Invalid, "--budget %s: %q is not a number", p.Budget, text)
		}
		q.Budget = append(q.Budget, v)
	}
	for _, text := range p.Pin {
		tag, year, ok := cutLast(text, "=")
		n, err := strconv.Atoi(year)
		if !ok || err != nil || tag == "" {
			return q, inventory.Errorf(inventory.Invalid, "--pin %s: expected TAG=YEAR, such as RP-137=2028", text)
		}
		q.Pins = append(q.Pins, programme.Pin{Tag: tag, Year: n})
	}
	return q, nil
}

// cutLast cuts a text at the last of a separator.
func cutLast(s, sep string) (before, after string, ok bool) {
	i := strings.LastIndex(s, sep)
	if i < 0 {
		return s, "", false
	}
	return s[:i], s[i+len(sep):], true
}

// Run makes a programme.
func (p *programmeMake) Run(c *cli) error {
	s, b, err := c.work(&p.workFlags)
	if err != nil {
		return err
	}
	defer s.close()
	q, err := p.question(b.AsOf)
	if err != nil {
		return err
	}
	var made *question.Planned
	if p.Discard {
		made, err = question.Plan(c.ctx, s, b, q)
	} else {
		made, err = question.MakeProgramme(c.ctx, s, b, p.Name, p.name(), q)
	}
	if err != nil {
		return err
	}
	if p.Discard {
		made.Record.Name = p.Name
	}
	return writeProgramme(c, &made.Record, made.Items, p.Format, 12)
}

type programmeList struct {
	Site   string `help:"Only of this site." placeholder:"NAME"`
	Format string `default:"table" enum:"table,json" help:"table or json."`
}

// Run lists the programmes.
func (p *programmeList) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	site, err := s.siteNamed(c.ctx, p.Site)
	if err != nil {
		return err
	}
	list, err := s.FindProgrammes(c.ctx, s.client, site)
	if err != nil {
		return err
	}
	if p.Format == "json" {
		out := make([]*question.ProgrammeDocument, len(list))
		for i := range list {
			out[i] = question.DocumentOf(&list[i])
		}
		return encode(c.stdout, out)
	}
	if len(list) == 0 {
		_, err := fmt.Fprintln(c.stdout, "No programme is kept yet: underbough programme make --name NAME --budget N makes one.")
		return err
	}
	t := &table{columns: []column{
		{title: "id", right: true}, {title: "name", least: 10}, {title: "site", least: 8}, {title: "years"}, {title: "trees planned", right: true},
		{title: "harm index off", right: true}, {title: "gap", right: true, spare: 2}, {title: "made"}, {title: "by", least: 6, spare: 1}, {title: "jobs made"},
	}}
	for i := range list {
		r := &list[i]
		jobs := "no"
		if r.ProposedAt.OK {
			jobs = r.ProposedAt.V.Local().Format(time.DateOnly)
		}
		t.add("", strconv.FormatInt(int64(r.ID), 10), r.Name, r.Site.Name, fmt.Sprintf("%d–%d", r.Result.FirstYear, r.Result.FirstYear+r.Question.Years-1),
			fmt.Sprintf("%d of %d", r.Result.Planned, r.Result.Trees), ranking.Figure(r.Result.TakenOff*1000), gapText(r.Result.Gap), r.MadeAt.Local().Format(time.DateOnly), r.MadeBy, jobs)
	}
	return t.write(c.stdout, terminalWidth(c.stdout))
}

func gapText(gap float64) string { return strconv.FormatFloat(gap*100, 'f', 2, 64) + " %" }

type programmeShow struct {
	ID     int64  `arg:"" help:"Number of the programme."`
	Limit  int    `default:"0" help:"How many trees to list; 0 lists all."`
	Format string `default:"text" enum:"text,json,csv" help:"text, json (with every tree) or csv (a row a tree)."`
}

// Run shows a programme.
func (p *programmeShow) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	r, items, err := s.GetProgramme(c.ctx, s.client, inventory.ProgrammeID(p.ID))
	if err != nil {
		return err
	}
	return writeProgramme(c, &r, items, p.Format, p.Limit)
}

type programmePropose struct {
	ID int64 `arg:"" help:"Number of the programme."`
	practiceFlag
	profileFlag
	byFlag
}

// Run makes a programme's jobs.
func (p *programmePropose) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	r, _, err := s.GetProgramme(c.ctx, s.client, inventory.ProgrammeID(p.ID))
	s.close()
	if err != nil {
		return err
	}
	f := workFlags{Site: r.Site.Name, practiceFlag: p.practiceFlag, assumptions: assumptions{profileFlag: p.profileFlag}}
	s, b, err := c.work(&f)
	if err != nil {
		return err
	}
	defer s.close()
	made, err := question.Propose(c.ctx, s, b, r.ID, p.name())
	if err != nil {
		return err
	}
	n := notes{c.stdout, terminalWidth(c.stdout)}
	n.say("%d jobs are proposed by programme %d, %s.", made.Jobs, r.ID, r.Name)
	if made.Withdrawn > 0 {
		n.say("%d jobs of an older programme, that nobody had agreed to, are withdrawn.", made.Withdrawn)
	}
	if len(made.Gone) > 0 {
		n.say("No job for trees that stand no longer or are in work by now: %s", firstOf(made.Gone, 20))
	}
	n.say("List them: underbough jobs list%s\n", c.dataFlag())
	return n.cautions()
}
