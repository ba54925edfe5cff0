// Package exposure computes how many people and vehicles are, on average,
// inside the ground a part of a tree can reach.
//
// It sizes a tree's zones (whole tree, crown, the limb of each recorded cut),
// turns what is known of a target into people and vehicles per metre, per
// square metre or per point (Little's law: number present = arrivals × stay),
// and adds up what the zones cover. Everything is a value in and a value out.
//
// Each target keeps a week of 168 hours, the profile's or its own count, and
// the profile's calendar says on which days of the year that week is busier or
// quieter. A Count is the mean over the days of the season looked at; Week adds
// the busiest hour and the share of hours with anybody there, and Hours opens
// the ordinary week.
package exposure
