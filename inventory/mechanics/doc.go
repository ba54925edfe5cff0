// Package mechanics works out how hard the wind bends the shoots that have grown
// back from an old cut: drag on their leafy area, the moment at the base, the
// stress at the attachment.
//
// The result is an index that orders limbs. It says nothing of when a shoot
// breaks: how much less than its wood the attachment of a sprout bears is not
// published.
//
// Where the base diameter is estimated from the length, moment and section grow
// alike and the stress is the same for every length up to the stub's width:
// among such shoots the moment orders and the stress does not.
package mechanics
