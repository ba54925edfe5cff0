package pruning

// Rule names a rule of specification. The name is stored: it is never changed,
// nor used for another rule.
type Rule string

// The rules of what work a tree gets.
const (
	NoTree       Rule = "no tree"
	ToppedTree   Rule = "topped or headed"
	KeepShoots   Rule = "keep shoots"
	LongShoots   Rule = "long shoots over places"
	Subordinate  Rule = "subordinate"
	OneLeader    Rule = "one leader a cut"
	DeadStub     Rule = "dead stub"
	LeftStub     Rule = "stub to the collar"
	FlushWound   Rule = "flush cut watched"
	BareLimb     Rule = "lion-tailed limb"
	InnerShoots  Rule = "inner shoots"
	OverExtended Rule = "over-extended limb"
	LongSide     Rule = "crown long to one side"
	YoungTree    Rule = "young tree"
	DeadWood     Rule = "dead wood"
	Crossing     Rule = "crossing branches"
	LookBetween  Rule = "look in between"
	HungParts    Rule = "hung parts"
	PalmFronds   Rule = "palm fronds"
	UnusualStem  Rule = "unusually large stem"
	ByHand       Rule = "by hand"
)

// The rules of how much and when.
const (
	ByMaturity   Rule = "dose by maturity"
	Stressed     Rule = "dose of a stressed tree"
	ToppedLately Rule = "topped lately"
	DoseCap      Rule = "dose cap"
	DoseNever    Rule = "dose that is no pruning"
	DoseTotal    Rule = "dose total"
	OverDose     Rule = "taken more than allowed"
	VisitOrder   Rule = "order of visits"
	Between      Rule = "years between visits"
	NaturalCycle Rule = "natural cycle"
	LookAgain    Rule = "look again"
)

// The rules of how a cut is made.
const (
	LateralLeast  Rule = "least lateral"
	WoundMost     Rule = "widest wound"
	NoTopping     Rule = "no topping"
	NoHeading     Rule = "no heading"
	NoLionTailing Rule = "no lion-tailing"
	NoFlush       Rule = "no flush cut"
	NoStub        Rule = "no stub"
)

// The rules of what a record of work done must say.
const (
	Felled          Rule = "felled, not specified"
	NothingRecorded Rule = "nothing recorded"
	SwappedLateral  Rule = "lateral thicker than the cut"
	WiderThanStem   Rule = "wider than the stem"
)

// The rules of when somebody qualified looks first.
const (
	OpinionFirst Rule = "opinion first"
	DeadTree     Rule = "dead tree"
	StrengthLoss Rule = "strength loss"
	DecayedCuts  Rule = "decayed cuts"
	HeavyShoots  Rule = "heavy shoots over constant use"
	Imminent     Rule = "imminent"
	DyingTree    Rule = "dying tree"
	DecayedWound Rule = "wide decayed wound"
	KindUnruled  Rule = "no rule for this kind"
)

// Words is a rule in words and where it comes from. Where a figure of the
// practice is part of it, that figure's own source goes with the rule that fired.
type Words struct {
	Rule   Rule   `json:"rule"`
	Words  string `json:"words"`
	Source string `json:"source"`
}

const (
	common = "common practice, no source"
	ifas   = "UF/IFAS"
)

var rules = []Words{
	{NoTree, "Where no tree stands there is nothing to prune.", common},
	{ToppedTree, "A topped or headed tree is restored over several visits. A cut to a lateral too small to take over is a heading cut, whatever it was called.", ifas + ", restoring topped trees"},
	{KeepShoots, "At each old cut one to three shoots are kept, spaced; of the others about a third is taken out, a third shortened, a third left.", ifas + "; shoots kept from a practitioner's restoration text"},
	{LongShoots, "Long shoots that stand over places are shortened at the first visit.", common},
	{Subordinate, "Shoots that compete with those kept are shortened, and slender ends too.", ifas + "; the years are common practice, no source"},
	{OneLeader, "At the last visit one leader stays on each old cut, and what is left of its stub goes to the new collar.", ifas + "; the years are common practice, no source"},
	{DeadStub, "An old cut without shoots is a dead stub: it goes back to the collar or to a living lateral.", "UC IPM: cut at the collar, leave no stub"},
	{LeftStub, "A stub goes back to the collar.", "UC IPM: cut at the collar, leave no stub"},
	{FlushWound, "A flush cut cannot be mended: it is recorded and watched. A wound that has closed is no proof of soundness.", ifas + ", pruning cuts"},
	{BareLimb, "On a lion-tailed limb the shoots inside are left and the end is made lighter by reduction to laterals.", "a practitioner's restoration text; per mass removed reduction lowered bending more than thinning or raising (Pavlis et al. 2008)"},
	{InnerShoots, "Shoots inside a lion-tailed limb are left to grow for some years and then shortened evenly along the limb.", "a practitioner's restoration text"},
	{OverExtended, "A limb that reaches far beyond the crown is reduced to a lateral of a third to a half.", ifas + ", reduction cuts; the limit of reach is an assumption"},
	{LongSide, "A crown that was surveyed or measured to its four sides and is far longer to one side is reduced on that side.", "assumption"},
	{YoungTree, "A young tree is trained: small doses, one leader, temporary branches kept small, the inside not thinned.", "training of young trees (Orono MN plan; Ryder and Moore 2013)"},
	{DeadWood, "Dead, broken and hung parts come off on every tree that is worked in.", common},
	{Crossing, "On a clean tree crossing branches are cleaned out at its natural cycle.", common},
	{LookBetween, "While nothing live may be taken, somebody looks in between.", "assumption"},
	{HungParts, "Hung and dead parts over places may come off before the second opinion; nothing live goes with them.", common},
	{PalmFronds, "Of a palm only dead and hung fronds come off, and no live one that stands level or above.", common},
	{UnusualStem, "A stem that is unusually large is checked in the record before anything rests on it.", "assumption"},
	{ByHand, "A person added the instruction.", "the person who changed the specification"},
	{ByMaturity, "The most that is taken of the live crown in a season goes by maturity; unknown counts as mature.", "published restatements of the pruning standard; " + ifas},
	{Stressed, "A stressed tree gives up next to nothing: dead and hazardous parts come first.", common},
	{ToppedLately, "Nothing live is taken from a tree topped in the last seasons; later visits move.", ifas + ": let the shoots of a topped tree grow for several years"},
	{DoseCap, "No visit takes more of the live crown than the cap.", "published restatements of the pruning standard"},
	{DoseNever, "From half of the live crown on it is no pruning, whatever the reason.", "leaflets against topping: it takes 50 to 100 % of the crown; the limit is an assumption"},
	{OverDose, "Where a visit took more than was allowed, the visits to come take less, and the next live one waits.", ifas + ": let the shoots grow one to three growing seasons; the sum is an assumption"},
	{DoseTotal, "All visits together stay within the total.", "assumption"},
	{VisitOrder, "Visits are numbered from 1 and come one after the other, the first at once.", "none: how it is written down"},
	{Between, "Growing seasons lie between visits that take live crown.", ifas + ": one to three growing seasons"},
	{NaturalCycle, "The next look comes at the cycle of the tree's maturity and vigour.", "Milwaukee street trees: about 5 years best; Orono MN plan for young trees"},
	{LookAgain, "A tree with old bad cuts is looked at again soon after the work.", "assumption"},
	{LateralLeast, "A reduction is made to a lateral of at least a third of what is removed; half is better.", ifas + ", reduction cuts"},
	{WoundMost, "No cut is wider than the widest wound without a reason.", ifas + ": cuts over about 6 in become decay entry points"},
	{NoTopping, "Topping is never specified.", "published restatements of the pruning standard; illegal in some places"},
	{NoHeading, "Heading cuts are never specified.", ifas + ", reduction cuts"},
	{NoLionTailing, "The inside of a limb is not stripped.", "published summary of the pruning standard"},
	{NoFlush, "No cut goes into or behind the collar.", "UC IPM"},
	{NoStub, "No stub is left.", "UC IPM"},
	{Felled, "A tree is not taken down under a specification to prune it.", common},
	{NothingRecorded, "Work that is done is recorded: cuts, dose, or why nothing was cut.", common},
	{SwappedLateral, "A lateral thicker than what was cut off leads already: the cut was the removal of a branch, or the measures are swapped.", "the lateral rule of " + ifas + ", reduction cuts"},
	{WiderThanStem, "No cut is wider than the stem.", "none: geometry"},
	{OpinionFirst, "Where a second opinion is asked for, nothing live is cut before it.", common},
	{DeadTree, "A dead tree is not pruned: somebody qualified decides on its removal.", common},
	{StrengthLoss, "With much of the stem's strength lost, restoring may not be the honest answer.", "Wagener 1963; " + common + ", for giving up restoration"},
	{DecayedCuts, "With many of the old cuts decayed, restoring may not be the honest answer.", "assumption"},
	{HeavyShoots, "With very long shoots over a place in constant or regular use, restoring may not be the honest answer.", "assumption"},
	{DyingTree, "A tree that declines or dies is looked at before it is pruned.", common},
	{DecayedWound, "With a wide decayed wound, pruning may not be the honest answer.", "assumption"},
	{KindUnruled, "Topped conifers and palms do not grow a crown again from shoots as broadleaves do: somebody qualified says what to do.", common},
	{Imminent, "Where a person judged a failure imminent, a person decides first.", common},
}

// Rules lists every rule with its words and source.
func Rules() []Words { return append([]Words(nil), rules...) }

// sourceOf is the source of a rule where no figure carries its own.
func sourceOf(r Rule) string {
	for i := range rules {
		if rules[i].Rule == r {
			return rules[i].Source
		}
	}
	return ""
}
