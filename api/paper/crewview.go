package paper

import (
	"fmt"
	"html/template"
	"slices"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
	"github.com/underbough/underbough/inventory/question"
)

// crewView is what the page of a crew sheet shows, in words.
type crewView struct {
	Access string
	Always []string // not to be done on any of the trees
	Map    template.HTML
	Jobs   []jobView
	Hours  string
	// NotApproved and GatesOpen name the jobs that may not begin, and why.
	NotApproved, GatesOpen []string
}

type jobView struct {
	Number, Visit, OpenGates                                       int
	NotYet                                                         []string // why the job may not begin
	State                                                          string
	Objective, Caution, Tag, Name, Work, DBH, Height, Hours, Place string
	Facts                                                          []fact
	Second, Goal, Dose, Stop                                       string
	Side, Plan                                                     template.HTML
	SideLegend, PlanLegend                                         string
	Items                                                          []itemView
	Not, Hazards, Notes, Overrides, Rules                          []string
	Open, Quietest, Access                                         string
	Gates                                                          []gateView
	Cuts                                                           []cutView
	Visits                                                         []visitView
	Blank                                                          []string
}

type itemView struct{ Sign, Letter, Text, Extra string }

type gateView struct {
	Name, Why, Reference, By string
	Open                     bool
}

type cutView struct {
	Letter, Kind, Made, Diameter, Height, Reach, Bearing, Shoots, Longest, Decay string
}

type visitView struct {
	Number      int
	After, Dose string
	Goal        string
}

// blankRows of the form are empty besides one for each instruction.
const blankRows = 3

func newCrewView(s *CrewSheet) *sheet {
	jobs := slices.DeleteFunc(slices.Clone(s.Jobs), func(j CrewJob) bool { return j.Job.State == inventory.Withdrawn })
	v := &crewView{Access: plain(s.Access)}
	m := &MapInput{Label: fmt.Sprintf("Map of package %s: %s", plain(s.Package), count(len(jobs), "tree")), Targets: s.Targets}
	var specs []*pruning.Specification
	for i := range jobs {
		specs = append(specs, &jobs[i].Specification)
	}
	always := sharedNot(specs)
	v.Always = plainAll(notWords(always, specs...))
	hours := 0.0
	for i := range jobs {
		j := &jobs[i]
		hours += j.Job.Hours
		m.Marks = append(m.Marks, Mark{j.Tree.Point, fmt.Sprint(i + 1)})
		v.Jobs = append(v.Jobs, newJobView(i+1, j, s.Targets, always))
		v.notYet(i+1, j)
	}
	v.Map, v.Hours = inHTML(Map(m)), fixed(hours, 1)
	out := &sheet{Title: plain(s.Package) + ", " + plain(s.Site.Name), Kind: fmt.Sprintf("Crew sheet for %d", s.Year), Basis: s.facts(), Cautions: Cautions, Data: v}
	out.Lines = []string{fmt.Sprintf("%s, about %s crew-hours. One page or more for each tree; the form at its end is filled in at the tree.", count(len(jobs), "tree"), v.Hours)}
	return out
}

func newJobView(number int, j *CrewJob, targets []inventory.Target, always []string) jobView {
	t, spec := &j.Tree, &j.Specification
	visit, items := visitOf(spec, j.Job.Visit)
	v := jobView{
		Number: number, Visit: max(j.Job.Visit, 1), OpenGates: j.Job.OpenGates(),
		Caution: question.Caution, Tag: plain(t.Label()), Name: plain(t.Name()), Work: workWord(j), DBH: optCm(t.DBH), Height: sized(t.Size.Height, t.Size.HeightEstimated()),
		Hours: fixed(j.Job.Hours, 1), Place: fmt.Sprintf("%s, %s", fixed(t.Point[0], 6), fixed(t.Point[1], 6)),
		Second: sentence(tidy(spec.SecondOpinion)), Stop: sentence(spec.Stop), Hazards: hazards(j), Access: plain(j.Access),
		Open: "Days: " + orNone(j.Job.Open, "no open days are recorded; ask before planning") + ".", Quietest: "Hours: " + orNone(j.Job.Quietest, "the quietest hours are not recorded") + ".",
	}
	side, legend := sideView(t, items)
	v.Side, v.SideLegend = inHTML(side), legend
	above, legend := planView(t, items, targets)
	v.Plan, v.PlanLegend = inHTML(above), legend
	v.Facts = []fact{
		{"Species", v.Name}, {"Stem diameter", withUnit(optCm(t.DBH), " cm")}, {"Height", metres(t.Size.Height, t.Size.HeightEstimated())},
		{"Crown radius", metres(t.Size.CrownRadius, t.Size.CrownRadiusEstimated())}, {"Condition", conditionWords(&t.Tree)}, {"Stands over", overWords(j.Over)},
		{"Longitude, latitude", v.Place}, {"System, maturity", strings.Trim(string(spec.System)+", "+string(spec.Maturity), ", ")},
	}
	if visit != nil {
		v.Goal = heading(tidy(visit.Goal))
	}
	v.NotYet, v.State = notYet(&j.Job), orNone(string(j.Job.State), "not recorded")
	v.Dose = crewDose(j, visit)
	for i := range items {
		v.Items = append(v.Items, newItemView(i, &items[i], t.Cuts))
		v.Blank = append(v.Blank, v.Items[i].Sign)
	}
	v.Blank = append(v.Blank, make([]string, blankRows)...)
	v.Objective, v.Not, v.Notes = sentence(tidy(spec.Objective)), plainAll(notWords(without(spec.Not, always), spec)), plainAll(j.Notes)
	if spec.Note != "" {
		v.Notes = append(v.Notes, "Note of the person who changed the specification: "+sentence(spec.Note))
	}
	for _, g := range j.Job.Gates {
		v.Gates = append(v.Gates, newGateView(&g))
	}
	for i := range t.Cuts {
		v.Cuts = append(v.Cuts, newCutView(i, &t.Cuts[i]))
	}
	if len(spec.Visits) > 1 || spec.Stop != "" {
		v.Visits = visitsOf(spec)
	}
	v.Overrides = overridesOf(spec)
	v.Rules = rulesOf(spec)
	return v
}

// visitOf finds a visit by its number; without one the first that there is.
func visitOf(spec *pruning.Specification, number int) (*pruning.Visit, []pruning.Item) {
	i := slices.IndexFunc(spec.Visits, func(v pruning.Visit) bool { return v.Number == max(number, 1) })
	if i < 0 {
		return nil, nil
	}
	return &spec.Visits[i], spec.Visits[i].Items
}

func visitsOf(spec *pruning.Specification) (list []visitView) {
	for _, w := range spec.Visits {
		list = append(list, visitView{w.Number, yearsAfter(w.AfterYears), percent(w.Dose), sentence(w.Goal)})
	}
	return list
}

// rulesOf names the rules that spoke; the specification has the reasons and the
// sources, which a crew has no use for.
func rulesOf(spec *pruning.Specification) (list []string) {
	for _, r := range spec.Rules {
		list = append(list, plain(string(r.Rule)))
	}
	return list
}

func newItemView(i int, it *pruning.Item, cuts []inventory.Cut) itemView {
	v := itemView{Sign: itemSign(i).text, Text: plain(itemWords(it))}
	if k := cutAt(cuts, it.OnCut); k >= 0 {
		v.Letter = cutLetter(k)
	}
	var parts []string
	if it.Place != "" {
		parts = append(parts, string(it.Place))
	}
	s := spotOf(it, cuts)
	if s.height.OK {
		parts = append(parts, "at "+fixed(s.height.V, 1)+" m")
	}
	if s.reach.OK {
		parts = append(parts, fixed(s.reach.V, 1)+" m from the stem")
	}
	if s.bearing.OK {
		parts = append(parts, "towards "+compass(s.bearing))
	}
	switch {
	case it.SizeTo > 0 && it.SizeFrom > 0:
		parts = append(parts, fmt.Sprintf("wood of %s to %s cm", num(it.SizeFrom*100), num(it.SizeTo*100)))
	case it.SizeTo > 0:
		parts = append(parts, fmt.Sprintf("wood up to %s cm", num(it.SizeTo*100)))
	}
	if it.LateralShare > 0 {
		parts = append(parts, "lateral at least "+shareWord(it.LateralShare)+" as thick as what is removed")
	}
	if len(parts) > 0 {
		v.Extra = "(" + strings.Join(parts, "; ") + ")"
	}
	return v
}

func newGateView(g *inventory.Gate) gateView {
	v := gateView{Name: plain(g.Name), Why: plain(g.Why), Reference: plain(g.Reference), Open: !g.Cleared}
	if g.Cleared {
		v.By = plain(g.By)
		if g.On.OK {
			v.By = strings.TrimPrefix(v.By+", "+day(g.On.V), ", ")
		}
	}
	return v
}

func newCutView(i int, c *inventory.Cut) cutView {
	v := cutView{Letter: cutLetter(i), Kind: string(c.Kind), Made: "–", Diameter: optCm(c.Diameter), Height: optMetres(c.Height, 1), Reach: optMetres(c.Reach, 1),
		Bearing: compass(c.Bearing), Shoots: "–", Longest: optMetres(c.RegrowthLength, 1), Decay: "–"}
	if c.Count.OK && c.Count.V > 1 {
		v.Kind += fmt.Sprintf(" × %d", c.Count.V)
	}
	if y, ok := c.MadeYear(); ok {
		v.Made = fmt.Sprint(y)
	}
	if c.RegrowthCount.OK {
		v.Shoots = fmt.Sprint(c.RegrowthCount.V)
	}
	if c.Decay.OK {
		v.Decay = map[bool]string{true: "seen", false: "none seen"}[c.Decay.V]
	}
	return v
}

func workWord(j *CrewJob) string {
	if j.Specification.Work != "" {
		return plain(string(j.Specification.Work))
	}
	return orNone(j.Job.Work, "work not recorded")
}

// sized marks an estimate in a narrow column.
func sized(v float64, estimated bool) string {
	if estimated {
		return "~" + fixed(v, 1)
	}
	return fixed(v, 1)
}

func withUnit(s, unit string) string {
	if s == "–" {
		return "not recorded"
	}
	return s + unit
}

func orNone(s, none string) string {
	if s = plain(s); s == "" {
		return none
	}
	return s
}

func plainAll(list []string) (out []string) {
	for _, s := range list {
		out = append(out, plain(s))
	}
	return out
}
