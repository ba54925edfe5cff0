package pruning

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/allometry"
	"github.com/underbough/underbough/inventory/practice"
)

// opinion asks for a second opinion where pruning may not be the honest answer,
// and reports whether it did.
func (b *builder) opinion(kept bool) bool {
	var why []string
	ask := func(rule Rule, words, source string) {
		b.fire(rule, words, source)
		why = append(why, words)
	}
	if words, dead := b.c.dead(); dead {
		ask(DeadTree, words, "")
	} else if !kept {
		b.giveUp(ask)
	}
	if len(why) == 0 {
		return false
	}
	b.lookFirst(strings.Join(why, "; "))
	return true
}

func (b *builder) giveUp(ask func(Rule, string, string)) {
	r := &b.p.Restoration
	if l, on, ok := b.c.loss(); ok && max(l.Wagener, l.WithOpening) >= r.GiveUpLoss.Value-1e-9 {
		ask(StrengthLoss, fmt.Sprintf("strength lost at the section measured %s: %s by Wagener, %s with the opening; the limit is %s", on.Format(time.DateOnly), percentOf(l.Wagener), percentOf(l.WithOpening), percentOf(r.GiveUpLoss.Value)), r.GiveUpLoss.Source)
	}
	old, decayed, silent, longest, estimated := 0, 0, 0, 0.0, false
	for i := range b.c.Cuts {
		cut := &b.c.Cuts[i]
		if !headed(cut, b.p) {
			continue
		}
		n := max(cut.Count.Or(1), 1)
		old += n
		if cut.Decay.Or(false) {
			decayed += n
		}
		if !cut.Decay.OK {
			silent += n
		}
		if length, guess := b.c.shoots(i); length > longest {
			longest, estimated = length, guess
		}
	}
	if old > 0 && decayed > 0 && float64(decayed) >= r.GiveUpDecayShare.Value*float64(old)-1e-9 {
		ask(DecayedCuts, fmt.Sprintf("%d of %d old cuts decayed, %d without a record of it; the limit is %s", decayed, old, silent, percentOf(r.GiveUpDecayShare.Value)), r.GiveUpDecayShare.Source)
	}
	if longest > 0 && longest >= r.GiveUpShoot.Value-1e-9 {
		over := kindsText(slices.DeleteFunc(slices.Clone(b.c.Over), func(k inventory.TargetKind) bool { return !slices.Contains(r.GiveUpOver, k) }))
		if b.c.Occupied >= r.GiveUpOccupied.Value {
			over = "a place"
		}
		if over != "" && b.c.Occupied >= min(r.GiveUpFrequent.Value, r.GiveUpOccupied.Value) {
			ask(HeavyShoots, fmt.Sprintf("shoots of %s%s, limit %s, over %s with somebody there in %s of the hours", metres(longest), estimatedText(estimated), metres(r.GiveUpShoot.Value), over, percentOf(b.c.Occupied)), r.GiveUpShoot.Source)
		}
	}
	b.wideDecay(ask)
	if words, ok := b.c.dying(&b.p.Pruning); ok {
		ask(DyingTree, words, "")
	}
	if len(b.old) > 0 && (b.palm || b.conifer) {
		ask(KindUnruled, fmt.Sprintf("%s on a %s: its crown does not come back from shoots, and no rule here says what to do", count(old, "topping or heading cut", "topping or heading cuts"), allometry.Find(b.c.Tree.Species).Group()), "")
	}
	if part, on, ok := b.c.imminent(); ok {
		ask(Imminent, "failure of "+part+" judged imminent on "+on.Format(time.DateOnly), "")
	}
}

// wideDecay asks where a wound is decayed and wide for its tree. Old topping and
// heading cuts are judged by their share.
func (b *builder) wideDecay(ask func(Rule, string, string)) {
	r, most := &b.p.Restoration, b.p.Pruning.WoundMost.Value
	for i := range b.c.Cuts {
		cut := &b.c.Cuts[i]
		if !cut.Decay.Or(false) || !cut.Diameter.OK || headed(cut, b.p) || cut.Kind == inventory.CutLionTailing {
			continue
		}
		dbh := positive(b.c.Tree.DBH.V)
		stem := b.c.Tree.DBH.OK && dbh > 0 && cut.Diameter.V >= r.GiveUpWoundStem.Value*dbh-1e-9
		if cut.Diameter.V < most-1e-9 && !stem {
			continue
		}
		limit := cm(most) + " or wider"
		if stem {
			limit = percentOf(cut.Diameter.V/dbh) + " of the stem's " + cm(dbh)
			if cut.Diameter.V > dbh {
				limit = "wider than the stem's " + cm(dbh) + ": check both records"
			}
		}
		ask(DecayedWound, describe(cut)+": "+limit, r.GiveUpWoundStem.Source)
	}
}

// lookFirst makes the specification one visit in which nothing live is cut. Of a
// living tree over places hung and dead parts may come off meanwhile.
func (b *builder) lookFirst(why string) {
	s := &b.s
	toLook(s, why)
	if _, dead := b.c.dead(); !dead && len(b.c.Over) > 0 {
		look := &s.Visits[0].Items[0]
		look.Text = strings.Replace(look.Text, "Cut nothing.", "Cut nothing live.", 1)
		b.put(0, Item{Cut: inventory.CutRemoval, Place: OverTarget, SizeFrom: b.p.Pruning.DeadWood.Value, SizeTo: b.p.Pruning.WoundMost.Value, Rule: HungParts,
			Text: fmt.Sprintf("Until it is decided, hung and dead parts from %s across over %s may come off, from the ground or a lift: nobody climbs the tree before the look.", cm(b.p.Pruning.DeadWood.Value), kindsText(b.c.Over))})
		b.fire(HungParts, "over "+kindsText(b.c.Over), "")
	}
	s.CycleYears = int(b.p.Cycle.InspectYears.Value)
	s.Not = notTo(b.c, b.p, s)
}

// toLook turns a specification into one that asks for a look.
func toLook(s *Specification, why string) {
	s.Work, s.SecondOpinion, s.Stop = practice.SecondOpinion, why, ""
	s.Objective = "Have somebody qualified look at the tree before anything is cut, and say whether it is kept and pruned, made smaller, or removed."
	s.Visits = []Visit{{Number: 1, Goal: "A decision: keep and prune, or remove and plant again.", Items: []Item{{
		Place: WholeCrown, Rule: OpinionFirst,
		Text: "Look closer at stem, roots, old cuts and shoots, with tools where the eye does not do. Where that cannot be soon, keep people out from under it meanwhile. Cut nothing. Reason: " + why + ".",
	}}}}
	s.DoseTotal, s.DoseCap = 0, 0
}

// kindsText lists kinds of places.
func kindsText(kinds []inventory.TargetKind) string {
	words := make([]string, len(kinds))
	for i, k := range kinds {
		words[i] = strings.ReplaceAll(string(k), "_", " ")
	}
	return strings.Join(words, ", ")
}
