package paper

import "fmt"

// glossary says the words of a report for somebody who is no arborist.
var glossary = []fact{
	{"Appraised value", "What a tree would cost to replace by the size of its stem, marked down for its condition and place by ratings that a person gave."},
	{"Crown", "The branches and leaves of a tree; its radius is how far they reach from the stem."},
	{"Cycle", "The years from one pruning of a tree to the next."},
	{"Dose", "The share of the living crown that is cut off in one season. Too much of it starves the tree and brings weak shoots."},
	{"Gate", "Something to be settled before a job may begin: a permit, a line's owner, a look for nests, a closed road."},
	{"Harm index", "One figure to put trees in order: how likely a part is to fail, times who and what is beneath, times how much of it would be struck. It is no forecast."},
	{"Heading cut", "A cut through a branch at any point, with nothing fit to take over as its end."},
	{"Lateral", "A side branch. One that is at least a third as thick as what is cut off can take over as the new end."},
	{"Likelihood of failure", "How likely a part is to break within the time that is looked at: improbable, possible, probable or imminent. Judged by a person on a visit, or else inferred by a rule from what is recorded."},
	{"Lion-tailing", "Stripping a limb of its inner branches, so that its weight hangs at its end."},
	{"Over", "A tree is over a place where its crown or one of its limbs reaches above it."},
	{"Reduction cut", "Shortening a branch to a lateral that can take over."},
	{"Regrowth, shoots", "What grows at an old cut. It is fixed only in the outer wood and long stays weak."},
	{"Removal cut", "Taking a branch off where it begins, just outside the collar that closes the wound."},
	{"Restoration", "Bringing a topped or headed crown back over several visits and years: choosing shoots to keep, removing some, shortening others."},
	{"Stub", "Wood left beyond the collar. The wound cannot close over it, and decay goes in."},
	{"Target", "A place where people or things are that a falling part could strike."},
	{"Topping", "Cutting a whole crown down to a height. The stubs decay, and the crown comes back thicker and weaker."},
	{"Zone", "The ground that a part could reach if it fell."},
}

// method says how the figures came about and what they cannot say.
func method(b *Basis) []fact {
	return []fact{
		{"What was done", "Each tree's crown, each limb with an old cut, and the ground that the whole tree could reach were laid over the mapped places. How many people and vehicles are there hour by hour comes from counts where there are any, else from the assumptions of the exposure profile. The likelihood that a part fails is what somebody judged on a visit, else what a rule infers from the records. The harm index multiplies them."},
		{"What it is for", "To find the trees to look at and to work on first. It is a screening, and no inspection: a tree low on the list can still be dangerous, and one high on it can turn out sound."},
		{"What the order rests on", fmt.Sprintf("Records as of %s; exposure profile %s; pruning practice %s. Both can be read: every assumed number in them names its source.", day(b.AsOf), orNone(b.ProfileName, "not named"), orNone(b.PracticeName, "not named"))},
		{"What pruning does", noPromise},
		{"What nobody can promise", "No figure here says that a tree will or will not fail. Assessors with years of practice differ about the same tree; with the same measurements of decay, 18 of them gave at least 83 % of 30 trees two or more different ratings (Forests 14:1043)."},
		{"Who decides", "The owner decides what risk to accept and what to do first. A decision to put work off is worth writing down with its reason."},
	}
}
