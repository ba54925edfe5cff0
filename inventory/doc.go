// Package inventory holds the words of the trade that the whole program is
// built on: clients, sites, trees, cuts, visits and targets, the errors that
// travel between rooms, and the small interfaces by which questions reach a
// store. It is pure: no file, network, database, clock or random source.
//
// Lengths and diameters are metres, bearings are degrees clockwise from true
// north, speeds metres a second; positions are WGS 84 longitude and latitude in
// that order (RFC 7946). The unit a figure was read in is kept with the import
// that brought it.
package inventory
