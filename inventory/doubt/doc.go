// Package doubt says how sure an order of trees is: seeded draws over what is
// uncertain give each tree an interval of ranks and the chance of belonging to
// the first so many.
//
// A tree's harm is a sum over its parts and, in each part, over the targets in
// reach. Three things are drawn, all relative to the harm as computed:
//
//   - Occupancy, once a target and draw: exp(σ·z − σ²/2), lognormal with mean 1.
//     All trees over a target share the draw. That a walk may be twice as busy as
//     thought lifts its trees together, so it never makes two of them look
//     interchangeable. Drawn for each tree apart, the intervals would be too wide
//     among the trees of a street and too narrow between streets.
//   - Size, once a tree for its height and once for its crown: a normal number of
//     standard errors, at most MaxErrors either way, that moves all parts reached
//     by that measure together.
//   - Likelihood, once a part: the class that another assessor, or a visit made
//     today, might have found, with the profile's chance of one class up or down,
//     the same chance again for one more, and so on to the end of the scale.
//
// Why classes and not a lognormal factor: the weights of the classes lie 4 to 8
// times apart, and what assessors disagree on is the class. Eighteen qualified
// assessors looking at the same 30 trees used two or more ratings for at least
// 83 % of them (Forests 2023, 14(5), 1043). If each says the commonest word with
// chance q, all agree with a chance of at least q^18; that this happened for 17 %
// or fewer puts the mean q at 0.906 or less. The profile's 0.7 lies on the
// doubtful side of that bound and is an assumption. A class at the end of the
// scale can only be wrong one way, and its draws say so.
//
// Size between the three computed points: harm at −1, 0 and +1 standard error is
// joined log-linearly, as areas and lengths are powers of a radius. Beyond +1
// the gentler of power and straight line goes on: a straight line where harm
// rises (a target just within reach has a ratio that no power may carry on), the
// power where it falls. Where one of the three is zero there is no power: straight
// lines join them, down to zero and no further, so that a target just out of
// reach comes within reach in some draws. Where all are zero it stays zero.
//
// What is not drawn: the weights of the classes against each other, the share
// struck and the shielding, which are the same for every tree; whether a target
// or tree is there at all; and the rating, when trees are ordered by it.
//
// Draws come from a hash of the seed, the number of the draw and the key of the
// tree or target, so that the result depends neither on the number of cores nor
// on the order in which trees and targets are given.
package doubt
