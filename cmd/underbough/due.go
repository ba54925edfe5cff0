package main

import (
	"fmt"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

type dueCmd struct {
	Until  string `help:"List what is due up to this day (default: a year from now)." placeholder:"YYYY-MM-DD"`
	Format string `default:"table" enum:"table,json,csv" help:"table, json or csv."`
	workFlags
}

// Run lists the trees that somebody asked to be looked at again.
func (p *dueCmd) Run(c *cli) error {
	s, b, err := c.work(&p.workFlags)
	if err != nil {
		return err
	}
	defer s.close()
	until := b.AsOf.AddDate(1, 0, 0)
	if p.Until != "" {
		if until, err = parseDay("until", p.Until); err != nil {
			return err
		}
	}
	list, err := s.DueVisits(c.ctx, b.Site, until)
	if err != nil {
		return err
	}
	if p.Format != "table" {
		return dueListing(list, b.AsOf).write(c.stdout, c.stderr, p.Format)
	}
	n := notes{c.stdout, terminalWidth(c.stdout)}
	overdue, never := 0, 0
	t := &table{columns: []column{{title: "due"}, {title: "tree"}, {title: "species", least: 8, spare: 1}, {title: "last visit"}, {title: "days overdue", right: true}}}
	for _, d := range list {
		if d.Never {
			never++
			t.add("", "now", d.Label, d.Species, "never", "")
			continue
		}
		late := ""
		if days := int(b.AsOf.Sub(d.NextOn).Hours() / 24); days > 0 {
			late = fmt.Sprint(days)
			overdue++
		}
		t.add("", d.NextOn.Format(time.DateOnly), d.Label, d.Species, d.LastOn.Format(time.DateOnly), late)
	}
	n.say("%s: %s due until %s, %d of them overdue; %d of them carry old bad cuts and were never looked at\n", b.Site.Name, plural(int64(len(list)), "tree", "trees"), until.Format(time.DateOnly), overdue, never)
	if len(list) == 0 {
		return nil
	}
	return t.write(c.stdout, n.width)
}

func dueListing(list []inventory.DueVisit, today time.Time) *listing {
	l := &listing{head: &orderedMap{}, columns: []string{"due_on", "tag", "tree_id", "species", "last_visit", "days_overdue"}}
	for _, d := range list {
		due, last, late := any(d.NextOn.Format(time.DateOnly)), any(d.LastOn.Format(time.DateOnly)), any(max(0, int(today.Sub(d.NextOn).Hours()/24)))
		if d.Never {
			due, last, late = nil, nil, nil
		}
		l.rows = append(l.rows, listed{properties: []ranking.Property{
			{Name: "due_on", Value: due}, {Name: "tag", Value: d.Label}, {Name: "tree_id", Value: int(d.Tree)}, {Name: "species", Value: d.Species},
			{Name: "last_visit", Value: last}, {Name: "days_overdue", Value: late},
		}})
	}
	return l
}
