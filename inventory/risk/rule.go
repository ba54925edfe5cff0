package risk

import (
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
)

// Judgement is how likely one part is to fail, and who or what says so.
type Judgement struct {
	Likelihood inventory.Likelihood
	Part       exposure.Part
	Inferred   bool // by a screening rule, not by a person
	Stale      bool // the visit it rests on is older than the profile's limit
	Rule       Rule
}

// Rule names a screening rule, or the visit that made one unnecessary. Its
// number is stored: it is never changed, and the number of a rule that is given
// up is never used for another.
type Rule uint8

// The screening rules.
const (
	Judged       Rule = 0 // a person judged this part
	NothingKnown Rule = 1 // a living tree without a record against the part
	DeadTree     Rule = 2 // a dead tree loses parts until it falls

	FreshCut     Rule = 3  // a bad cut too young to carry long shoots
	Regrown      Rule = 6  // shoots grown back over an old topping or heading cut
	RegrownHeavy Rule = 7  // the same with a second sign, and heavy or over decay
	StoutShoots  Rule = 10 // shoots whose base is thick for the stub they stand on
	SmallLateral Rule = 12 // cut to a lateral too small to take over

	BareLimb     Rule = 8  // a limb stripped of its inner laterals
	LongBareLimb Rule = 9  // the same, and long or decayed
	PartlyBare   Rule = 13 // stripped, and for less of its length than the limit

	WideWound     Rule = 4  // a wide wound, or decay seen at it
	SmallWound    Rule = 5  // a small wound
	OpenWound     Rule = 11 // a wound that years have not closed
	CautionWound  Rule = 14 // a wound to watch, by its size or by what carries it
	WideForParent Rule = 15 // both at once

	StrengthLoss    Rule = 16 // a cavity over the limit of a strength-loss formula
	StrengthCaution Rule = 17 // a cavity that calls for caution by one
	SoundCavity     Rule = 18 // a cavity within all limits
	Leaning         Rule = 19 // a stem that leans
)

var ruleWords = [...]string{
	Judged: "judged", NothingKnown: "nothing known", DeadTree: "dead tree",
	FreshCut: "fresh cut", Regrown: "regrowth on an old cut", RegrownHeavy: "heavy regrowth or decay on an old cut",
	StoutShoots: "shoots stout for their stub", SmallLateral: "cut to a lateral too small to take over",
	BareLimb: "bare limb", LongBareLimb: "long bare limb", PartlyBare: "partly bare limb",
	WideWound: "wide or decayed wound", SmallWound: "small wound", OpenWound: "wound still open",
	CautionWound: "wound to watch", WideForParent: "wound wide for what carries it",
	StrengthLoss: "strength loss at a cavity", StrengthCaution: "cavity that calls for caution", SoundCavity: "cavity within the limits",
	Leaning: "leaning stem",
}

// Rules lists every rule in the order of its number.
func Rules() []Rule {
	rules := make([]Rule, len(ruleWords))
	for i := range rules {
		rules[i] = Rule(i)
	}
	return rules
}

func (r Rule) String() string { return ruleWords[r] }
