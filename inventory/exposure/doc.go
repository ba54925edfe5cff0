// Package exposure computes how many people and vehicles are, on average,
// inside the ground a part of a tree can reach.
//
// It sizes a tree's zones (whole tree, crown, the limb of each recorded cut),
// turns what is known of a target into people and vehicles per metre, per
// square metre or per point (Little's law: number present = arrivals × stay),
// and adds up what the zones cover. Everything is a value in and a value out.
package exposure
