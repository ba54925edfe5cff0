package paper

import (
	"fmt"
	"html/template"
	"strings"

	"github.com/underbough/underbough/inventory/pruning"
)

// reportView is what the page of a report shows, in words.
type reportView struct {
	Summary                          []string
	Always                           []string
	Trees                            string
	Species, Sizes, Conditions, Cuts []counted
	Places, Ratings                  []counted
	Map                              template.HTML
	Top                              []topView
	Programme                        *programmeView
	Effects                          []effectView
	Lasts, LastsSource               string
	NoPromise                        string
	Restorations                     []restorationView
	Value                            []string
	Inspections                      []inspectionView
	Quality                          []counted
	Method                           []fact
	Notes                            []string
	Glossary                         []fact
	TopCount                         int
}

type topView struct {
	Number                                     int
	Tag, Name, Reason, Over, Rating, HarmIndex string
	Facts                                      []fact
	Plan                                       template.HTML
	Legend, Work, Objective, Second, Cost      string
	Visits                                     []reportVisit
	Not, Notes                                 []string
}

type reportVisit struct {
	Number, After int
	Dose, Goal    string
	Items         []itemView
}

type effectView struct{ Work, Share, Source string }

type restorationView struct {
	Tag, Species, Dose, Next, Note string
	Done, Visits                   int
}

type inspectionView struct {
	Tag, Species, Due, Why string
	Overdue                bool
}

func newReportView(r *SiteReport) *sheet {
	t := newTally(r.Trees)
	top := r.Top
	if top <= 0 {
		top = DefaultTop
	}
	top = min(top, len(r.Trees))
	v := &reportView{
		Trees: grouped(float64(t.trees)), Species: t.species, Sizes: t.sizes, Conditions: t.conditions, Cuts: t.cuts, Places: t.places, Ratings: t.ratings,
		TopCount: top, NoPromise: noPromise, Notes: plainAll(r.Notes), Glossary: glossary, Method: method(&r.Basis), Quality: quality(t),
		Lasts: fixed(r.Effect.Lasts.Value, 0), LastsSource: plain(r.Effect.Lasts.Source),
	}
	var specs []*pruning.Specification
	for i := range r.Trees[:top] {
		if s := r.Trees[i].Specification; s != nil {
			specs = append(specs, s)
		}
	}
	always := sharedNot(specs)
	v.Always = plainAll(always)
	m := &MapInput{Label: fmt.Sprintf("Map of %s with %s, the first %d by number", plain(r.Site.Name), count(len(r.Trees), "tree"), top), Targets: r.Targets}
	for i := range r.Trees {
		if i < top {
			m.Marks = append(m.Marks, Mark{r.Trees[i].Point, fmt.Sprint(i + 1)})
			v.Top = append(v.Top, newTopView(i+1, &r.Trees[i], r, always))
		} else {
			m.Dots = append(m.Dots, r.Trees[i].Point)
		}
	}
	v.Map = inHTML(Map(m))
	v.Programme = newProgrammeView(r)
	v.effects(r)
	v.lists(r)
	v.Summary = summary(r, t, top)
	return &sheet{Title: "Trees over people: " + plain(r.Site.Name), Kind: "Site report", Basis: r.facts(), Cautions: Cautions, Data: v}
}

// summary says the whole in plain words.
func summary(r *SiteReport, t *tally, top int) (list []string) {
	if t.trees == 0 {
		return []string{"No standing tree is on record here, so there is nothing to report yet."}
	}
	list = append(list, fmt.Sprintf("%s standing %s on record. %s stand over a place that is recorded, %s of them over places where people are at some hour of the week.",
		grouped(float64(t.trees)), isAre(t.trees, "tree"), grouped(float64(t.over)), grouped(float64(t.overBusy))))
	list = append(list, fmt.Sprintf("%s of them (%s) carry an old cut that weakens a limb or the crown; %s were topped.", grouped(float64(t.bad)), percent(ratio(t.bad, t.trees)), grouped(float64(t.tops))))
	if t.harm > 0 {
		first := 0.0
		for i := range r.Trees[:top] {
			first += r.Trees[i].Row.HarmIndex()
		}
		list = append(list, fmt.Sprintf("Trees are put in order by a harm index: how likely a part is to fail, times who and what is beneath, times how much of it would be struck. The first %d trees hold %s of the whole.", top, percent(first/t.harm)))
	}
	if p := r.Programme; p != nil {
		res := &p.Record.Result
		hours, cost, left, before := 0.0, 0.0, 0.0, 0.0
		for _, y := range res.Years {
			hours, cost, left, before = hours+y.Hours, cost+y.Cost, left+y.HarmLeft, before+y.HarmBefore
		}
		list = append(list, fmt.Sprintf("The programme asks for work on %s in %s, about %s crew-hours at a cost of %s.",
			count(res.Planned, "tree"), span(res.FirstYear, len(res.Years)), grouped(hours), money(cost, res.Currency)))
		if before > 0 {
			list = append(list, fmt.Sprintf("On the client's own assumption of what work takes off, that leaves %s of the expected harm over those years. Nothing here promises fewer failures.", percent(left/before)))
		}
	} else {
		list = append(list, "No programme of work has been made yet.")
	}
	overdue := 0
	for _, i := range r.Inspections {
		add(&overdue, i.Overdue)
	}
	if len(r.Inspections) > 0 {
		list = append(list, fmt.Sprintf("%s due a look again; %s overdue.", isAreCount(len(r.Inspections)), isAreCount(overdue)))
	}
	return list
}

func newTopView(number int, tree *ReportTree, r *SiteReport, always []string) topView {
	svg, legend := planView(&tree.Tree, nil, r.Targets)
	v := topView{
		Number: number, Tag: plain(tree.Label()), Name: plain(tree.Name()), Over: overWords(tree.Row.Over), Rating: tree.Row.Score.Rating.String(), HarmIndex: figure(tree.Row.HarmIndex()),
		Plan: inHTML(svg), Legend: legend, Reason: plain(tree.Paragraph),
	}
	if v.Reason == "" {
		v.Reason = plain(tree.Row.Reason()) + "."
	}
	v.Facts = []fact{
		{"Stem diameter", withUnit(optCm(tree.DBH), " cm")}, {"Height", metres(tree.Size.Height, tree.Size.HeightEstimated())},
		{"Crown radius", metres(tree.Size.CrownRadius, tree.Size.CrownRadiusEstimated())}, {"Condition", orNone(tree.Condition, "not recorded")},
		{"Stands over", v.Over}, {"People beneath, mean", figure(tree.Row.Count.Persons())}, {"Rating", v.Rating}, {"Harm index", v.HarmIndex},
	}
	if s := tree.Specification; s != nil {
		v.Work, v.Objective, v.Second = plain(string(s.Work)), sentence(s.Objective), sentence(s.SecondOpinion)
		for i := range s.Visits {
			w := &s.Visits[i]
			visit := reportVisit{Number: w.Number, After: w.AfterYears, Dose: percent(w.Dose), Goal: sentence(w.Goal)}
			for k := range w.Items {
				visit.Items = append(visit.Items, newItemView(k, &w.Items[k], tree.Cuts))
			}
			v.Visits = append(v.Visits, visit)
		}
		v.Not = plainAll(without(s.Not, always))
	}
	v.Notes = plainAll(tree.Notes)
	if tree.Hours > 0 || tree.Cost > 0 {
		v.Cost = fmt.Sprintf("About %s crew-hours, %s, over all visits.", fixed(tree.Hours, 1), money(tree.Cost, currencyOf(r)))
	}
	if tree.Quietest != "" {
		v.Cost = strings.TrimSpace(v.Cost + " Quietest hours: " + plain(tree.Quietest) + ".")
	}
	return v
}

// lists fills the tables of what goes on.
func (v *reportView) lists(r *SiteReport) {
	for _, p := range r.Restorations {
		next := "none"
		if p.Next > 0 {
			next = fmt.Sprint(p.Next)
		}
		v.Restorations = append(v.Restorations, restorationView{Tag: plain(p.Tag), Species: plain(p.Species), Dose: percent(p.DoseSoFar), Next: next, Note: plain(p.Note), Done: p.Done, Visits: p.Visits})
	}
	for _, i := range r.Inspections {
		v.Inspections = append(v.Inspections, inspectionView{plain(i.Tag), plain(i.Species), day(i.Due), plain(i.Why), i.Overdue})
	}
	if w := r.Value; w != nil {
		if w.Trees > 0 {
			v.Value = append(v.Value, fmt.Sprintf("%s appraised at %s together (%s).", isAreCount(w.Trees), money(w.Appraised, w.Currency), orNone(w.Method, "method not recorded")))
		}
		if w.ShadeParking > 0 || w.ShadeWalkways > 0 {
			v.Value = append(v.Value, fmt.Sprintf("Crowns cover %s m² of parking and %s m² of walkways: shade that a topped crown would not give.", grouped(w.ShadeParking), grouped(w.ShadeWalkways)))
		}
	}
}

func quality(t *tally) []counted {
	return []counted{t.line("height estimated from the stem's diameter", t.heights), t.line("crown radius estimated from the stem's diameter", t.crowns),
		t.line("stem diameter not recorded", t.diameters), t.line("likelihood of failure inferred by a rule, judged by nobody", t.inferred), t.line("likelihood judged on a visit that is out of date", t.stale)}
}

func ratio(n, of int) float64 {
	if of == 0 {
		return 0
	}
	return float64(n) / float64(of)
}

func isAre(n int, word string) string {
	if n == 1 {
		return word + " is"
	}
	return plural(word) + " are"
}

func isAreCount(n int) string {
	if n == 1 {
		return "1 tree is"
	}
	return grouped(float64(n)) + " trees are"
}
