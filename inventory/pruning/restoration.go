package pruning

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// restore asks for the visits of a restoration on the topped and headed cuts.
func (b *builder) restore() {
	b.work(practice.Restoration)
	topped, headed, small := 0, 0, 0
	for _, i := range b.old {
		n := cutsOf(&b.c.Cuts[i])
		switch b.c.Cuts[i].Kind {
		case inventory.CutTopping:
			topped += n
		case inventory.CutReduction:
			small += n
		default:
			headed += n
		}
	}
	b.fire(ToppedTree, fmt.Sprintf("%s and %s, and %s to laterals under %s", count(topped, "topping cut", "topping cuts"), count(headed, "heading cut", "heading cuts"), count(small, "cut", "cuts"), b.lateral()), "")
	b.longShoots()
	for _, s := range b.steps {
		s.do(b, s.years, s.share)
	}
	b.s.Stop = "Restored when each old cut carries one leader, its stub is gone to the new collar, and the crown keeps its form for a cycle without new clusters of shoots. From then on the natural cycle of " +
		count(int(cycleOf(b.s.Maturity, b.s.Stressed, &b.p.Cycle).Value), "year", "years") + " holds. Where the tree stays poor or decay spreads at the old cuts, stop and ask for a second opinion."
}

// safe sets the goal of the first visit: what it takes is dead, or long over
// places.
func (b *builder) safe(int, float64) {
	rest := "the shoots to keep are chosen at the next visit."
	if b.s.WaitYears > 0 {
		rest = "let the shoots rebuild the tree's reserves."
	}
	safe := "Make it safe"
	if slices.ContainsFunc(b.s.Visits[0].Items, func(item Item) bool { return item.Rule == LongShoots }) {
		safe += ", shorten the long shoots over places"
	}
	b.s.Visits[0].Goal = safe + " and record every old cut; " + rest
}

// unruled leaves the old cuts of a kept conifer to whoever looked at it.
func (b *builder) unruled() {
	for _, i := range b.old {
		item := of(&b.c.Cuts[i], AtOldCut, KindUnruled)
		item.Text = sentence(describe(&b.c.Cuts[i])) + ": as whoever looked at the tree says; on a conifer no shoots are chosen by rule."
		b.put(0, item)
	}
	b.fire(KindUnruled, "a conifer with topped or headed leaders", "")
}

// longShoots shortens what stands far out over places, at the first visit that
// may take live crown.
func (b *builder) longShoots() {
	if len(b.c.Over) == 0 {
		return
	}
	limit := b.p.Restoration.LongShoot
	for _, i := range b.old {
		length, estimated := b.c.shoots(i)
		if length == 0 || length < limit.Value-1e-9 {
			continue
		}
		cut := &b.c.Cuts[i]
		item := of(cut, OverTarget, LongShoots)
		item.Cut, item.LateralShare = inventory.CutReduction, b.p.Pruning.LateralShare.Value
		how := ""
		if estimated {
			how = " by estimate"
		}
		item.Text = fmt.Sprintf("Shoots %s long%s on the %s: shorten those that stand over the place beneath to a side shoot of %s or more; where there is none, leave the shoot for the next visit.",
			metres(length), how, describe(cut), shareWords(item.LateralShare))
		b.live(0, practice.Restoration, b.p.Restoration.Visits[0].Dose.Value, item)
		b.shortened = append(b.shortened, i)
	}
	long := 0
	for _, i := range b.shortened {
		long += cutsOf(&b.c.Cuts[i])
	}
	if long > 0 {
		b.fire(LongShoots, count(long, "old cut", "old cuts")+" with shoots of "+metres(limit.Value)+" or more, over "+kindsText(b.c.Over), limit.Source)
	}
}

// keepShoots chooses the shoots to keep at every old cut.
func (b *builder) keepShoots(years int, share float64) {
	r := &b.p.Restoration
	var live, stay []Item
	cuts, shortens := 0, false
	for _, i := range b.old {
		cut := &b.c.Cuts[i]
		if cut.RegrowthCount.OK && cut.RegrowthCount.V <= 0 {
			b.deadStub(cut)
			continue
		}
		cuts += cutsOf(cut)
		item := of(cut, AtOldCut, KeepShoots)
		item.Text = fmt.Sprintf("%s: %s", sentence(describe(cut)), keepText(cut, r))
		keep, out, short, _ := ShootPlan(cut.RegrowthCount.V, r)
		if cut.RegrowthCount.OK && cut.RegrowthCount.V == keep {
			stay = append(stay, item)
			continue
		}
		shortens = shortens || short > 0 || !cut.RegrowthCount.OK
		item.Cut = inventory.CutRemoval
		if cut.RegrowthCount.OK && out == 0 {
			item.Cut, item.LateralShare = inventory.CutReduction, b.p.Pruning.LateralShare.Value
		}
		if cut.RegrowthDiameter.OK {
			item.SizeTo = min(positive(cut.RegrowthDiameter.V), b.p.Pruning.WoundMost.Value)
			item.Text += " Shoots are up to " + cm(cut.RegrowthDiameter.V) + " at the base."
		}
		live = append(live, item)
	}
	if cuts > 0 {
		b.fire(KeepShoots, fmt.Sprintf("%s, %s to %s shoots each, about %s apart", count(cuts, "old cut", "old cuts"), figure(r.ShootsKeptLeast.Value), figure(r.ShootsKeptMost.Value), metres(r.ShootSpacing.Value)), r.ShootsKeptMost.Source)
	}
	if len(live) == 0 {
		// All may stay: said at the first visit, no visit is made for it.
		for _, item := range stay {
			b.put(0, item)
		}
		return
	}
	if shortens {
		live = append(live, b.shorten(KeepShoots, fmt.Sprintf("Of the shoots that are not kept, shorten those marked to a side shoot of %s or more; leave the rest for the next visit.", b.lateral())))
	}
	at := b.live(years, practice.Restoration, share, append(live, stay...)...)
	b.s.Visits[at].Goal = "Choose the shoots that are to become branches again, and thin out the others by thirds, as far as the dose allows."
}

// keepText says which shoots stay at one cut, in figures where they were counted.
func keepText(cut *inventory.Cut, r *practice.RestorationRules) string {
	each := ""
	if cutsOf(cut) > 1 {
		each = "at each "
	}
	counted := cut.RegrowthCount
	rule := fmt.Sprintf("%skeep %s to %s strong shoots, well placed and about %s apart where they can be", each, figure(r.ShootsKeptLeast.Value), figure(r.ShootsKeptMost.Value), metres(r.ShootSpacing.Value))
	if !counted.OK {
		return fmt.Sprintf("the number of shoots is %s; %s; of the others take out %s at the base, shorten %s, leave the rest.", notRecorded, rule, about(r.ShootsRemoved.Value), about(r.ShootsShortened.Value))
	}
	keep, out, short, left := ShootPlan(counted.V, r)
	if out+short+left == 0 {
		if keep == 1 {
			return each + "keep the one shoot; it is to lead."
		}
		return fmt.Sprintf("%skeep all %d shoots for now; the best one is to lead.", each, keep)
	}
	say := []string{fmt.Sprintf("of %d keep %d", counted.V, keep)}
	if out > 0 {
		say = append(say, fmt.Sprintf("take out %d at the base", out))
	}
	if short > 0 {
		say = append(say, fmt.Sprintf("shorten %d", short))
	}
	if left > 0 {
		say = append(say, fmt.Sprintf("leave %d", left))
	}
	return rule + ": " + strings.Join(say, ", ") + "."
}

// ShootPlan divides the shoots counted at one old cut: how many are kept for
// good, and of the others how many are taken out, shortened and left for later.
func ShootPlan(counted int, r *practice.RestorationRules) (keep, out, short, left int) {
	keep = min(max(counted, 0), int(r.ShootsKeptMost.Value))
	others := max(counted, 0) - keep
	out = int(math.Round(float64(others) * r.ShootsRemoved.Value))
	short = min(int(math.Round(float64(others)*r.ShootsShortened.Value)), others-out)
	// A single one too many is shortened: rounding must not leave it all as it is.
	if others > 0 && out+short == 0 && r.ShootsRemoved.Value+r.ShootsShortened.Value > 0 {
		short = 1
	}
	return keep, out, short, others - out - short
}

func (b *builder) subordinate(years int, share float64) {
	if !b.competing() {
		return
	}
	at := b.live(years, practice.Restoration, share, b.shorten(Subordinate,
		fmt.Sprintf("At each old cut shorten the shoots that compete with those kept, to a side shoot of %s or more; shorten the end of a kept one too where it is slender.", b.lateral())))
	b.s.Visits[at].Goal = "Let the chosen shoots lead; hold back the ones that compete, as far as the dose allows."
	b.fire(Subordinate, count(b.s.Visits[at].AfterYears, "year", "years")+" after the first visit", "")
}

func (b *builder) oneLeader(years int, share float64) {
	stub := "what is dead of the stub back to the new collar, not into it; ask before a cut wider than " + cm(b.p.Pruning.WoundMost.Value) + "."
	if b.competing() {
		at := b.live(years, practice.Restoration, share, Item{Cut: inventory.CutRemoval, Place: AtOldCut, Rule: OneLeader, Text: "At each old cut leave one leader: take the last competing shoots out at the base, and " + stub})
		b.s.Visits[at].Goal = "One leader on each old cut, as far as the dose allows, and the stubs gone to the new collar."
		b.fire(OneLeader, count(b.s.Visits[at].AfterYears, "year", "years")+" after the first visit", "")
		return
	}
	if b.leading() {
		// One shoot leads already: the stub is all that is left to do.
		at := b.visitAt(max(years, b.s.WaitYears))
		b.put(at, Item{Cut: inventory.CutRemoval, Place: AtOldCut, Rule: LeftStub, Text: "At each old cut one shoot leads: take " + stub})
		if at > 0 {
			b.s.Visits[at].Goal = "The stubs gone to the new collar; nothing live."
		}
		b.fire(LeftStub, count(b.s.Visits[at].AfterYears, "year", "years")+" after the first visit, where one shoot leads", "")
	}
}

// competing reports whether any old cut carries more than one shoot, or may for
// all that is recorded; leading whether any carries one.
func (b *builder) competing() bool {
	return slices.ContainsFunc(b.old, func(i int) bool { n := b.c.Cuts[i].RegrowthCount; return !n.OK || n.V > 1 })
}

func (b *builder) leading() bool {
	return slices.ContainsFunc(b.old, func(i int) bool { n := b.c.Cuts[i].RegrowthCount; return n.OK && n.V == 1 })
}

func (b *builder) shorten(rule Rule, text string) Item {
	return Item{Cut: inventory.CutReduction, Place: WholeCrown, LateralShare: b.p.Pruning.LateralShare.Value, Rule: rule, Text: text}
}

// lateral says the least lateral in words.
func (b *builder) lateral() string { return shareWords(b.p.Pruning.LateralShare.Value) }

func about(share float64) string { return "about " + shareWords(share) }
