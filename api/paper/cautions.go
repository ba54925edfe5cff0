package paper

import "github.com/underbough/underbough/inventory/question"

// Cautions stand on every sheet, in this order. The distance from electric lines
// is that for workers who are not qualified (29 CFR 1910.333 and 1910.269: 10 ft,
// 3.05 m, to 50 kV, and 4 in for each 10 kV above); how near a qualified crew may
// go is not for a sheet to say.
var Cautions = []string{
	question.Cautions,
	"Electric lines: everybody who is not qualified for line clearance stays 10 ft (3.05 m) away from lines up to 50 kV, and 4 in (0.1 m) farther for each 10 kV above that. Tools, ropes and lifts count. Nearer, and where the voltage is not known, only line-clearance crews work, and the line's owner is told before.",
	"No topping, and no heading of limbs, whatever else is asked for on the day: cuts go to the branch collar or to a lateral that can take over, as large as the instruction says.",
	"Look for nests and roosts on the day, before the first cut; stop and ask where there are any.",
	"Permits and the local tree ordinance are checked before work begins; the number of the permit, or that none is needed, is written down.",
	"The qualified arborist at the tree decides. Where the tree differs from the record, or a cut asked for would break the pruning standard or the safety rules of the trade, the arborist does what is right and writes down what and why.",
	"Decay inside, roots and what leaves hid were not seen. Sizes marked as estimated come from equations; likelihoods marked as inferred come from rules, not from somebody who looked.",
}

// noPromise stands wherever a figure says what work takes off.
const noPromise = "How much harm a visit takes off is the client's own assumption. It decides what comes first and promises nothing: over eight years in Rochester, New York, pruned trees brought fewer requests and less priority work, but branches failed as often as on trees that were not pruned (Luley et al. 2002)."
