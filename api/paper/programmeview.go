package paper

import (
	"fmt"
	"html/template"

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
	Left               []string
	FlatYears          int
	Must               int
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
	v := &programmeView{Name: orNone(rec.Name, "without a name"), Unit: unitOf(res.Currency), FlatYears: rec.Question.Cycle}
	v.Lead = fmt.Sprintf("%s of %s considered have a first visit in %s.", grouped(float64(res.Planned)), count(res.Trees, "tree"), span(res.FirstYear, len(res.Years)))
	switch {
	case res.Bound <= 0:
	case res.Exact:
		v.Proof = fmt.Sprintf("No programme within the same budget takes off more (%s).", orNone(res.Method, "method not recorded"))
	default:
		v.Proof = fmt.Sprintf("It takes off at least %s of the most that any programme within the same budget could (%s).", percent(1-max(res.Gap, 0)), orNone(res.Method, "method not recorded"))
	}
	hours, cost, trees := 0.0, 0.0, 0
	for i, y := range res.Years {
		hours, cost, trees = hours+y.Hours, cost+y.Cost, trees+y.Trees
		v.Years = append(v.Years, yearView{Year: res.FirstYear + i, Trees: y.Trees, Hours: fixed(y.Hours, 1), Cost: grouped(y.Cost),
			Before: harm(y.HarmBefore), Left: harm(y.HarmLeft), Worst: harmAt(res.WorstFirst, i), Cycle: harmAt(res.Flat, i)})
	}
	v.Hours, v.Cost, v.Trees = fixed(hours, 1), grouped(cost), grouped(float64(trees))
	for _, l := range res.Left {
		v.Left = append(v.Left, plain(l))
	}
	for _, i := range r.Programme.Items {
		add(&v.Must, i.Must)
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

// harmChart draws what is left of the expected harm by year.
func harmChart(res *programme.Result, cycle int) []byte {
	values := func(years []programme.Year, of func(*programme.Year) float64) (out []float64) {
		for i := range years {
			out = append(out, of(&years[i])*1000)
		}
		return out
	}
	left := func(y *programme.Year) float64 { return y.HarmLeft }
	flat := "flat cycle"
	if cycle > 0 {
		flat = fmt.Sprintf("flat cycle, %d years", cycle)
	}
	list := []series{
		{"nothing done", values(res.Years, func(y *programme.Year) float64 { return y.HarmBefore }), "2 3", "none", softInk},
		{flat, values(res.Flat, left), "8 3", "triangle", solid},
		{"worst first", values(res.WorstFirst, left), "4 2", "square", cutInk},
		{"this programme", values(res.Years, left), "", "circle", deep},
	}
	label := fmt.Sprintf("Line chart: harm index left by year from %d under this programme, worst first, a flat cycle and with nothing done; the table beneath has the figures", res.FirstYear)
	return lineChart(label, "harm index left", res.FirstYear, list)
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
