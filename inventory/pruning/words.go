package pruning

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/underbough/underbough/inventory/practice"
)

// objectiveOf says what the work is for.
func objectiveOf(s *Specification) string {
	switch s.Work {
	case practice.Restoration:
		return "Bring the topped or headed crown back, in small steps, to branches that lead and hold; keep it safe meanwhile."
	case practice.Rebalancing:
		return "Take weight off the ends of the bare limbs and let branches grow inside again, so that each limb carries its load along its length."
	case practice.Reduction:
		return "Take end weight off the limbs that reach too far, and keep the tree's form."
	case practice.Structural:
		return "Train the young tree: one leader, well spaced branches, small cuts early instead of wide ones later."
	}
	return "Keep the tree sound: dead, broken and rubbing parts out, everything else left."
}

// goalOf says what a visit without a goal of its own is for.
func goalOf(v *Visit, w practice.Work) string {
	for _, item := range v.Items {
		switch item.Rule {
		case InnerShoots:
			return "Order the shoots that have grown inside."
		case BareLimb, OverExtended, LongSide:
			return "Lighter ends, and everything dead out."
		case YoungTree:
			return "One leader, and the rest held back."
		}
	}
	if w == practice.Restoration && len(v.Items) == 0 {
		return "Look at the old cuts and record them; cut nothing."
	}
	return "Everything dead, broken and rubbing out."
}

// notTo lists what is not to be done.
func notTo(c *Case, p *practice.Practice, s *Specification) []string {
	q := &p.Pruning
	not := []string{
		"No topping, whoever asks for it.",
		"No heading cuts: no cut between nodes, or to a lateral under " + shareWords(q.LateralShare.Value) + " of what is removed; " + shareWords(q.LateralSharePreferred.Value) + " is better.",
		"No lion-tailing: do not strip the inside of a limb.",
		"No flush cuts and no stubs: cut just outside the collar.",
		"No limb over " + cm(q.ThreeCut.Value) + " in one cut: undercut, top cut, then the last cut at the collar.",
		"No cut wider than " + cm(q.WoundMost.Value) + ", or than " + shareWords(q.WoundParentShare.Value) + " of what carries it, without a reason that is written down; from " + cm(q.WoundCaution.Value) + " on see whether a reduction does instead.",
		"No raising that leaves live crown on less than " + percentOf(q.CrownRatioLeast.Value) + " of the height.",
		paint(c, p),
		"Nothing live in a drought.",
	}
	if s.Work != practice.SecondOpinion {
		not = append(not, "No climbing irons or spikes: the tree stays.", "No more than "+percentOf(s.DoseCap)+" of the live crown in one season, or than a visit says.")
	} else {
		not = append(not, "No cut before the second opinion; no climbing irons or spikes before it is decided that the tree goes.")
	}
	if s.Stressed {
		not = append(not, "The tree is stressed: nothing live that is not named here, and nothing live at all while it gets worse.")
	}
	if s.WaitYears > 0 {
		not = append(not, "The tree was topped lately: nothing live for "+count(s.WaitYears, "year", "years")+" from the first visit on.")
	}
	return not
}

// paint says that wounds are not painted, and where local rules ask for it. The
// windows of the practice know of which trees.
func paint(c *Case, p *practice.Practice) string {
	text := "No wound paint"
	genus, _, _ := strings.Cut(strings.TrimSpace(c.Tree.Species), " ")
	for i := range p.Windows.List {
		w := &p.Windows.List[i]
		if w.Open || !strings.Contains(w.UrgentNote, "paint") {
			continue
		}
		for _, g := range w.Genera {
			if strings.EqualFold(g, genus) {
				return text + ", except as local rules ask in the days of " + w.Name + " (" + w.From + " to " + w.To + "): " + w.UrgentNote + "."
			}
		}
	}
	return text + "."
}

// sentence starts a text with a capital.
func sentence(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}
