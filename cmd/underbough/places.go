package main

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

type placesCmd struct {
	Site      string `help:"Site to look at; may be left out where there is only one." placeholder:"NAME"`
	Kind      string `help:"Only places of these kinds, such as parking,walkway." placeholder:"KINDS"`
	Uncovered bool   `help:"Only places that no tree of the inventory reaches, those with the most people first: is anything standing there that nobody has recorded?"`
	Limit     int    `default:"20" help:"How many places to list; 0 lists all."`
	Format    string `default:"table" enum:"table,json,geojson,csv" help:"table, json, geojson or csv; a place is shown by a point in its middle."`
	assumptions
}

// placesAnswer is some places of a site and what they are part of.
type placesAnswer struct {
	sweep     *ranking.Sweep
	uncovered bool
	what      string // in words
	all       int    // places of the site
	found     int    // that answer, beyond the limit too
	harm      float64
	list      []question.Place
}

// Run lists the places.
func (p *placesCmd) Run(c *cli) error {
	kinds, err := question.ParseKinds(splitList(p.Kind))
	if err != nil {
		return err
	}
	if p.Limit < 0 {
		return inventory.Errorf(inventory.Invalid, "--limit %d: expected 0 or more, where 0 lists all", p.Limit)
	}
	s, sweep, err := c.look(p.Site, &p.assumptions)
	if err != nil {
		return err
	}
	defer s.close()
	list, err := question.Places(c.ctx, s, *sweep)
	if err != nil {
		return err
	}
	a := p.pick(sweep, list, kinds)
	if p.Format == "table" {
		return a.table(c.stdout, terminalWidth(c.stdout))
	}
	return a.listing().write(c.stdout, c.stderr, p.Format)
}

// pick keeps the places that were asked for.
func (p *placesCmd) pick(sweep *ranking.Sweep, list []question.Place, kinds []inventory.TargetKind) *placesAnswer {
	a := &placesAnswer{sweep: sweep, uncovered: p.Uncovered, what: "places", all: len(list)}
	if len(kinds) > 0 {
		a.what = words(kinds)
	}
	for i := range list {
		a.harm += list[i].Harm
	}
	a.list = slices.DeleteFunc(list, func(o question.Place) bool {
		return len(kinds) > 0 && !slices.Contains(kinds, o.Target.Kind) || p.Uncovered && o.Covered()
	})
	if p.Uncovered {
		// By people out of doors; those under a roof are behind them.
		slices.SortStableFunc(a.list, func(x, y question.Place) int {
			switch n := x.Whole.Count.Persons() - y.Whole.Count.Persons(); {
			case n > 0:
				return -1
			case n < 0:
				return 1
			}
			return 0
		})
	}
	if a.found = len(a.list); p.Limit > 0 && a.found > p.Limit {
		a.list = a.list[:p.Limit]
	}
	return a
}

func (a *placesAnswer) table(w io.Writer, width int) error {
	which := "by the harm of all trees over them or within reach"
	if a.uncovered {
		which = "that no tree of the inventory reaches, by people on them"
	}
	n := notes{w, width}
	n.say("%s: %s %s: %d of %d", a.sweep.Site.Name, a.what, which, len(a.list), a.found)
	n.say("%d places in all; profile %s, as of %s\n", a.all, a.sweep.Profile.Name, a.sweep.AsOf.Format(time.DateOnly))
	t := &table{columns: []column{
		{title: "#", right: true}, {title: "kind", least: 7}, {title: "target", right: true}, {title: "name", least: 8},
		{title: "people", right: true}, {title: "busiest", right: true}, {title: "under roofs", right: true, spare: 1},
		{title: "vehicles", right: true}, {title: "busiest", right: true, spare: 2},
	}}
	if !a.uncovered {
		t.columns = append(t.columns, column{title: "trees over it", right: true, spare: 3}, column{title: "in reach", right: true, spare: 4},
			column{title: "harm index", right: true}, column{title: "of the site", right: true})
	}
	for i := range a.list {
		p := &a.list[i]
		cells := []string{strconv.Itoa(i + 1), strings.ReplaceAll(string(p.Target.Kind), "_", " "), fmt.Sprint(p.Target.ID), placeName(&p.Target),
			ranking.Figure(p.Whole.Count.Persons()), ranking.Figure(p.Whole.Persons.Busiest), ranking.Figure(p.Whole.Sheltered),
			ranking.Figure(p.Whole.Vehicles), ranking.Figure(p.Whole.VehicleWeek.Busiest)}
		if !a.uncovered {
			cells = append(cells, strconv.Itoa(p.UnderTrees), strconv.Itoa(p.WithinTrees), ranking.Figure(p.Harm*1000), percent(p.Harm, a.harm))
		}
		t.add(sharesText(p), cells...)
	}
	switch {
	case len(a.list) > 0:
		if err := t.write(w, width); err != nil {
			return err
		}
	case a.uncovered && a.all > 0:
		n.say("None: every such place is under a tree of the inventory or within its reach.")
	default:
		fmt.Fprintln(w, "No place answers to that.")
	}
	n.say("\npeople, vehicles: mean number on the whole place, people in the open and in vehicles; busiest: in the busiest hour of each.")
	if a.uncovered {
		n.say("Not reached by a recorded tree is not free of trees: what stands there and was never surveyed is not known.")
	} else {
		n.say("over it: with a crown or a limb; in reach: were the whole tree to fall. The harm index orders places; it predicts nothing.")
	}
	return n.cautions()
}

func placeName(t *inventory.Target) string {
	if t.Name != "" {
		return t.Name
	}
	return t.SourceID
}

func percent(part, whole float64) string {
	if whole <= 0 {
		return "0 %"
	}
	share := part / whole * 100
	if share > 0 && share < 0.1 {
		return "<0.1 %"
	}
	return strconv.FormatFloat(share, 'f', 1, 64) + " %"
}

// sharesText names the trees that weigh most at a place.
func sharesText(p *question.Place) string {
	if len(p.Trees) == 0 || p.Harm <= 0 {
		return ""
	}
	parts := make([]string, len(p.Trees))
	for i, t := range p.Trees {
		parts[i] = fmt.Sprintf("%s %.0f %%", t.Label(), t.Harm/p.Harm*100)
		if t.Harm < p.Harm/100 {
			parts[i] = t.Label() + " <1 %"
		}
	}
	text := "from " + strings.Join(parts, ", ")
	if rest := p.WithinTrees - len(p.Trees); rest > 0 {
		text += fmt.Sprintf(" and %d more", rest)
	}
	return text
}

func (a *placesAnswer) listing() *listing {
	l := &listing{head: &orderedMap{}, points: true, columns: names(a.properties(&question.Place{}))}
	l.head.set("site", a.sweep.Site.Name)
	l.head.set("uncovered", a.uncovered)
	l.head.set("places", a.all)
	l.head.set("total", a.found)
	l.head.set("site_harm_index", ranking.Rounded(a.harm*1000))
	l.head.set("profile", a.sweep.Profile.Name)
	l.head.set("profile_digest", a.sweep.Profile.Digest)
	l.head.set("as_of", a.sweep.AsOf.Format(time.DateOnly))
	for i := range a.list {
		p := &a.list[i]
		l.rows = append(l.rows, listed{id: p.Target.ID, properties: a.properties(p), geometry: p.At})
	}
	return l
}

func (a *placesAnswer) properties(p *question.Place) []ranking.Property {
	ofSite := 0.0
	if a.harm > 0 {
		ofSite = p.Harm / a.harm
	}
	return append(p.Properties(), ranking.Property{Name: "share_of_site", Value: ranking.Rounded(ofSite)})
}
