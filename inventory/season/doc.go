// Package season says when work on a tree may be done: on which days of a year no
// window of the practice closes it, in which hours of the week the place beneath
// is emptiest, and what has to be settled before. Windows are closed until the
// client opens them; where it is not known whether one applies, it does. The
// package is pure.
package season
