package paper

import (
	"fmt"
	"regexp"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/pruning"
)

// notYet says why a job may not begin; empty where it may.
func notYet(j *inventory.Job) (list []string) {
	if j.State != inventory.Approved && j.State != inventory.InHand {
		list = append(list, "Not approved: do not begin.")
	}
	var open []string
	for _, g := range j.Gates {
		if !g.Cleared {
			open = append(open, plain(g.Name))
		}
	}
	if len(open) > 0 {
		list = append(list, "Gates open: "+strings.Join(open, ", ")+". Do not begin before they are settled.")
	}
	return list
}

// notYet gathers at the front which jobs may not begin.
func (v *crewView) notYet(number int, j *CrewJob) {
	name := fmt.Sprintf("%d (%s)", number, plain(j.Tree.Label()))
	if j.Job.State != inventory.Approved && j.Job.State != inventory.InHand {
		v.NotApproved = append(v.NotApproved, name)
	}
	if j.Job.OpenGates() > 0 {
		v.GatesOpen = append(v.GatesOpen, name)
	}
}

// nothingLive reports whether nothing live is cut on a tree: it is dead, or
// somebody qualified has to look first.
func nothingLive(s *pruning.Specification, t *inventory.Tree) bool {
	return t.Status == inventory.Dead || s.Work == practice.SecondOpinion
}

// crewDose says how much of the live crown goes at the most.
func crewDose(j *CrewJob, visit *pruning.Visit) string {
	spec := &j.Specification
	text := ""
	switch {
	case nothingLive(spec, &j.Tree.Tree), visit != nil && visit.Dose == 0:
		text = "Nothing live is cut on this visit"
	case visit == nil:
		text = fmt.Sprintf("Take at the most %s of the live crown in this season", percent(spec.DoseCap))
	default:
		text = fmt.Sprintf("Take at the most %s of the live crown on this visit; the season's limit for this tree is %s", percent(visit.Dose), percent(spec.DoseCap))
	}
	if spec.Stressed && j.Tree.Status != inventory.Dead {
		text += ". The tree is stressed: dead and hazardous parts come first"
	}
	text += "."
	if spec.WaitYears > 0 {
		text += fmt.Sprintf(" Nothing live is taken for %s from the first visit on.", count(spec.WaitYears, "year"))
	}
	return text
}

// doseWords is the limit of a visit in a line of the report.
func doseWords(s *pruning.Specification, w *pruning.Visit, t *inventory.Tree) string {
	if w.Dose == 0 || nothingLive(s, t) {
		return "nothing live is cut"
	}
	return "at the most " + percent(w.Dose) + " of the live crown"
}

// A lateral's share in an instruction and in what is not to be done: as one word
// for it, such as "a third", "25 %", or "a third to a half, or more".
const (
	shares       = `(?:a third|a half|a quarter|[\d.]+ %)(?: to (?:a third|a half|a quarter|[\d.]+ %))?`
	lateralSmall = "to a lateral smaller than the instruction asks for"
)

var (
	lateralShare = regexp.MustCompile(`(laterals?|side shoots?) of ` + shares + `(?: or more)?`)
	lateralLeast = regexp.MustCompile(`to a lateral under ` + shares + ` of what is removed(?:; ` + shares + ` is better)?`)
)

// itemWords is an instruction without the lateral's share, where the instruction
// has one of its own: it is printed once, beside the text.
func itemWords(it *pruning.Item) string {
	if it.LateralShare <= 0 {
		return tidy(it.Text)
	}
	return lateralShare.ReplaceAllString(tidy(it.Text), "$1")
}

// notWords is what is not to be done, without a lateral's share where an
// instruction of the specifications has its own.
func notWords(list []string, specs ...*pruning.Specification) []string {
	own := false
	for _, s := range specs {
		for _, v := range s.Visits {
			for i := range v.Items {
				own = own || v.Items[i].LateralShare > 0
			}
		}
	}
	out := make([]string, len(list))
	for i, text := range list {
		if out[i] = tidy(text); own {
			out[i] = lateralLeast.ReplaceAllString(out[i], lateralSmall)
		}
	}
	return out
}
