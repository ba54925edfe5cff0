// Package geojson reads GeoJSON (RFC 7946) as a stream of records: a
// FeatureCollection, a single Feature, newline-delimited Features, or a GeoJSON
// text sequence (RFC 8142).
//
// The Source finds where each Feature begins and ends by counting braces outside
// strings, in constant memory, and the Parser does everything else on as many
// goroutines as there are. So a Feature that is not valid JSON but whose braces
// balance spoils only itself, and a FeatureCollection that breaks off half-way
// still gives every Feature before the break.
//
// Coordinates are longitude and latitude in degrees, WGS 84. Their range is not
// checked here. A third and further number of a position is dropped.
package geojson
