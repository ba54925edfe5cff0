package paper

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"github.com/underbough/underbough/inventory/pruning"
)

// Decisions is what people decided about the work of a site, and what was not
// done: who, when and why. A claim asks for it (METHOD section 9).
type Decisions struct {
	PutOff   []Decision // jobs that were given up or put off
	SentBack []Decision // jobs that were taken a step back, such as after a check
	Defects  []Decision // work that was done with defects, earlier rounds included
	Felled   []Decision
	Against  []Against // rules that somebody decided against
}

// Decision is one step of one job.
type Decision struct {
	Tag, Species, Package string
	Work                  string
	Year                  int // the job was planned for
	By                    string
	On                    time.Time
	What                  string // of a defect, a job sent back or a tree felled
	Reason                string // as it was given
}

// Against is a rule that somebody decided against on a tree.
type Against struct {
	Tag, Species string
	pruning.Override
}

// decisionsView is the section of what was decided.
type decisionsView struct {
	Lines  []string
	Tables []decisionTable
}

type decisionTable struct {
	Caption, What string
	Rows          []decisionRow
}

type decisionRow struct{ Tag, Species, Job, Who, When, What string }

// mostDecisions are listed of each sort; the caption says how many there are.
const mostDecisions = 60

func newDecisionsView(r *SiteReport) *decisionsView {
	v := &decisionsView{}
	d := r.Decisions
	if d == nil {
		d = &Decisions{}
	}
	v.Lines = append(v.Lines, fmt.Sprintf("%s given up or put off, %s sent back, %s with defects, %s taken down. %s",
		wasWere(len(d.PutOff), "job"), wasWere(len(d.SentBack), "job"), doneWords(len(d.Defects)), wasWere(len(d.Felled), "tree"), rulesAgainst(len(d.Against))))
	v.Lines = append(v.Lines, notPlanned(r)...)
	v.add("Given up or put off", "Reason", d.PutOff)
	v.add("Sent back", "Reason", d.SentBack)
	v.add("Done with defects", "What was found", d.Defects)
	v.add("Trees taken down", "What is on record", d.Felled)
	v.against(d.Against)
	return v
}

// notPlanned says what a programme left out, and for which reason.
func notPlanned(r *SiteReport) (list []string) {
	if r.Programme == nil {
		return nil
	}
	out, must := 0, 0
	for _, i := range r.Programme.Items {
		if i.First == 0 {
			out++
			add(&must, i.Must)
		}
	}
	if out > 0 {
		list = append(list, fmt.Sprintf("Programme “%s” of %s gives %s no visit in %s within its budget. %s of them %s to be done by its own rules. It was made by %s.", orNone(r.Programme.Record.Name, "without a name"),
			day(r.Programme.Record.MadeAt), count(out, "tree"), span(r.Programme.Record.Result.FirstYear, len(r.Programme.Record.Result.Years)),
			some0(must), map[bool]string{true: "has", false: "have"}[must < 2], orNone(r.Programme.Record.MadeBy, "somebody whose name is not recorded")))
	}
	return list
}

func (v *decisionsView) add(caption, what string, list []Decision) {
	if len(list) == 0 {
		return
	}
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b Decision) int { return cmp.Or(b.On.Compare(a.On), cmp.Compare(a.Tag, b.Tag)) })
	t := decisionTable{Caption: upTo(caption, len(list)), What: what}
	for _, d := range list[:min(len(list), mostDecisions)] {
		job := plain(d.Work)
		if d.Year > 0 {
			job += fmt.Sprintf(", %d", d.Year)
		}
		if d.Package != "" {
			job += ", " + plain(d.Package)
		}
		text := sentence(d.What)
		if d.Reason != "" {
			text = joinSentences(text, sentence(d.Reason))
		}
		t.Rows = append(t.Rows, decisionRow{plain(d.Tag), plain(d.Species), job, orNone(d.By, "not recorded"), day(d.On), orNone(text, "no reason is recorded")})
	}
	v.Tables = append(v.Tables, t)
}

func (v *decisionsView) against(list []Against) {
	if len(list) == 0 {
		return
	}
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(a, b Against) int { return cmp.Or(b.At.Compare(a.At), cmp.Compare(a.Tag, b.Tag)) })
	t := decisionTable{Caption: upTo("Decided against a rule", len(list)), What: "What breaks the rule, and the reason"}
	for _, a := range list[:min(len(list), mostDecisions)] {
		t.Rows = append(t.Rows, decisionRow{plain(a.Tag), plain(a.Species), "rule: " + plain(string(a.Rule)), orNone(a.By, "not recorded"), day(a.At),
			joinSentences(sentence(tidy(a.Breach)), "Reason: "+sentence(orNone(a.Reason, "not recorded")))})
	}
	v.Tables = append(v.Tables, t)
}

// overridesOf says in words which rules were decided against in a specification.
func overridesOf(s *pruning.Specification) (list []string) {
	for _, o := range s.Overrides {
		list = append(list, fmt.Sprintf("Decided against the rule “%s” by %s, %s: %s Reason: %s", plain(string(o.Rule)), orNone(o.By, "somebody whose name is not recorded"), day(o.At),
			sentence(tidy(o.Breach)), sentence(orNone(o.Reason, "not recorded"))))
	}
	return list
}

// upTo is a caption with the number of rows, and that not all are listed.
func upTo(caption string, n int) string {
	if n > mostDecisions {
		return fmt.Sprintf("%s: %s, the latest %d", caption, grouped(float64(n)), mostDecisions)
	}
	return fmt.Sprintf("%s: %d", caption, n)
}

func joinSentences(a, b string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + " " + b
}

func wasWere(n int, word string) string {
	if n == 1 {
		return "1 " + word + " was"
	}
	return count(n, word) + " were"
}

func doneWords(n int) string { return wasWere(n, "job") + " done" }

func rulesAgainst(n int) string {
	switch n {
	case 0:
		return "No rule was decided against."
	case 1:
		return "A rule was decided against once."
	}
	return "Rules were decided against " + grouped(float64(n)) + " times."
}

func some0(n int) string {
	if n == 0 {
		return "None"
	}
	return grouped(float64(n))
}
