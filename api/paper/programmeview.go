package paper

import (
	"fmt"
	"html/template"
	"math"

	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/programme"
	"github.com/underbough/underbough/inventory/ranking"
)

// programmeView is a programme in words and figures.
type programmeView struct {
	Name, Lead, Proof  string
	Chart              template.HTML
	Years              []yearView
	Hours, Cost, Trees string
	Unit               string
	Cycles             []cycleView
	Left, Late         []string
	FlatCycle          string // the heading of its column
	Must               string
}

type yearView struct {
	Year, Trees                             int
	Hours, Cost, Before, Left, Worst, Cycle string
}

type cycleView struct {
	Years                      int
	Hours, Cost, Left, PerTree string
}

func newProgrammeView(r *SiteReport) *programmeView {
	if r.Programme == nil {
		return nil
	}
	rec := &r.Programme.Record
	res := &rec.Result
	v := &programmeView{Name: orNone(rec.Name, "without a name"), Unit: unitOf(res.Currency), FlatCycle: "Flat cycle"}
	if rec.Question.Cycle > 0 {
		v.FlatCycle += ", " + count(rec.Question.Cycle, "year")
	}
	v.Lead = fmt.Sprintf("%s of %s considered %s a first visit in %s.", grouped(float64(res.Planned)), count(res.Trees, "tree"), map[bool]string{true: "has", false: "have"}[res.Planned == 1], span(res.FirstYear, len(res.Years)))
	switch {
	case res.Bound <= 0 || res.Planned == 0:
	case res.Exact:
		v.Proof = fmt.Sprintf("No programme within the same budget takes off more (%s).", orNone(res.Method, "method not recorded"))
	default:
		v.Proof = fmt.Sprintf("It takes off at least %s of the most that any programme within the same budget could (%s).", percent(math.Floor((1-max(res.Gap, 0))*1000)/1000), orNone(res.Method, "method not recorded"))
	}
	hours, cost, trees := 0.0, 0.0, 0
	for i, y := range res.Years {
		hours, cost, trees = hours+y.Hours, cost+y.Cost, trees+y.Trees
		v.Years = append(v.Years, yearView{Year: res.FirstYear + i, Trees: y.Trees, Hours: fixed(y.Hours, 1), Cost: grouped(y.Cost),
			Before: harm(y.HarmBefore), Left: harm(y.HarmLeft), Worst: harmAt(res.WorstFirst, i), Cycle: harmAt(res.Flat, i)})
	}
	v.Hours, v.Cost, v.Trees = fixed(hours, 1), grouped(cost), grouped(float64(trees))
	for _, l := range res.Late {
		v.Late = append(v.Late, plain(l))
	}
	for _, l := range res.Left {
		v.Left = append(v.Left, plain(l))
	}
	must := 0
	for _, i := range r.Programme.Items {
		add(&must, i.Must)
	}
	if must > 0 {
		v.Must = verb(must, "of the trees has to be done.", "of the trees have to be done.")
	}
	v.cycles(res)
	v.Chart = inHTML(harmChart(res, rec.Question.Cycle))
	return v
}

func (v *programmeView) cycles(res *programme.Result) {
	if res.Cycles == nil {
		return
	}
	for _, c := range res.Cycles.Results {
		perTree := "–"
		if c.MoneyPerTree.OK {
			perTree = fixed(c.MoneyPerTree.V, 2)
		}
		v.Cycles = append(v.Cycles, cycleView{c.CycleYears, fixed(c.Hours, 1), grouped(c.Cost), percent(c.HarmLeft), perTree})
	}
}

// harmChart draws how much of the expected harm is taken off by the end of each
// year, added up: what would be expected with nothing done, less what is left.
// Drawn as what is left, all ways of working would lie on one line. Its end says
// what share that is of all the harm of those years.
func harmChart(res *programme.Result, cycle int) []byte {
	whole := 0.0
	for i := range res.Years {
		whole += res.Years[i].HarmBefore
	}
	off := func(name string, years []programme.Year, s series) series {
		sum := 0.0
		for i := range years[:min(len(years), len(res.Years))] {
			sum += res.Years[i].HarmBefore - years[i].HarmLeft
			s.values = append(s.values, sum*1000)
		}
		s.name = name
		if whole > 0 && len(years) > 0 {
			s.name += ": " + percent(sum/whole)
		}
		return s
	}
	flat := "flat cycle"
	if cycle > 0 {
		flat += ", " + count(cycle, "year")
	}
	list := []series{
		off(flat, res.Flat, series{dash: "1.5 4", mark: "triangle", colour: softInk}),
		off("worst first", res.WorstFirst, series{dash: "9 4", mark: "square", colour: cutInk}),
		off("this programme", res.Years, series{mark: "circle", colour: deep}),
	}
	label := fmt.Sprintf("Line chart: harm index taken off by the end of each year from %d, added up, under this programme, worst first and a flat cycle; the table beneath has what is left", res.FirstYear)
	return lineChart(label, "harm index taken off, added up from the first year", res.FirstYear, list)
}

func (v *reportView) effects(r *SiteReport) {
	for _, w := range practice.Works {
		if n, ok := r.Effect.TakesOff[w]; ok {
			v.Effects = append(v.Effects, effectView{string(w), percent(n.Value), plain(n.Source)})
		}
	}
}

func harm(v float64) string { return figure(v * 1000) }

func harmAt(years []programme.Year, i int) string {
	if i >= len(years) {
		return "–"
	}
	return harm(years[i].HarmLeft)
}

func figure(v float64) string { return ranking.Figure(v) }

// span names years: "2026", "2026 to 2030".
func span(first, n int) string {
	switch {
	case first == 0 || n == 0:
		return "no year"
	case n == 1:
		return fmt.Sprint(first)
	}
	return fmt.Sprintf("%d to %d", first, first+n-1)
}

// money writes an amount with its currency, or that it is in units of money.
func money(v float64, currency string) string {
	return grouped(v) + " " + unitOf(currency)
}

func unitOf(currency string) string { return orNone(currency, "units of money") }

func currencyOf(r *SiteReport) string {
	if r.Programme != nil {
		return r.Programme.Record.Result.Currency
	}
	return ""
}
