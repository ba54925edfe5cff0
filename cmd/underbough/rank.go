package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// asked is what a ranking may be asked, whether or not it is kept.
type asked struct {
	Site  string `help:"Site to rank; may be left out where there is only one." placeholder:"NAME"`
	Over  string `help:"Only trees over any of these kinds of target, such as parking,walkway." placeholder:"KINDS"`
	Cut   string `help:"Only trees carrying any of these kinds of cut, such as topping,heading." placeholder:"KINDS"`
	Since int    `help:"Only where such a cut was made in this year or later." placeholder:"YEAR"`
	By    string `default:"harm" enum:"harm,exposure,rating" help:"Order: harm, exposure or rating."`
	Draws int    `help:"Draw likelihoods, numbers of people and sizes this often within their uncertainty and say between which ranks a tree lies in 90 % of the draws; 500 is enough." placeholder:"N"`
	Seed  uint64 `default:"1" help:"Seed of the draws: the same seed gives the same intervals (default: 1)." placeholder:"N"`
	Top   int    `default:"10" help:"With --draws: how often a tree is among the first so many (default: 10)." placeholder:"K"`
	assumptions
}

// maxDraws keeps a slip of the finger from running for hours.
const maxDraws = 2_000

func (a *asked) query(limit int) (q ranking.Query, err error) {
	q = ranking.Query{Since: a.Since, Limit: limit}
	if limit < 0 {
		return q, inventory.Errorf(inventory.Invalid, "--limit %d: expected 0 or more, where 0 lists all", limit)
	}
	if a.Draws < 0 || a.Draws > maxDraws {
		return q, inventory.Errorf(inventory.Invalid, "--draws %d: expected 0 or more, at most %d, such as 500", a.Draws, maxDraws)
	}
	if a.Draws > 0 && a.Top < 1 {
		return q, inventory.Errorf(inventory.Invalid, "--top %d: expected 1 or more", a.Top)
	}
	if q.Over, err = question.ParseKinds(splitList(a.Over)); err != nil {
		return q, err
	}
	if q.Cuts, err = question.ParseCuts(splitList(a.Cut)); err != nil {
		return q, err
	}
	q.By, err = ranking.ParseBy(a.By)
	return q, err
}

type rankCmd struct {
	asked
	Limit  int      `default:"20" help:"How many trees to list; 0 lists all."`
	WhatIf []string `name:"what-if" sep:"none" help:"Show where trees would stand if this were so, and store nothing; may be given more than once: ${change_forms}. Explain lists the numbers of targets and cuts." placeholder:"CHANGE"`
	Format string   `default:"table" enum:"table,json,geojson,csv" help:"table, json, geojson or csv."`
}

// Run brings the exposures up to date and lists the trees.
func (r *rankCmd) Run(c *cli) error {
	// A question that cannot be asked needs no database to say so.
	if _, err := r.query(r.Limit); err != nil {
		return err
	}
	if len(r.WhatIf) > 0 {
		return r.whatIf(c)
	}
	s, sweep, err := c.look(r.Site, &r.assumptions)
	if err != nil {
		return err
	}
	defer s.close()
	return r.answer(c, s, sweep)
}

// rank lists the trees of an inventory that is open already.
func (r *rankCmd) rank(c *cli, s *session) error {
	p, err := r.profile()
	if err != nil {
		return err
	}
	asOf, err := r.day()
	if err != nil {
		return err
	}
	if err := c.lookBack(s, &r.assumptions); err != nil {
		return err
	}
	site, err := s.GetSite(c.ctx, s.client, r.Site)
	if err != nil {
		return err
	}
	return r.answer(c, s, &ranking.Sweep{Site: site, Profile: p, AsOf: asOf})
}

func (r *rankCmd) answer(c *cli, s *session, sweep *ranking.Sweep) error {
	q, err := r.query(r.Limit)
	if err != nil {
		return err
	}
	draws := question.Draws{Number: r.Draws, Seed: r.Seed, Top: r.Top}
	answer, err := question.Rank(c.ctx, s, sweep.Site, q, draws, sweep.Profile, sweep.AsOf)
	if err != nil {
		return err
	}
	if r.Format == "table" {
		trees := make([]int64, len(answer.Rows))
		for i := range answer.Rows {
			trees[i] = int64(answer.Rows[i].Tree)
		}
		work, err := question.WorkOn(c.ctx, s, s.client, trees)
		if err != nil {
			return err
		}
		return rankingTable(c.stdout, answer, work, terminalWidth(c.stdout))
	}
	return rankingListing(answer).write(c.stdout, c.stderr, r.Format)
}

// rankingTable is the answer for people.
func rankingTable(w io.Writer, a *question.Ranking, work map[inventory.TreeID]inventory.Job, width int) error {
	n := notes{w, width}
	n.say("%s: %s, by %s: %d of %d trees", a.Site.Name, describe(a.Query.Cuts, a.Query.Since, a.Query.Over), a.Query.By, len(a.Rows), a.Total)
	n.say("%d standing trees over %d targets, %d overlaps; profile %s, as of %s\n",
		a.Run.Trees, a.Run.Targets, a.Run.Overlaps, a.Run.ProfileName, a.Run.AsOf.Format(time.DateOnly))
	if a.Note != "" {
		n.say("note: %s\n", a.Note)
	}
	if len(a.Rows) == 0 {
		fmt.Fprintln(w, "No tree answers to that.")
	} else if err := rowsTable(a, work).write(w, width); err != nil {
		return err
	}
	n.say("\npeople, vehicles: mean number under the crown or limb over the most, all hours of the week; busiest: people in the busiest hour.")
	n.say("rating: the higher of people and property by the mean of all hours; / by the busiest hour, where that is higher.")
	n.say("* inferred by a screening rule, judged by nobody. The harm index orders trees; it predicts nothing.")
	if a.Draws.Number > 0 {
		n.say("rank 5-95 %%: where the tree stands among all %d standing trees in 90 %% of the %d draws (seed %d) over what is uncertain; top %d: the share of draws in which it is among the first %d.",
			a.Run.Trees, a.Draws.Number, a.Draws.Seed, a.Draws.Top, a.Draws.Top)
	}
	return n.cautions()
}

// rowsTable lays the rows out. What is left out first on a narrow terminal is
// said again under each row, or can be had in CSV.
func rowsTable(a *question.Ranking, work map[inventory.TreeID]inventory.Job) *table {
	t := &table{columns: []column{
		{title: "#", right: true}, {title: "tag", least: 6}, {title: "species", least: 8, spare: 3}, {title: "over", least: 12},
		{title: "people", right: true}, {title: "busiest", right: true, spare: 6}, {title: "person-h/yr", right: true, spare: 1}, {title: "vehicles", right: true, spare: 2},
		{title: "cuts", least: 10, spare: 4}, {title: "failure", least: 9, spare: 5}, {title: "rating", least: 8}, {title: "harm index", right: true},
	}}
	if a.Draws.Number > 0 {
		t.columns = append(t.columns, column{title: "rank 5-95 %", right: true}, column{title: fmt.Sprintf("top %d", a.Draws.Top), right: true})
	}
	for i := range a.Rows {
		r := &a.Rows[i]
		over := make([]string, len(r.Over))
		for k, u := range r.Over {
			over[k] = u.String()
		}
		failure := r.Likelihood.String()
		if r.Inferred() {
			failure += "*"
		}
		cells := []string{strconv.Itoa(r.Rank), label(r), speciesOf(r), strings.Join(over, ", "),
			ranking.Figure(r.Count.Persons()), ranking.Figure(r.Week.Busiest), ranking.Figure(r.PersonHours()), ranking.Figure(r.Count.Vehicles),
			r.CutSummary(), failure, ratingCell(r), ranking.Figure(r.HarmIndex())}
		if a.Draws.Number > 0 {
			cells = append(cells, fmt.Sprintf("%d-%d", r.Doubt.V.Low, r.Doubt.V.High), fmt.Sprintf("%.0f %%", r.Doubt.V.Top*100))
		}
		below := r.Reason()
		if apart := ranking.RatingsApart(r.Score); apart != "" {
			below += "; " + apart
		}
		if j, ok := work[r.Tree]; ok {
			below += "; work done: " + question.WorkText(&j)
		}
		t.add(below, cells...)
	}
	return t
}

// ratingCell is the rating, and that by the busiest hour where it is another.
func ratingCell(r *ranking.Row) string {
	if r.Score.Busiest <= r.Score.Rating {
		return r.Score.Rating.String()
	}
	return strings.TrimSuffix(r.Score.Rating.String(), " points") + "/" + r.Score.Busiest.String()
}

func label(r *ranking.Row) string {
	if r.Tag != "" {
		return r.Tag
	}
	return r.SourceID
}

func speciesOf(r *ranking.Row) string {
	if r.Species == "" {
		return r.CommonName
	}
	return r.Species
}

// describe says a question in words.
func describe(cuts []inventory.CutKind, since int, over []inventory.TargetKind) string {
	text := "trees"
	if len(cuts) > 0 {
		text += " carrying " + words(cuts)
	}
	if since > 0 {
		text += fmt.Sprintf(" since %d", since)
	}
	if len(over) > 0 {
		text += " over " + words(over)
	}
	return text
}

func words[T ~string](list []T) string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = strings.ReplaceAll(string(w), "_", " ")
	}
	return strings.Join(out, " or ")
}

// rankingListing is the answer for programs.
func rankingListing(a *question.Ranking) *listing {
	l := &listing{head: &orderedMap{}, columns: names((&ranking.Row{}).Properties()), points: true}
	l.head.set("site", a.Site.Name)
	l.head.set("question", describe(a.Query.Cuts, a.Query.Since, a.Query.Over))
	l.head.set("by", a.Query.By)
	l.head.set("total", a.Total)
	if a.Note != "" {
		l.head.set("note", a.Note)
	}
	l.head.set("standing_trees", a.Run.Trees)
	l.head.set("targets", a.Run.Targets)
	l.head.set("overlaps", a.Run.Overlaps)
	l.head.set("profile", a.Run.ProfileName)
	l.head.set("profile_digest", a.Run.ProfileDigest)
	l.head.set("as_of", a.Run.AsOf.Format(time.DateOnly))
	if a.Draws.Number > 0 {
		l.head.set("draws", a.Draws.Number)
		l.head.set("seed", a.Draws.Seed)
		l.head.set("top", a.Draws.Top)
	}
	for i := range a.Rows {
		r := &a.Rows[i]
		l.rows = append(l.rows, listed{id: r.Tree, properties: r.Properties(), geometry: r.Point})
	}
	return l
}
