package main

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// writeProgramme shows a programme; limit is how many trees are listed, 0 for all.
func writeProgramme(c *cli, r *programme.Record, items []programme.Item, format string, limit int) error {
	switch format {
	case "json":
		if limit > 0 && len(items) > limit && r.ID != 0 {
			items = items[:limit]
		}
		return encode(c.stdout, struct {
			*question.ProgrammeDocument
			Items []programme.Item `json:"items"`
		}{question.DocumentOf(r), items})
	case "csv":
		return itemListing(items).write(c.stdout, c.stderr, "csv")
	}
	n := notes{c.stdout, terminalWidth(c.stdout)}
	d := question.DocumentOf(r)
	title := fmt.Sprintf("Programme %d, %s", r.ID, r.Name)
	if r.ID == 0 {
		title = "Programme not kept, " + r.Name
	}
	n.say("%s: %s, %d to %d; %d of %d trees planned", title, r.Site.Name, r.Result.FirstYear, r.Result.FirstYear+r.Question.Years-1, d.Planned, d.Trees)
	proof := fmt.Sprintf("no programme within the budget takes off more than %s: this one is within %s of that", ranking.Figure(d.HarmIndexBound), gapText(d.Gap))
	switch {
	case d.Planned == 0:
		proof = "nothing is planned"
	case d.Exact && len(d.Late) > 0:
		proof = "no programme within the budget that does what has to be done in the same years takes off more"
	case d.Exact:
		proof = "no programme within the budget takes off more"
	}
	n.say("Takes off a harm index of %s over the years; %s (%s).", ranking.Figure(d.HarmIndexTakenOff), proof, d.Method)
	for _, note := range d.Notes {
		n.say("%s", note)
	}
	if err := writeYears(c, d, r.Question.Cycle); err != nil {
		return err
	}
	if len(d.Late) > 0 {
		n.say("\nHas to be done and is late: %s", firstOf(d.Late, 20))
	}
	if len(d.Left) > 0 {
		n.say("\nHas to be done and fits no year: %s", firstOf(d.Left, 20))
	}
	writeCycles(n, d)
	n.say("\n%s\n", d.Assumption)
	if err := writeItems(c, r, items, limit); err != nil {
		return err
	}
	if r.ID != 0 && !r.ProposedAt.OK {
		n.say("\nMake its jobs: underbough programme propose %d%s", r.ID, c.dataFlag())
	}
	return n.cautions()
}

// writeYears shows what a programme does and takes by year, with its sum, and what
// harm is left beside other ways.
func writeYears(c *cli, d *question.ProgrammeDocument, cycle int) error {
	does := &table{columns: []column{
		{title: "year"}, {title: "trees begun", right: true}, {title: "visits", right: true}, {title: "packages", right: true},
		{title: "visit hours", right: true}, {title: "set-up hours", right: true}, {title: "visit cost", right: true, spare: 1}, {title: "set-up cost", right: true, spare: 1},
		{title: "budget", right: true}, {title: "committed", right: true, spare: 2}, {title: "used", right: true}, {title: "unused", right: true},
	}}
	row := func(name string, y *question.YearDocument) {
		does.add("", name, strconv.Itoa(y.Trees), strconv.Itoa(y.Visits), strconv.Itoa(y.Groups), fmt.Sprintf("%.1f", y.VisitHours), fmt.Sprintf("%.1f", y.SetUpHours),
			fmt.Sprintf("%.0f", y.VisitCost), fmt.Sprintf("%.0f", y.SetUpCost), fmt.Sprintf("%.0f", y.Budget), fmt.Sprintf("%.0f", y.Committed), fmt.Sprintf("%.0f", y.Used), fmt.Sprintf("%.0f", y.Left))
	}
	left := &table{columns: []column{
		{title: "harm index of a year"}, {title: "nothing done", right: true}, {title: "this programme", right: true}, {title: "worst first", right: true}, {title: fmt.Sprintf("flat %d years", cycle), right: true},
	}}
	var sum question.YearDocument
	for i := range d.Years {
		y := &d.Years[i]
		row(strconv.Itoa(y.Year), y)
		sum.Trees, sum.Visits, sum.Groups = sum.Trees+y.Trees, sum.Visits+y.Visits, sum.Groups+y.Groups
		sum.VisitHours, sum.SetUpHours, sum.VisitCost, sum.SetUpCost = sum.VisitHours+y.VisitHours, sum.SetUpHours+y.SetUpHours, sum.VisitCost+y.VisitCost, sum.SetUpCost+y.SetUpCost
		sum.Budget, sum.Committed, sum.Used, sum.Left = sum.Budget+y.Budget, sum.Committed+y.Committed, sum.Used+y.Used, sum.Left+y.Left
		left.add("", strconv.Itoa(y.Year), ranking.Figure(y.HarmIndexBefore), ranking.Figure(y.HarmIndexLeft), ranking.Figure(y.HarmIndexWorstFirst), ranking.Figure(y.HarmIndexFlatCycle))
	}
	row("all", &sum)
	for _, t := range []*table{does, left} {
		fmt.Fprintln(c.stdout)
		if err := t.write(c.stdout, terminalWidth(c.stdout)); err != nil {
			return err
		}
	}
	return nil
}

func firstOf(list []string, most int) string {
	if len(list) <= most {
		return strings.Join(list, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(list[:most], ", "), len(list)-most)
}

// writeCycles answers what a flat cycle of some years would come to.
func writeCycles(n notes, d *question.ProgrammeDocument) {
	if len(d.Cycles) == 0 {
		return
	}
	n.say("\nEvery tree every so many years, in the long run:")
	for _, y := range d.Cycles {
		text := fmt.Sprintf("%d years: %.0f crew-hours and %s a year, %.1f %% of the harm left", y.CycleYears, y.Hours, money(y.Cost, d.Currency), y.HarmLeftShare*100)
		if y.CostPerCent != nil {
			text += fmt.Sprintf(", %s a year for each 1 %% taken off", money(*y.CostPerCent, d.Currency))
		}
		if y.MoneyPerTree != nil {
			text += fmt.Sprintf("; visits and loss of value %.2f a tree and year", *y.MoneyPerTree)
		}
		n.sayIn("  ", "%s", text)
	}
	if d.BestCycleYears != nil {
		n.sayIn("  ", "by the published economics of a cycle money alone is least at %.1f years", *d.BestCycleYears)
	}
	if d.CyclesNote != "" {
		n.sayIn("  ", "%s", d.CyclesNote)
	}
}

// writeItems lists trees by year and package.
func writeItems(c *cli, r *programme.Record, items []programme.Item, limit int) error {
	t := &table{columns: []column{
		{title: "year"}, {title: "package", least: 12}, {title: "tree"}, {title: "species", least: 8, spare: 1}, {title: "work"}, {title: "visits", right: true},
		{title: "hours, these years", right: true}, {title: "harm index", right: true}, {title: "rank", right: true, spare: 2},
	}}
	shown := 0
	for i := range items {
		item := &items[i]
		if item.First == 0 || limit > 0 && shown == limit {
			break
		}
		shown++
		work := string(item.Work)
		switch {
		case item.Late:
			work += " (must, late)"
		case item.Must:
			work += " (must)"
		}
		hours, visits := 0.0, 0
		for _, v := range item.Visits {
			if v.Year < r.Result.FirstYear+r.Question.Years {
				hours, visits = hours+v.Hours, visits+1
			}
		}
		t.add(item.Why, strconv.Itoa(item.First), item.Package, item.Label, item.Species, work, strconv.Itoa(visits),
			fmt.Sprintf("%.2f", hours), ranking.Figure(item.Harm*1000), strconv.Itoa(item.Place))
	}
	if shown == 0 {
		_, err := fmt.Fprintln(c.stdout, "No tree is planned.")
		return err
	}
	if err := t.write(c.stdout, terminalWidth(c.stdout)); err != nil {
		return err
	}
	if more := r.Result.Planned - shown; more > 0 {
		fmt.Fprintf(c.stdout, "… and %d more: underbough programme show %d\n", more, r.ID)
	}
	return nil
}

// itemListing is a row a tree.
func itemListing(items []programme.Item) *listing {
	l := &listing{head: &orderedMap{}}
	for i := range items {
		item := &items[i]
		first := any(nil)
		if item.First != 0 {
			first = item.First
		}
		hours, cost := 0.0, 0.0
		years := make([]string, 0, len(item.Visits))
		for _, v := range item.Visits {
			hours += v.Hours
			cost += v.Cost
			if v.Year != 0 {
				years = append(years, strconv.Itoa(v.Year))
			}
		}
		l.rows = append(l.rows, listed{properties: []ranking.Property{
			{Name: "first_year", Value: first}, {Name: "package", Value: item.Package}, {Name: "tag", Value: item.Label}, {Name: "tree_id", Value: int(item.Tree)},
			{Name: "species", Value: item.Species}, {Name: "work", Value: string(item.Work)}, {Name: "must", Value: item.Must}, {Name: "visit_years", Value: strings.Join(years, " ")},
			{Name: "crew_hours_all_visits", Value: ranking.Rounded(hours)}, {Name: "cost_all_visits", Value: ranking.Rounded(cost)},
			{Name: "harm_index", Value: ranking.Rounded(item.Harm * 1000)}, {Name: "place", Value: item.Place}, {Name: "why", Value: item.Why}, {Name: "caution", Value: question.Caution},
		}})
	}
	if len(l.rows) > 0 {
		l.columns = names(l.rows[0].properties)
	}
	return l
}
