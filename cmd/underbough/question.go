package main

import (
	"fmt"
	"text/tabwriter"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

// questionCmd keeps filters by name.
type questionCmd struct {
	Save saveQuestionCmd  `cmd:"" help:"Keep a filter by name; the service serves it as a collection of its own."`
	List listQuestionsCmd `cmd:"" help:"List the questions that are kept."`
	Drop dropQuestionCmd  `cmd:"" help:"Forget a question."`
}

type saveQuestionCmd struct {
	Name       string `arg:"" help:"As in the address of its collection: a-z, 0-9, - and _."`
	Filter     string `arg:"" help:"CQL2 text, such as \"A_OVERLAPS(over, ('parking','walkway')) AND A_CONTAINS(cut_kinds, ('topping'))\"."`
	Collection string `default:"trees" help:"What it selects from." placeholder:"NAME"`
	Title      string `help:"What people call it." placeholder:"TEXT"`
}

// Run keeps a question and says how many features it holds for.
func (q *saveQuestionCmd) Run(c *cli) error {
	saved := inventory.SavedQuestion{Name: q.Name, Title: q.Title, Collection: q.Collection, Filter: q.Filter, ChangedBy: user()}
	if err := question.CheckQuestion(&saved); err != nil {
		return err
	}
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	if err := s.SaveQuestion(c.ctx, s.client, saved); err != nil {
		return err
	}
	fmt.Fprintf(c.stdout, "Kept as %s; served at /collections/%s.\n", q.Name, q.Name)
	return nil
}

type listQuestionsCmd struct{}

// Run lists the questions.
func (listQuestionsCmd) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	list, err := s.FindQuestions(c.ctx, s.client)
	if err != nil {
		return err
	}
	if len(list) == 0 {
		fmt.Fprintln(c.stdout, "No question is kept: underbough question save NAME FILTER keeps one.")
		return nil
	}
	w := tabwriter.NewWriter(c.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "name\tof\tkept\tby\tfilter")
	for _, q := range list {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", q.Name, q.Collection, q.ChangedAt.Format(time.DateOnly), q.ChangedBy, q.Filter)
	}
	return w.Flush()
}

type dropQuestionCmd struct {
	Name string `arg:"" help:"The question's name."`
}

// Run forgets a question.
func (q *dropQuestionCmd) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	return s.DropQuestion(c.ctx, s.client, q.Name)
}
