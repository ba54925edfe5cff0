package pruning

import (
	"slices"
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
	case practice.Cleaning:
		if s.DoseTotal == 0 {
			return "Keep the tree sound: dead, broken and hung parts out, everything live left."
		}
	case practice.Structural:
		return "Train the young tree: one leader, well spaced branches, small cuts early instead of wide ones later."
	}
	return "Keep the tree sound: dead, broken and rubbing parts out, everything else left."
}

// goalOf says what a visit without a goal of its own is for.
func goalOf(v *Visit, w practice.Work) string {
	rules := make(map[Rule]bool)
	for _, item := range v.Items {
		rules[item.Rule] = true
		if !takesLive(item) {
			continue
		}
		switch item.Rule {
		case InnerShoots:
			return "Order the shoots that have grown inside."
		case BareLimb, OverExtended, LongSide:
			return "Lighter ends, and everything dead out."
		case YoungTree:
			return "One leader, and the rest held back."
		case Crossing:
			return "Everything dead, broken and rubbing out."
		}
	}
	switch {
	case rules[PalmFronds]:
		return "Dead and hung fronds off; nothing live."
	case w == practice.Restoration && v.Number == 1:
		return "Make it safe and record every old cut; nothing live."
	case rules[DeadWood]:
		return "Everything dead, broken and hung out; nothing live."
	}
	return "Look at the old cuts and record them; nothing live is cut."
}

// notTo lists what is not to be done.
func notTo(c *Case, p *practice.Practice, s *Specification) []string {
	q := &p.Pruning
	not := []string{
		"No topping, whoever asks for it.",
		notHeading(q.LateralShare.Value, q.LateralSharePreferred.Value),
		"No lion-tailing: do not strip the inside of a limb.",
		"No flush cuts and no stubs: cut just outside the collar.",
		"No limb over " + cm(q.ThreeCut.Value) + " in one cut: undercut, top cut, then the last cut at the collar.",
		"No cut wider than " + cm(q.WoundMost.Value) + ", or than " + shareWords(q.WoundParentShare.Value) + " of what carries it, without a reason that is written down; from " + cm(q.WoundCaution.Value) + " on see whether a reduction does instead.",
		"No raising that leaves live crown on less than " + percentOf(q.CrownRatioLeast.Value) + " of the height.",
		paint(c, p),
		"Nothing live in a drought.",
	}
	if s.Work != practice.SecondOpinion {
		not = append(not, noIrons, noMore+percentOf(s.DoseCap)+" of the live crown in one season, or than a visit says.")
	} else {
		not = append(not, noLiveCut)
	}
	if s.Stressed {
		not = append(not, "The tree is stressed: nothing live that is not named here, and nothing live at all while it gets worse.")
	}
	if s.WaitYears > 0 {
		not = append(not, "The tree was topped lately: nothing live for "+count(s.WaitYears, "year", "years")+" from the first visit on.")
	}
	return not
}

// notToPalm lists what is not to be done to a palm. Common practice, no source.
func notToPalm() []string {
	return []string{
		"No live frond that stands level or above; no green frond for looks.",
		"No topping: a palm has one bud and dies without it.",
		"No cut into the trunk, and no old leaf bases torn off.",
		noIrons,
		"No wound paint.",
	}
}

// Lines of what not to do that a change of the specification changes too.
const (
	headingStart = "No heading cuts:"
	noIrons      = "No climbing irons or spikes: the tree stays."
	noMore       = "No more than "
	noLiveCut    = "No live cut before the second opinion: only hung and dead parts over places may come off; no climbing irons or spikes before it is decided that the tree goes."
)

func notHeading(share, preferred float64) string {
	text := headingStart + " no cut between nodes, or to a lateral under " + shareWords(share) + " of what is removed"
	if preferred > share+slack {
		text += "; " + shareWords(preferred) + " is better"
	}
	return text + "."
}

// notBeforeLook makes what not to do that of a tree that is looked at first.
func notBeforeLook(not []string) []string {
	not = slices.DeleteFunc(slices.Clone(not), func(line string) bool { return line == noIrons || strings.HasPrefix(line, noMore) })
	return append(not, noLiveCut)
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
