package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

type rankingCompare struct {
	A      int64  `arg:"" help:"The earlier ranking."`
	B      int64  `arg:"" help:"The later one."`
	Limit  int    `default:"20" help:"How many trees to list; 0 lists all."`
	Format string `default:"table" enum:"table,json,csv" help:"table, json or csv."`
}

// Run sets two kept rankings side by side.
func (r *rankingCompare) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	a, _, before, err := s.GetRanking(c.ctx, s.client, r.A)
	if err != nil {
		return err
	}
	b, _, after, err := s.GetRanking(c.ctx, s.client, r.B)
	if err != nil {
		return err
	}
	if a.Site.ID != b.Site.ID {
		return inventory.Errorf(inventory.Invalid, "ranking %d is of site %q and ranking %d of %q: compare two of one site", r.A, a.Site.Name, r.B, b.Site.Name)
	}
	moves, err := ranking.CompareRows(before, after)
	if err != nil {
		return err
	}
	if r.Format == "table" {
		return compareTable(c.stdout, &a, &b, moves, r.Limit, terminalWidth(c.stdout))
	}
	l := &listing{head: &orderedMap{}, columns: names(moveProperties(&ranking.Move{}))}
	l.head.set("before", recordObject(&a))
	l.head.set("after", recordObject(&b))
	for i := range moves {
		l.rows = append(l.rows, listed{properties: moveProperties(&moves[i])})
	}
	return l.write(c.stdout, c.stderr, r.Format)
}

func moveProperties(m *ranking.Move) []ranking.Property {
	place := func(n int) any {
		if n == 0 {
			return nil
		}
		return n
	}
	why := m.Why
	if why == nil {
		why = []string{}
	}
	return []ranking.Property{
		{Name: "tree_id", Value: int64(m.Tree)}, {Name: "label", Value: m.Label}, {Name: "rank_before", Value: place(m.Before)}, {Name: "rank_after", Value: place(m.After)},
		{Name: "places_up", Value: m.By()}, {Name: "harm_index_before", Value: m.HarmBefore}, {Name: "harm_index_after", Value: m.HarmAfter}, {Name: "why", Value: strings.Join(why, "; ")},
	}
}

func compareTable(w io.Writer, a, b *ranking.Record, moves []ranking.Move, limit, width int) error {
	n := notes{w, width}
	n.say("%s: from ranking %d, %s (%d rows), to ranking %d, %s (%d rows)", a.Site.Name, a.ID, a.Name, a.Rows, b.ID, b.Name, b.Rows)
	for _, text := range unlike(a, b) {
		n.say("%s", text)
	}
	fmt.Fprintln(w)
	if len(moves) == 0 {
		fmt.Fprintln(w, "No tree moved and none says anything else.")
	} else {
		t := &table{columns: []column{
			{title: "tree", least: 6}, {title: "rank", right: true}, {title: "then", right: true}, {title: "places"}, {title: "harm index", right: true}, {title: "then", right: true},
		}}
		for i := range moves {
			if limit > 0 && i == limit {
				break
			}
			m := &moves[i]
			cells := []string{m.Label, "-", "-", "", "-", "-"}
			if m.Before > 0 {
				cells[1], cells[4] = fmt.Sprint(m.Before), ranking.Figure(m.HarmBefore)
			}
			if m.After > 0 {
				cells[2], cells[5] = fmt.Sprint(m.After), ranking.Figure(m.HarmAfter)
			}
			switch {
			case m.Before == 0:
				cells[3] = "came"
			case m.After == 0:
				cells[3] = "went"
			default:
				cells[3] = placesMoved(m.By())
			}
			t.add(strings.Join(m.Why, "; "), cells...)
		}
		if err := t.write(w, width); err != nil {
			return err
		}
		if limit > 0 && len(moves) > limit {
			fmt.Fprintf(w, "… and %d more: --limit 0 lists all\n", len(moves)-limit)
		}
	}
	n.say("\nrank: place in each ranking. The harm index orders trees; it predicts nothing.")
	return n.cautions()
}

// unlike says in what the two rankings themselves differ, which moves trees by
// itself.
func unlike(a, b *ranking.Record) []string {
	var out []string
	if x, y := askedInWords(&a.Question), askedInWords(&b.Question); x != y {
		out = append(out, fmt.Sprintf("they were asked differently: %s; %s", x, y))
	}
	if a.ProfileDigest != b.ProfileDigest {
		out = append(out, fmt.Sprintf("their profiles differ: %s (%.12s); %s (%.12s)", a.ProfileName, a.ProfileDigest, b.ProfileName, b.ProfileDigest))
	}
	if !a.AsOf.Equal(b.AsOf) {
		out = append(out, fmt.Sprintf("years are counted to %s; %s", a.AsOf.Format("2006-01-02"), b.AsOf.Format("2006-01-02")))
	}
	return out
}

type rankingRerun struct {
	ID int64 `arg:"" help:"Which ranking."`
}

// Run makes a kept ranking again. Another result is an error.
func (r *rankingRerun) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	again, err := question.RunAgain(c.ctx, s, s.client, r.ID)
	if err != nil {
		return err
	}
	if again.Same {
		_, err := fmt.Fprintf(c.stdout, "Ranking %d, %s: the same bytes, digest %s\n", r.ID, plainText(again.Record.Name), again.Digest)
		return err
	}
	first, err := firstDifference(again)
	if err != nil {
		return err
	}
	return inventory.Errorf(inventory.Internal, "ranking %d does not come out the same: %s; digest kept %s, now %s", r.ID, first, again.Record.Digest, again.Digest)
}

// firstDifference says where the rows first differ, and in what.
func firstDifference(r *question.Rerun) (string, error) {
	switch {
	case r.Place == 0:
		return "the rows are alike, but their digest is not the one that was kept", nil
	case r.Kept == nil:
		return fmt.Sprintf("place %d was not in it", r.Place), nil
	case r.Now == nil:
		return fmt.Sprintf("place %d is no longer in it", r.Place), nil
	}
	kept, err := readRow(r.Kept)
	if err != nil {
		return "", err
	}
	now, err := readRow(r.Now)
	if err != nil {
		return "", err
	}
	for _, p := range kept {
		if x, y := fmt.Sprint(p.Value), fmt.Sprint(now.value(p.Name)); x != y {
			return fmt.Sprintf("place %d (%s): %s was %s, is %s", r.Place, kept.label(), p.Name, x, y), nil
		}
	}
	if !slices.Equal(names(kept), names(now)) {
		return fmt.Sprintf("place %d (%s): its properties are others, as this program gives more or fewer than the one that made it", r.Place, kept.label()), nil
	}
	return fmt.Sprintf("place %d (%s): written otherwise", r.Place, kept.label()), nil
}
