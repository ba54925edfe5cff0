package pruning

import (
	"fmt"
	"math"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// restore asks for the visits of a restoration on the topped and headed cuts.
func (b *builder) restore() {
	b.work(practice.Restoration)
	topped, small := 0, 0
	for _, i := range b.old {
		switch b.c.Cuts[i].Kind {
		case inventory.CutTopping:
			topped++
		case inventory.CutReduction:
			small++
		}
	}
	b.fire(ToppedTree, fmt.Sprintf("records of %d topping and %d heading cuts, and of %d cuts to laterals under %s", topped, len(b.old)-topped-small, small, shareWords(b.p.Pruning.LateralShare.Value)), "")
	b.longShoots()
	visits := b.p.Restoration.Visits
	for n := range visits {
		share := visits[n].Dose.Value
		years := int(visits[n].AfterYears.Value)
		if n > 0 {
			years += b.s.WaitYears
		}
		switch {
		case n == 0 && len(visits) > 1:
			b.s.Visits[0].Goal = "Make it safe and record every old cut; let the shoots rebuild the tree's reserves."
		case n == 1 || len(visits) == 1:
			b.keepShoots(years, share)
		case n == len(visits)-1:
			b.oneLeader(years, share)
		default:
			b.subordinate(years, share)
		}
	}
	b.s.Stop = "Restored when each old cut carries one leader, its stub is gone to the new collar, and the crown keeps its form for a cycle without new clusters of shoots. From then on the natural cycle of " +
		count(int(cycleOf(b.s.Maturity, b.s.Stressed, &b.p.Cycle).Value), "year", "years") + " holds. Where the tree stays poor or decay spreads at the old cuts, stop and ask for a second opinion."
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
	if long := len(b.shortened); long > 0 {
		b.fire(LongShoots, count(long, "old cut", "old cuts")+" with shoots of "+metres(limit.Value)+" or more, over "+kindsText(b.c.Over), limit.Source)
	}
}

// keepShoots chooses the shoots to keep at every old cut.
func (b *builder) keepShoots(years int, share float64) {
	r := &b.p.Restoration
	var items []Item
	for _, i := range b.old {
		cut := &b.c.Cuts[i]
		if cut.RegrowthCount.OK && cut.RegrowthCount.V <= 0 {
			b.deadStub(cut)
			continue
		}
		item := of(cut, AtOldCut, KeepShoots)
		item.Cut = inventory.CutRemoval
		item.Text = fmt.Sprintf("%s: %s", sentence(describe(cut)), keepText(cut.RegrowthCount, r))
		if cut.RegrowthDiameter.OK {
			item.SizeTo = min(positive(cut.RegrowthDiameter.V), b.p.Pruning.WoundMost.Value)
			item.Text += " Shoots are up to " + cm(cut.RegrowthDiameter.V) + " at the base."
		}
		items = append(items, item)
	}
	if len(items) == 0 {
		return
	}
	items = append(items, b.shorten(KeepShoots, fmt.Sprintf("At each old cut, of the shoots that are not kept, shorten those marked to a side shoot of %s or more; leave the rest for the next visit.", b.lateral())))
	at := b.live(years, practice.Restoration, share, items...)
	b.s.Visits[at].Goal = "Choose the shoots that are to become branches again, and thin out the others by thirds."
	b.fire(KeepShoots, fmt.Sprintf("%s, %s to %s shoots each, about %s apart", count(len(items)-1, "old cut", "old cuts"), figure(r.ShootsKeptLeast.Value), figure(r.ShootsKeptMost.Value), metres(r.ShootSpacing.Value)), r.ShootsKeptMost.Source)
}

// keepText says which shoots stay at one cut, in figures where they were
// counted.
func keepText(counted inventory.Opt[int], r *practice.RestorationRules) string {
	rule := fmt.Sprintf("keep %s to %s strong shoots, well placed and about %s apart where they can be", figure(r.ShootsKeptLeast.Value), figure(r.ShootsKeptMost.Value), metres(r.ShootSpacing.Value))
	if !counted.OK {
		return fmt.Sprintf("the number of shoots is %s; %s; of the others take out %s at the base, shorten %s, leave the rest.", notRecorded, rule, about(r.ShootsRemoved.Value), about(r.ShootsShortened.Value))
	}
	keep, out, short, left := ShootPlan(counted.V, r)
	if out+short+left == 0 {
		return fmt.Sprintf("%s; all %d may stay, the best one is to lead.", rule, keep)
	}
	return fmt.Sprintf("%s: of %d keep %d, take out %d at the base, shorten %d, leave %d.", rule, counted.V, keep, out, short, left)
}

// ShootPlan divides the shoots counted at one old cut: how many are kept for
// good, and of the others how many are taken out, shortened and left for later.
func ShootPlan(counted int, r *practice.RestorationRules) (keep, out, short, left int) {
	keep = min(max(counted, 0), int(r.ShootsKeptMost.Value))
	others := max(counted, 0) - keep
	out = int(math.Round(float64(others) * r.ShootsRemoved.Value))
	short = min(int(math.Round(float64(others)*r.ShootsShortened.Value)), others-out)
	return keep, out, short, others - out - short
}

func (b *builder) subordinate(years int, share float64) {
	if !b.sprouting() {
		return
	}
	at := b.live(years, practice.Restoration, share, b.shorten(Subordinate,
		fmt.Sprintf("At each old cut shorten the shoots that compete with those kept, to a side shoot of %s or more; shorten the end of a kept one too where it is slender.", b.lateral())))
	b.s.Visits[at].Goal = "Let the chosen shoots lead; hold back the ones that compete."
	b.fire(Subordinate, "visit "+fmt.Sprint(at+1)+", "+count(years, "year", "years")+" after the first", "")
}

func (b *builder) oneLeader(years int, share float64) {
	if !b.sprouting() {
		return
	}
	item := Item{Cut: inventory.CutRemoval, Place: AtOldCut, Rule: OneLeader, Text: "At each old cut leave one leader: take the last competing shoots out at the base, and what is dead of the stub back to the new collar, not into it; ask before a cut wider than " + cm(b.p.Pruning.WoundMost.Value) + "."}
	at := b.live(years, practice.Restoration, share, item)
	b.s.Visits[at].Goal = "One leader on each old cut, the stubs gone to the new collar."
	b.fire(OneLeader, "visit "+fmt.Sprint(at+1)+", "+count(years, "year", "years")+" after the first", "")
}

// sprouting reports whether any old cut carries shoots, or may for all that is
// recorded.
func (b *builder) sprouting() bool {
	for _, i := range b.old {
		if n := b.c.Cuts[i].RegrowthCount; !n.OK || n.V > 0 {
			return true
		}
	}
	return false
}

func (b *builder) shorten(rule Rule, text string) Item {
	return Item{Cut: inventory.CutReduction, Place: WholeCrown, LateralShare: b.p.Pruning.LateralShare.Value, Rule: rule, Text: text}
}

// lateral says the least lateral in words.
func (b *builder) lateral() string { return shareWords(b.p.Pruning.LateralShare.Value) }

func about(share float64) string { return "about " + shareWords(share) }
