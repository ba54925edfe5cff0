package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// whatIf shows where trees would stand.
func (r *rankCmd) whatIf(c *cli) error {
	if r.Over != "" || r.Cut != "" || r.Since != 0 || r.Draws > 0 {
		return inventory.Errorf(inventory.Invalid, "--what-if ranks among all standing trees of the site: leave out --over, --cut, --since and --draws")
	}
	if r.Format == "geojson" {
		return inventory.Errorf(inventory.Invalid, "--what-if has no --format geojson: expected table, json or csv")
	}
	by, err := ranking.ParseBy(r.By)
	if err != nil {
		return err
	}
	changes := make([]ranking.Change, len(r.WhatIf))
	for i, text := range r.WhatIf {
		if changes[i], err = ranking.ParseChange(text); err != nil {
			return err
		}
	}
	s, sweep, err := c.look(r.Site, &r.assumptions)
	if err != nil {
		return err
	}
	defer s.close()
	answer, err := question.WhatIf(c.ctx, s, sweep.Site, changes, by, sweep.Profile, sweep.AsOf)
	if err != nil {
		return err
	}
	moves, err := supposedMoves(answer)
	if err != nil {
		return err
	}
	if r.Format == "table" {
		return whatIfTable(c.stdout, answer, moves, r.Limit, terminalWidth(c.stdout))
	}
	return whatIfListing(answer, moves).write(c.stdout, c.stderr, r.Format)
}

// supposedMove is a tree's row as it is and as it would be; after is nil where
// it would be gone.
type supposedMove struct {
	before, after *ranking.Row
	why           []string
}

func supposedMoves(a *question.Supposed) ([]supposedMove, error) {
	out := make([]supposedMove, len(a.Moves))
	for i := range a.Moves {
		m := &a.Moves[i]
		row := func(rank int, r *ranking.Result) *ranking.Row {
			return &ranking.Row{Rank: rank, Result: *r, Tag: m.Tree.Tag, SourceID: m.Tree.SourceID, Species: m.Tree.Species, CommonName: m.Tree.CommonName, Point: m.Tree.Point, DBH: m.Tree.DBH}
		}
		out[i].before = row(m.RankBefore, &m.Before)
		if m.After == nil {
			out[i].why = []string{"the tree is gone"}
			continue
		}
		out[i].after = row(m.RankAfter, m.After)
		var err error
		if out[i].why, err = ranking.Differences(out[i].before, out[i].after); err != nil {
			return nil, err
		}
		if m.Note != "" {
			out[i].why = append(out[i].why, m.Note)
		}
		switch {
		case len(out[i].why) > 0:
		case m.Before.Harm == m.After.Harm:
			out[i].why = []string{"the same itself"}
		default:
			out[i].why = []string{"less or more to strike under a part that is neither the worst nor over the most"}
		}
	}
	return out, nil
}

func whatIfTable(w io.Writer, a *question.Supposed, moves []supposedMove, limit, width int) error {
	texts := make([]string, len(a.Changes))
	for i, c := range a.Changes {
		texts[i] = c.Text
	}
	n := notes{w, width}
	n.say("%s, if %s: nothing is stored", a.Site.Name, strings.Join(texts, " and "))
	n.say("%d of %d standing trees are reached, by %s; profile %s, as of %s\n",
		len(moves), a.Trees, a.By, a.Run.ProfileName, a.Run.AsOf.Format(time.DateOnly))
	t := &table{columns: []column{
		{title: "tag", least: 6}, {title: "species", least: 8, spare: 1}, {title: "rank", right: true}, {title: "then", right: true}, {title: "places"},
		{title: "harm index", right: true}, {title: "then", right: true}, {title: "people", right: true}, {title: "then", right: true},
		{title: "busiest", right: true, spare: 2}, {title: "then", right: true, spare: 2},
	}}
	for i := range moves {
		if limit > 0 && i == limit {
			break
		}
		b, after := moves[i].before, moves[i].after
		cells := []string{label(b), speciesOf(b), fmt.Sprint(b.Rank), "gone", "", ranking.Figure(b.HarmIndex()), "0", ranking.Figure(b.Count.Persons()), "0", ranking.Figure(b.Week.Busiest), "0"}
		if after != nil {
			cells[3], cells[4] = fmt.Sprint(after.Rank), placesMoved(b.Rank-after.Rank)
			cells[6], cells[8], cells[10] = ranking.Figure(after.HarmIndex()), ranking.Figure(after.Count.Persons()), ranking.Figure(after.Week.Busiest)
		}
		t.add(strings.Join(moves[i].why, "; "), cells...)
	}
	if len(moves) == 0 {
		fmt.Fprintln(w, "No standing tree is reached: the order stays as it is.")
	} else if err := t.write(w, width); err != nil {
		return err
	}
	if limit > 0 && len(moves) > limit {
		fmt.Fprintf(w, "… and %d more: --limit 0 lists all\n", len(moves)-limit)
	}
	n.say("\nrank: among all standing trees of the site. people: mean number under the crown or limb over the most; busiest: in the busiest hour.")
	n.say("The harm index orders trees; it predicts nothing. Nothing of this is stored.")
	return n.cautions()
}

// placesMoved says how far a tree would move; up is towards the first.
func placesMoved(up int) string {
	switch {
	case up > 0:
		return fmt.Sprintf("%d up", up)
	case up < 0:
		return fmt.Sprintf("%d down", -up)
	}
	return "same"
}

func whatIfListing(a *question.Supposed, moves []supposedMove) *listing {
	texts := make([]string, len(a.Changes))
	for i, c := range a.Changes {
		texts[i] = c.Text
	}
	l := &listing{head: &orderedMap{}, points: true}
	l.head.set("site", a.Site.Name)
	l.head.set("what_if", texts)
	l.head.set("stored", false)
	l.head.set("by", a.By)
	l.head.set("standing_trees", a.Trees)
	l.head.set("profile", a.Run.ProfileName)
	l.head.set("profile_digest", a.Run.ProfileDigest)
	l.head.set("as_of", a.Run.AsOf.Format(time.DateOnly))
	for i := range moves {
		l.rows = append(l.rows, listed{id: moves[i].before.Tree, properties: whatIfProperties(&moves[i]), geometry: moves[i].before.Point})
	}
	l.columns = names(whatIfProperties(&supposedMove{before: &ranking.Row{}}))
	return l
}

// whatIfProperties gives the figures that a change can move, as they are and as
// they would be, under the names that a ranking gives them.
func whatIfProperties(m *supposedMove) []ranking.Property {
	before := m.before.Properties()
	var after []ranking.Property
	if m.after != nil {
		after = m.after.Properties()
	}
	var out []ranking.Property
	for i, p := range before {
		switch p.Name {
		case "tag", "source_id", "species", "common_name":
			out = append(out, p)
		case "rank", "people", "busiest_people", "vehicles", "harm_index", "likelihood", "rating", "rating_people", "rating_property", "rating_busiest_hour":
			then := ranking.Property{Name: p.Name + "_then"}
			if after != nil {
				then.Value = after[i].Value
			}
			out = append(out, p, then)
		}
	}
	return append(out, ranking.Property{Name: "gone_then", Value: m.after == nil}, ranking.Property{Name: "why", Value: strings.Join(m.why, "; ")})
}
