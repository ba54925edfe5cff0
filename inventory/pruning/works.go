package pruning

import (
	"fmt"
	"math"
	"slices"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// deadStub takes an old cut without shoots back to living wood.
func (b *builder) deadStub(cut *inventory.Cut) {
	b.toCollar(cut, DeadStub, fmt.Sprintf("%s, without shoots: take the dead wood back to the collar, or to a living lateral of %s or more; not into living wood.", sentence(describe(cut)), b.lateral()))
	b.fire(DeadStub, describe(cut)+": no shoots counted", "")
}

// stub takes a stub back to its collar.
func (b *builder) stub(i int) {
	cut := &b.c.Cuts[i]
	length := "length " + notRecorded
	if cut.StubLength.OK {
		length = cm(cut.StubLength.V) + " long"
	}
	b.work(practice.Cleaning)
	b.toCollar(cut, LeftStub, fmt.Sprintf("%s, %s: cut it back to just outside the collar, not into it; where new wood has grown around its foot, cut to that.", sentence(describe(cut)), length))
	b.fire(LeftStub, describe(cut)+", "+length, "")
}

// toCollar asks for dead wood to be taken back to the collar. Where the wound
// would be wider than the widest, somebody decides first.
func (b *builder) toCollar(cut *inventory.Cut, rule Rule, text string) {
	item := of(cut, AtOldCut, rule)
	most := b.p.Pruning.WoundMost.Value
	if cut.Diameter.OK && cut.Diameter.V > most {
		item.Text = fmt.Sprintf("%s: the wound at the collar would be %s or wider, over %s. Leave it and ask whoever answers for the work.", sentence(describe(cut)), cm(cut.Diameter.V), cm(most))
		b.put(0, item)
		return
	}
	item.Cut, item.SizeTo, item.Text = inventory.CutRemoval, positive(cut.Diameter.V), text
	b.put(0, item)
}

// flush has a flush cut watched.
func (b *builder) flush(i int) {
	cut := &b.c.Cuts[i]
	b.work(practice.Cleaning)
	closed, decay := "closure "+notRecorded, "decay "+notRecorded
	if cut.Closure.OK {
		closed = percentOf(cut.Closure.V) + " closed"
	}
	if cut.Decay.OK {
		decay = map[bool]string{true: "decay seen", false: "no decay seen"}[cut.Decay.V]
	}
	item := of(cut, AtOldCut, FlushWound)
	item.Text = fmt.Sprintf("%s, %s, %s: do not cut here. Record closure and decay; keep the record when it has closed.", sentence(describe(cut)), closed, decay)
	b.put(0, item)
	b.fire(FlushWound, describe(cut)+", "+closed+", "+decay, "")
}

// rebalance makes the end of a lion-tailed limb lighter and lets the inside grow.
func (b *builder) rebalance(i int) {
	b.work(practice.Rebalancing)
	cut, p := &b.c.Cuts[i], b.p
	bare := "bare share " + notRecorded
	if cut.BareShare.OK {
		bare = percentOf(cut.BareShare.V) + " of its length bare"
	}
	leave := of(cut, LimbInside, BareLimb)
	leave.Text = sentence(describe(cut)) + ", " + bare + ": leave every shoot inside it; they are the branches to come."
	b.put(0, leave)
	end := of(cut, LimbEnd, BareLimb)
	end.Cut, end.LateralShare = inventory.CutReduction, p.Pruning.LateralShare.Value
	end.Text = fmt.Sprintf("On the same limb make the end lighter: reduce to laterals of %s, about %s off its length at the most; no more from inside.", lateralRange(p.Pruning.LateralShare.Value, p.Pruning.LateralSharePreferred.Value), percentOf(p.Pruning.ReduceLengthShare.Value))
	first := b.live(0, practice.Rebalancing, p.Pruning.WorkDose.Rebalancing.Value, end)
	later := of(cut, LimbInside, InnerShoots)
	later.Cut, later.LateralShare = inventory.CutReduction, p.Pruning.LateralShare.Value
	later.Text = fmt.Sprintf("Where shoots inside have grown, shorten them evenly along the limb to side shoots of %s or more; strip none of it.", b.lateral())
	grown := max(int(p.Restoration.InnerGrowthYears.Value), int(p.Restoration.Between.Value))
	at := b.live(b.s.Visits[first].AfterYears+grown, practice.Rebalancing, p.Pruning.WorkDose.Rebalancing.Value, later)
	b.fire(BareLimb, describe(cut)+", "+bare, "")
	b.fire(InnerShoots, "left to grow, shortened "+count(b.s.Visits[at].AfterYears, "year", "years")+" after the first visit", p.Restoration.InnerGrowthYears.Source)
}

// rays is how many bearings a surveyed crown is measured on: every 5 degrees.
const rays = 72

// reduceLong reduces what reaches far beyond the crown: a limb with an old cut,
// or a side of a surveyed crown.
func (b *builder) reduceLong() {
	limit, radius := b.p.Pruning.OverExtendedShare, b.c.CrownRadius
	var bearings []float64
	for i := range b.c.Cuts {
		cut := &b.c.Cuts[i]
		if !cut.Reach.OK || !(radius > 0) || cut.Kind == inventory.CutFlush || cut.Kind == inventory.CutStub || cut.Kind == inventory.CutRemoval {
			continue
		}
		length, estimated := b.c.shoots(i)
		reach := positive(cut.Reach.V) + length
		if reach <= limit.Value*radius {
			continue
		}
		with := ""
		if length > 0 {
			with = "with its shoots of " + metres(length) + estimatedText(estimated) + " "
		}
		why := fmt.Sprintf("%s: %sit reaches %s, over %s times the crown's radius of %s%s", describe(cut), with, metres(reach), figure(limit.Value), metres(radius), estimatedText(b.c.CrownEstimated))
		b.fire(OverExtended, why, limit.Source)
		b.reduceAtCut(i, why)
		if cut.Bearing.OK {
			bearings = append(bearings, cut.Bearing.V)
		}
	}
	b.reduceSide(limit, bearings)
}

// reduceAtCut asks for the reduction of a limb by its old cut. The end of a
// lion-tailed limb is reduced already, and so are long shoots over a place.
func (b *builder) reduceAtCut(i int, why string) {
	cut := &b.c.Cuts[i]
	item := of(cut, LimbEnd, OverExtended)
	switch {
	case cut.Kind == inventory.CutLionTailing || slices.Contains(b.shortened, i):
		b.work(practice.Reduction)
	case headed(cut, b.p):
		b.reduceLimb(item, fmt.Sprintf("%s. Shorten the shoots that reach beyond the crown to side shoots of %s or more; the old cut itself stays as it is for now.", sentence(why), b.lateral()))
	default:
		b.reduceLimb(item, sentence(why)+". "+b.reduceText())
	}
}

// reduceText is the instruction for a limb that is too long.
func (b *builder) reduceText() string {
	p := &b.p.Pruning
	return fmt.Sprintf("Reduce the limb to a lateral of %s, about %s off its length.", lateralRange(p.LateralShare.Value, p.LateralSharePreferred.Value), percentOf(p.ReduceLengthShare.Value))
}

// reduceSide does it for a crown surveyed or measured to its four sides, where no
// limb on that side is named.
func (b *builder) reduceSide(limit practice.Number, done []float64) {
	radii, how, ok := measured(b.c.Tree)
	if !ok {
		return
	}
	a, err := Balance(radii)
	if err != nil || a.Longest.Metres <= limit.Value*a.MeanM {
		return
	}
	for _, d := range done {
		if math.Abs(math.Remainder(d-a.Longest.BearingDeg, 360)) <= sideDegrees {
			return
		}
	}
	why := fmt.Sprintf("the %s reaches %s at bearing %.0f°, over %s times its mean radius of %s", how, metres(a.Longest.Metres), a.Longest.BearingDeg, figure(limit.Value), metres(a.MeanM))
	b.reduceLimb(Item{Place: LimbEnd, Bearing: inventory.Some(a.Longest.BearingDeg), Reach: inventory.Some(a.Longest.Metres), Rule: LongSide}, sentence(why)+". "+b.reduceText())
	b.fire(LongSide, why, limit.Source)
}

// sideDegrees is how far apart two bearings are one side of a tree.
const sideDegrees = 30

func (b *builder) reduceLimb(item Item, text string) {
	b.work(practice.Reduction)
	p := &b.p.Pruning
	item.Cut, item.LateralShare, item.Text = inventory.CutReduction, p.LateralShare.Value, text
	b.live(0, practice.Reduction, p.WorkDose.Reduction.Value, item)
}

// train is the training of a young tree. A stressed one is left its live leaders.
func (b *builder) train() {
	p := &b.p.Pruning
	if b.s.Stressed {
		b.put(0, Item{Place: UpperCrown, Rule: YoungTree, Text: "The tree is stressed: leave its leaders and live branches as they are for now; train it when it grows well again."})
		b.fire(YoungTree, string(b.s.Maturity)+" tree, stressed: not trained until it grows well", "")
		return
	}
	b.work(practice.Structural)
	leader := Item{Cut: inventory.CutReduction, Place: UpperCrown, LateralShare: p.LateralShare.Value, Rule: YoungTree, Text: fmt.Sprintf("Keep one leader: shorten the stems that compete with it, to a lateral of %s or more.", b.lateral())}
	temporary := Item{Place: LimbInside, Rule: YoungTree, Text: "Keep the small branches low on the trunk for now: they thicken it. Shorten only those that grow stout. Do not thin the inside."}
	b.live(0, practice.Structural, p.WorkDose.Structural.Value, leader, temporary)
	b.fire(YoungTree, string(b.s.Maturity)+" tree, a small dose: "+percentOf(min(p.WorkDose.Structural.Value, b.s.DoseCap)), p.WorkDose.Structural.Source)
}

// clean takes dead parts out of every tree, and crossing ones out of a tree that
// grows well and on which nothing else is to be done.
func (b *builder) clean() {
	p := &b.p.Pruning
	b.put(0, Item{Cut: inventory.CutRemoval, Place: WholeCrown, SizeFrom: p.DeadWood.Value, SizeTo: p.WoundMost.Value, Rule: DeadWood,
		Text: fmt.Sprintf("Take out dead, broken and hung parts from %s across up, back to the collar or to living wood; ask before a cut wider than %s.", cm(p.DeadWood.Value), cm(p.WoundMost.Value))})
	b.fire(DeadWood, "from "+cm(p.DeadWood.Value)+" across", p.DeadWood.Source)
	if (b.s.Work == "" || b.s.Work == practice.Cleaning) && !b.s.Stressed {
		b.live(0, practice.Cleaning, p.WorkDose.Cleaning.Value, Item{Cut: inventory.CutRemoval, Place: WholeCrown, SizeTo: p.WoundCaution.Value, Rule: Crossing,
			Text: "Of branches that cross and rub take out the weaker one, up to " + cm(p.WoundCaution.Value) + " across; nothing else live."})
		b.fire(Crossing, "nothing heavier is asked for", p.WorkDose.Cleaning.Source)
	}
	b.work(practice.Cleaning)
}

// fronds cleans a palm.
func (b *builder) fronds() {
	b.work(practice.Cleaning)
	b.s.DoseCap = 0
	b.put(0, Item{Cut: inventory.CutRemoval, Place: WholeCrown, Rule: PalmFronds, Text: "Take dead, broken and hung fronds and fruit stalks off, close to the trunk and without cutting into it. Leave every live frond, those that stand level or above most of all."})
	b.fire(PalmFronds, "a palm: nothing live is taken", "")
	for _, i := range b.old {
		item := of(&b.c.Cuts[i], AtOldCut, KindUnruled)
		item.Text = sentence(describe(&b.c.Cuts[i])) + ": as whoever looked at the tree says; a palm has one bud and grows no shoots to choose."
		b.put(0, item)
	}
}

func estimatedText(estimated bool) string {
	if estimated {
		return " (estimated)"
	}
	return ""
}
