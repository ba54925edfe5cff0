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
	NeverSeen                        string
	Decisions                        *decisionsView
	Scale                            string // of the squares of the map, in words
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
	Not, Notes, Overrides                      []string
}

type reportVisit struct {
	Number            int
	After, Dose, Goal string
	Items             []itemView
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
		Lasts: yearsOf(r.Effect.Lasts.Value), LastsSource: plain(r.Effect.Lasts.Source),
	}
	var specs []*pruning.Specification
	for i := range r.Trees[:top] {
		if s := r.Trees[i].Specification; s != nil {
			specs = append(specs, s)
		}
	}
	always := sharedNot(specs)
	v.Always = plainAll(notWords(always, specs...))
	m := &MapInput{Label: fmt.Sprintf("Map of %s: person-hours under the crowns and limbs of %s by square, and the first %d by number", plain(r.Site.Name), count(len(r.Trees), "tree"), top), Targets: r.Targets}
	for i := range r.Trees {
		m.Weights = append(m.Weights, Weight{r.Trees[i].Point, r.Trees[i].Row.PersonHours()})
		if i < top {
			m.Marks = append(m.Marks, Mark{r.Trees[i].Point, fmt.Sprint(i + 1)})
			v.Top = append(v.Top, newTopView(i+1, &r.Trees[i], r, always))
		}
	}
	v.Map = inHTML(Map(m))
	v.Programme = newProgrammeView(r)
	v.effects(r)
	v.lists(r)
	v.inspections(r.Inspections)
	v.Decisions = newDecisionsView(r)
	v.Summary = summary(r, t, top)
	return &sheet{Title: "Trees over people: " + plain(r.Site.Name), Kind: "Site report", Basis: r.facts(), Cautions: Cautions, Data: v}
}

// summary says the whole in plain words.
func summary(r *SiteReport, t *tally, top int) (list []string) {
	if t.trees == 0 {
		return []string{"No standing tree is on record here, so there is nothing to report yet."}
	}
	list = append(list, fmt.Sprintf("%s standing %s on record. %s over a place that is recorded, %s of them over places where people are at some hour of the week.",
		grouped(float64(t.trees)), isAre(t.trees, "tree"), verb(t.over, "stands", "stand"), grouped(float64(t.overBusy))))
	list = append(list, fmt.Sprintf("%s, %s of all, %s an old cut that weakens a limb or the crown; %s topped.", count(t.bad, "tree"), percent(ratio(t.bad, t.trees)), map[bool]string{true: "carries", false: "carry"}[t.bad == 1], verb(t.tops, "was", "were")))
	if t.harm > 0 {
		first := 0.0
		for i := range r.Trees[:top] {
			first += r.Trees[i].Row.HarmIndex()
		}
		list = append(list, fmt.Sprintf("Trees are put in order by a harm index: how likely a part is to fail, times who and what is beneath, times how much of it would be struck. %s %s of the whole.", firstTrees(top), percent(first/t.harm)))
		list = append(list, undecided(r, t)...)
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
	return append(list, dueWords(r.Inspections)...)
}

// undecided says how much of the harm waits for somebody to decide.
func undecided(r *SiteReport, t *tally) []string {
	n, harm := 0, 0.0
	for i := range r.Trees {
		if r.Trees[i].Undecided {
			n++
			harm += r.Trees[i].Row.HarmIndex()
		}
	}
	if n == 0 {
		return nil
	}
	return []string{fmt.Sprintf("%s of the harm is in trees (%s) on which somebody qualified has to decide first; what follows from that decision is not costed here.", percent(harm/t.harm), grouped(float64(n)))}
}

// firstTrees begins a sentence on the trees that are told of one by one.
func firstTrees(n int) string {
	if n == 1 {
		return "The first tree holds"
	}
	return fmt.Sprintf("The first %d trees hold", n)
}

// verb puts a number before the word that goes with it.
func verb(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return grouped(float64(n)) + " " + many
}

func yearsOf(v float64) string {
	if v == 1 {
		return "1 year"
	}
	return num(v) + " years"
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
		{"Crown radius", metres(tree.Size.CrownRadius, tree.Size.CrownRadiusEstimated())}, {"Condition", conditionWords(&tree.Tree.Tree)},
		{"Stands over", v.Over}, {"People beneath, mean", figure(tree.Row.Count.Persons())}, {"Rating", v.Rating}, {"Harm index", v.HarmIndex},
	}
	if s := tree.Specification; s != nil {
		v.Work, v.Objective, v.Second = plain(string(s.Work)), sentence(s.Objective), sentence(tidy(s.SecondOpinion))
		v.Overrides = overridesOf(s)
		if s.Note != "" {
			v.Overrides = append(v.Overrides, "Note of the person who changed it: "+sentence(s.Note))
		}
		for i := range s.Visits {
			w := &s.Visits[i]
			visit := reportVisit{Number: w.Number, After: yearsAfter(w.AfterYears), Dose: doseWords(s, w, &tree.Tree.Tree), Goal: sentence(w.Goal)}
			for k := range w.Items {
				visit.Items = append(visit.Items, newItemView(k, &w.Items[k], tree.Cuts))
			}
			v.Visits = append(v.Visits, visit)
		}
		v.Not = plainAll(notWords(without(s.Not, always), s))
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
	if w := r.Value; w != nil {
		if w.Trees > 0 {
			v.Value = append(v.Value, fmt.Sprintf("%s appraised at %s together (%s).", isAreCount(w.Trees), money(w.Appraised, w.Currency), orNone(w.Method, "method not recorded")))
		}
		if text := shadeWords(w); text != "" {
			v.Value = append(v.Value, text)
		}
	}
}

// shadeWords says what the crowns cover, areas and lines apart: how wide a walk is
// that is drawn as a line nobody recorded.
func shadeWords(w *Value) string {
	var parts []string
	for _, p := range []struct {
		amount     float64
		unit, what string
	}{
		{w.ShadeParking, "m²", "parking drawn as areas"}, {w.ShadeParkingLength, "m", "parking drawn as lines"},
		{w.ShadeWalks, "m²", "walks and plazas drawn as areas"}, {w.ShadeWalksLength, "m", "walks drawn as lines"},
	} {
		if p.amount > 0 {
			parts = append(parts, grouped(p.amount)+" "+p.unit+" of "+p.what)
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return "Crowns cover " + strings.Join(parts, ", ") + ": shade that a topped crown would not give. Ground under two crowns counts twice."
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
