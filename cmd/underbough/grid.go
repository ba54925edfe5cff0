package main

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

type gridCmd struct {
	Site   string  `help:"Only this site (default: all)." placeholder:"NAME"`
	Cells  string  `default:"hexagon" enum:"hexagon,square" help:"Shape of the cells: hexagon or square."`
	Size   float64 `default:"100" help:"Side of a square, or from flat side to flat side of a hexagon, in metres (default: 100)." placeholder:"METRES"`
	Limit  *int    `help:"How many cells to list, those with the most harm first; 0 lists all (default: 20 in a table, else all)." placeholder:"N"`
	Format string  `default:"geojson" enum:"geojson,table,json,csv" help:"geojson, table, json or csv."`
	assumptions
}

// gridded is one site's cells.
type gridded struct {
	site inventory.Site
	*question.Gridded
}

// Run sums up each site by cell.
func (g *gridCmd) Run(c *cli) error {
	if _, err := ranking.NewGrid(g.Cells, g.Size, [2]float64{}); err != nil {
		return err
	}
	if g.Limit != nil && *g.Limit < 0 {
		return inventory.Errorf(inventory.Invalid, "--limit %d: expected 0 or more, where 0 lists all", *g.Limit)
	}
	p, err := g.profile()
	if err != nil {
		return err
	}
	asOf, err := g.day()
	if err != nil {
		return err
	}
	s, err := c.session()
	if err != nil {
		return err
	}
	defer s.close()
	if err := c.lookBack(s, &g.assumptions); err != nil {
		return err
	}
	sites, err := s.FindSites(c.ctx, s.client)
	if err != nil {
		return err
	}
	if g.Site != "" || len(sites) == 0 {
		one, err := s.GetSite(c.ctx, s.client, g.Site)
		if err != nil {
			return err
		}
		sites = []inventory.Site{one}
	}
	var list []gridded
	for _, site := range sites {
		cells, err := question.Grid(c.ctx, s, site, g.Cells, g.Size, p, asOf)
		if err != nil {
			return err
		}
		list = append(list, gridded{site, cells})
	}
	if g.Format == "table" {
		return g.table(c.stdout, list, terminalWidth(c.stdout))
	}
	return g.listing(list).write(c.stdout, c.stderr, g.Format)
}

func (g *gridCmd) limited(cells []question.CellSum, otherwise int) []question.CellSum {
	limit := otherwise
	if g.Limit != nil {
		limit = *g.Limit
	}
	if limit > 0 && limit < len(cells) {
		return cells[:limit]
	}
	return cells
}

// inTable is how many cells a table lists where nobody says.
const inTable = 20

func (g *gridCmd) table(w io.Writer, list []gridded, width int) error {
	n := notes{w, width}
	total, trees := 0.0, 0
	for _, one := range list {
		total += one.Total.Harm
		trees += one.Total.Trees
	}
	for _, one := range list {
		n.say("%s: %s in %s; profile %s, as of %s", one.site.Name, counted(one.Total.Trees, "standing tree"), g.inWords(len(one.Cells)),
			one.Run.ProfileName, one.Run.AsOf.Format(time.DateOnly))
		share := ""
		if len(list) > 1 {
			share = " (" + percent(one.Total.Harm, total) + " of all sites)"
		}
		n.say("in all: harm index %s%s, %s people under trees on average, %s vehicles; up to %s people under one tree in its busiest hour\n",
			ranking.Figure(one.Total.Harm*1000), share, ranking.Figure(one.Total.People), ranking.Figure(one.Total.Vehicles), ranking.Figure(one.Total.Busiest))
		t := &table{columns: []column{
			{title: "#", right: true}, {title: "cell"}, {title: "about"}, {title: "trees", right: true}, {title: "people", right: true},
			{title: "busiest", right: true}, {title: "vehicles", right: true, spare: 1}, {title: "harm index", right: true}, {title: "of the site", right: true},
		}}
		for i, cell := range g.limited(one.Cells, inTable) {
			middle := cell.Outline.Bound().Center()
			t.add("", strconv.Itoa(i+1), fmt.Sprintf("%d,%d", cell.Cell.Q, cell.Cell.R), fmt.Sprintf("%.5f, %.5f", middle[0], middle[1]), strconv.Itoa(cell.Trees),
				ranking.Figure(cell.People), ranking.Figure(cell.Busiest), ranking.Figure(cell.Vehicles), ranking.Figure(cell.Harm*1000), percent(cell.Harm, one.Total.Harm))
		}
		if len(t.rows) > 0 {
			if err := t.write(w, width); err != nil {
				return err
			}
			fmt.Fprintln(w)
		}
	}
	if len(list) > 1 {
		n.say("All %d sites: %d standing trees, harm index %s", len(list), trees, ranking.Figure(total*1000))
	}
	n.say("people, vehicles: sum over the cell's trees of the mean number under each; who stands under two trees counts twice. busiest: the most under one tree.")
	n.say("about: longitude, latitude. The harm index orders cells; it predicts nothing.")
	return n.cautions()
}

// inWords says how many cells there are and how large they are.
func (g *gridCmd) inWords(cells int) string {
	text := fmt.Sprintf("%s of %g m", counted(cells, g.Cells), g.Size)
	if g.Cells == "hexagon" {
		text += " from side to side"
	}
	return text
}

// counted is a number of things whose name takes an s from two on.
func counted(n int, thing string) string {
	if n != 1 {
		thing += "s"
	}
	return fmt.Sprintf("%d %s", n, thing)
}

func (g *gridCmd) listing(list []gridded) *listing {
	l := &listing{head: &orderedMap{}, columns: names(cellProperties("", &question.CellSum{}))}
	l.head.set("cells", g.Cells)
	l.head.set("size_m", g.Size)
	var sites []*orderedMap
	for _, one := range list {
		m := &orderedMap{}
		m.set("site", one.site.Name)
		m.set("cells", len(one.Cells))
		for _, p := range cellProperties("", &one.Total)[3:] {
			m.set(p.Name, p.Value)
		}
		m.set("profile", one.Run.ProfileName)
		m.set("profile_digest", one.Run.ProfileDigest)
		m.set("as_of", one.Run.AsOf.Format(time.DateOnly))
		sites = append(sites, m)
		cells := g.limited(one.Cells, 0)
		for i := range cells {
			l.rows = append(l.rows, listed{properties: cellProperties(one.site.Name, &cells[i]), geometry: centimetres(cells[i].Outline)})
		}
	}
	l.head.set("sites", sites)
	return l
}

// centimetres rounds degrees to seven decimals, which is finer than any survey;
// neighbours keep the corners they share.
func centimetres(p orb.Polygon) orb.Polygon {
	for _, ring := range p {
		for i := range ring {
			ring[i] = orb.Point{math.Round(ring[i][0]*1e7) / 1e7, math.Round(ring[i][1]*1e7) / 1e7}
		}
	}
	return p
}

// cellProperties names the cell and gives its sums.
func cellProperties(site string, c *question.CellSum) []ranking.Property {
	return append([]ranking.Property{{Name: "site", Value: site}, {Name: "column", Value: c.Cell.Q}, {Name: "row", Value: c.Cell.R}}, c.Properties()...)
}
