package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

type rankingCmd struct {
	Make    rankingRun     `cmd:"" name:"run" help:"Rank a site and keep the ranking: what was asked, of which inventory, every row and a digest."`
	List    rankingList    `cmd:"" help:"List the kept rankings, the latest first."`
	Show    rankingShow    `cmd:"" help:"Show a kept ranking's rows as they were given."`
	Compare rankingCompare `cmd:"" help:"Compare two kept rankings: which trees moved, and why."`
	Rerun   rankingRerun   `cmd:"" help:"Make a kept ranking again from its inventory and profile, and compare every byte."`
}

type rankingRun struct {
	Name string `required:"" help:"What people call this ranking." placeholder:"NAME"`
	asked
	Limit int `default:"0" help:"How many trees to keep; 0 keeps all."`
}

// Run ranks a site and keeps the ranking.
func (r *rankingRun) Run(c *cli) error {
	q, err := r.query(r.Limit)
	if err != nil {
		return err
	}
	s, sweep, err := c.look(r.Site, &r.assumptions)
	if err != nil {
		return err
	}
	defer s.close()
	base, err := r.read()
	if err != nil {
		return err
	}
	k := ranking.Question{Over: q.Over, Cuts: q.Cuts, Since: q.Since, By: q.By, Limit: q.Limit, Season: r.Season, Draws: r.Draws}
	if r.Draws > 0 {
		k.Seed, k.Top = r.Seed, r.Top
	}
	record, err := question.Record(c.ctx, s, sweep.Site, r.Name, user(), k, base, sweep.AsOf)
	if err != nil {
		return err
	}
	n := notes{c.stdout, terminalWidth(c.stdout)}
	n.say("Ranking %d, %s: %d of %d standing trees of %s: %s", record.ID, record.Name, record.Rows, record.Trees, record.Site.Name, askedInWords(&record.Question))
	n.say("The inventory as it stood at %s, years counted to %s, profile %s.", record.InputsAt.UTC().Format("2006-01-02 15:04:05 UTC"), record.AsOf.Format(time.DateOnly), record.ProfileName)
	n.say("Digest of the rows (SHA-256): %s", record.Digest)
	return n.cautions()
}

// askedInWords says what a ranking was asked.
func askedInWords(k *ranking.Question) string {
	text := describe(k.Cuts, k.Since, k.Over) + " by " + string(k.By)
	if k.Season != "" {
		text += ", season " + k.Season
	}
	if k.Limit > 0 {
		text += fmt.Sprintf(", the first %d", k.Limit)
	}
	if k.Draws > 0 {
		text += fmt.Sprintf(", %d draws (seed %d)", k.Draws, k.Seed)
	}
	return text
}

type rankingList struct {
	Site   string `help:"Only of this site." placeholder:"NAME"`
	Format string `default:"table" enum:"table,json" help:"table or json."`
}

// Run lists the kept rankings.
func (r *rankingList) Run(c *cli) error {
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	site, err := s.siteNamed(c.ctx, r.Site)
	if err != nil {
		return err
	}
	list, err := s.FindRankings(c.ctx, s.client, site)
	if err != nil {
		return err
	}
	if r.Format == "json" {
		out := make([]*orderedMap, len(list))
		for i := range list {
			out[i] = recordObject(&list[i])
		}
		return encode(c.stdout, out)
	}
	if len(list) == 0 {
		_, err := fmt.Fprintln(c.stdout, "No ranking is kept yet: underbough ranking run --name NAME keeps one.")
		return err
	}
	t := &table{columns: []column{
		{title: "id", right: true}, {title: "name", least: 14}, {title: "site", least: 8}, {title: "made"}, {title: "by", least: 6, spare: 3},
		{title: "trees", right: true}, {title: "profile", least: 7, spare: 2}, {title: "digest", spare: 1},
	}}
	for i := range list {
		k := &list[i]
		t.add(askedInWords(&k.Question)+"; years counted to "+k.AsOf.Format(time.DateOnly), strconv.FormatInt(k.ID, 10), k.Name, k.Site.Name,
			k.MadeAt.Local().Format("2006-01-02 15:04"), k.MadeBy, strconv.Itoa(k.Rows), k.ProfileName, k.Digest[:12])
	}
	return t.write(c.stdout, terminalWidth(c.stdout))
}

func recordObject(r *ranking.Record) *orderedMap {
	m := &orderedMap{}
	m.set("id", r.ID)
	m.set("name", r.Name)
	m.set("site", r.Site.Name)
	m.set("question", &r.Question)
	m.set("profile", r.ProfileName)
	m.set("profile_digest", r.ProfileDigest)
	m.set("as_of", r.AsOf.Format(time.DateOnly))
	m.set("inputs_at", r.InputsAt.UTC())
	m.set("standing_trees", r.Trees)
	m.set("rows", r.Rows)
	m.set("digest", r.Digest)
	m.set("made_at", r.MadeAt.UTC())
	m.set("made_by", r.MadeBy)
	return m
}

type rankingShow struct {
	ID     int64  `arg:"" help:"Which ranking."`
	Format string `default:"table" enum:"table,jsonl,csv" help:"table, jsonl (the rows byte for byte, so that sha256sum gives the digest) or csv."`
	Limit  int    `default:"20" help:"How many rows of a table; 0 lists all."`
}

// Run shows a kept ranking.
func (r *rankingShow) Run(c *cli) error {
	if r.Limit < 0 {
		return inventory.Errorf(inventory.Invalid, "--limit %d: expected 0 or more, where 0 lists all", r.Limit)
	}
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	record, _, rows, err := s.GetRanking(c.ctx, s.client, r.ID)
	if err != nil {
		return err
	}
	if r.Format == "jsonl" {
		fmt.Fprintln(c.stderr, cautions)
		var b bytes.Buffer
		for i := range rows {
			b.Write(rows[i].Row)
			b.WriteByte('\n')
		}
		_, err := c.stdout.Write(b.Bytes())
		return err
	}
	list := make([]keptRow, len(rows))
	for i := range rows {
		if list[i], err = readRow(rows[i].Row); err != nil {
			return fmt.Errorf("ranking %d, place %d: %w", r.ID, rows[i].Place, err)
		}
	}
	if r.Format == "csv" {
		l := &listing{head: &orderedMap{}, columns: names((&ranking.Row{}).Properties())}
		for i, row := range list {
			if i == 0 {
				l.columns = names(row)
			}
			l.rows = append(l.rows, listed{properties: row})
		}
		return l.write(c.stdout, c.stderr, "csv")
	}
	return showTable(c.stdout, &record, list, r.Limit, terminalWidth(c.stdout))
}

// keptRow is a row as it was kept, its members in their order.
type keptRow []ranking.Property

func readRow(b []byte) (row keptRow, err error) {
	d := json.NewDecoder(bytes.NewReader(b))
	if _, err := d.Token(); err != nil {
		return nil, err
	}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return nil, err
		}
		var v any
		if err := d.Decode(&v); err != nil {
			return nil, err
		}
		row = append(row, ranking.Property{Name: fmt.Sprint(name), Value: v})
	}
	return row, nil
}

func (r keptRow) value(name string) any {
	for _, p := range r {
		if p.Name == name {
			return p.Value
		}
	}
	return nil
}

func (r keptRow) text(name string) string { return ranking.Property{Value: r.value(name)}.Cell() }

func (r keptRow) figure(name string) string {
	v, ok := r.value(name).(float64)
	if !ok {
		return ""
	}
	return ranking.Figure(v)
}

func (r keptRow) label() string {
	if tag := r.text("tag"); tag != "" {
		return tag
	}
	return r.text("source_id")
}

func showTable(w io.Writer, k *ranking.Record, rows []keptRow, limit, width int) error {
	n := notes{w, width}
	n.say("Ranking %d, %s, of %s: %s; made %s by %s", k.ID, k.Name, k.Site.Name, askedInWords(&k.Question), k.MadeAt.Local().Format("2006-01-02 15:04"), k.MadeBy)
	n.say("%d of %d standing trees, the inventory as it stood at %s, years counted to %s, profile %s",
		k.Rows, k.Trees, k.InputsAt.UTC().Format("2006-01-02 15:04:05 UTC"), k.AsOf.Format(time.DateOnly), k.ProfileName)
	n.say("Digest of the rows (SHA-256): %s\n", k.Digest)
	t := &table{columns: []column{
		{title: "#", right: true}, {title: "tag", least: 6}, {title: "species", least: 8, spare: 1}, {title: "over", least: 10}, {title: "people", right: true}, {title: "busiest", right: true},
		{title: "cuts", least: 8, spare: 2}, {title: "failure", least: 9}, {title: "rating", least: 8}, {title: "harm index", right: true},
	}}
	for i, r := range rows {
		if limit > 0 && i == limit {
			break
		}
		failure := r.text("likelihood")
		if r.value("inferred") == true {
			failure += "*"
		}
		species := r.text("species")
		if species == "" {
			species = r.text("common_name")
		}
		t.add(r.text("reason"), r.text("rank"), r.label(), species, strings.ReplaceAll(strings.ReplaceAll(r.text("over"), " ", ", "), "_", " "), r.figure("people"), r.figure("busiest_people"),
			r.text("cuts"), failure, r.text("rating"), r.figure("harm_index"))
	}
	if err := t.write(w, width); err != nil {
		return err
	}
	if limit > 0 && len(rows) > limit {
		fmt.Fprintf(w, "… and %d more: --limit 0 lists all\n", len(rows)-limit)
	}
	n.say("\n* inferred by a screening rule, judged by nobody. The harm index orders trees; it predicts nothing.")
	return n.cautions()
}
