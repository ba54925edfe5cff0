package crs

import "math"

// UTM returns the EPSG code of the zone of Universal Transverse Mercator on WGS
// 84 that a place lies in: 32601 to 32660 in the north, 32701 to 32760 in the
// south. Zones are six degrees wide from 180° W, but that zone 32 takes in the
// south-west of Norway (56° to 64° N, from 3° E) and that Svalbard (72° to 84° N)
// is split into the zones 31, 33, 35 and 37 at 9°, 21° and 33° E. Source: DMA
// Technical Manual 8358.1, chapter 2-6 (1990), by way of GeographicLib's
// UTMUPS::StandardZone, with which the test compares. Beyond 84° N and 80° S,
// where maps of the poles take over, the zones are simply carried on.
func UTM(lon, lat float64) int {
	lon = math.Mod(math.Mod(lon+180, 360)+360, 360) - 180
	zone := int(math.Floor((lon+180)/6)) + 1
	switch {
	case lat >= 56 && lat < 64 && lon >= 3 && lon < 12:
		zone = 32
	case lat >= 72 && lat < 84 && lon >= 0 && lon < 42:
		zone = 31 + 2*int(math.Floor((lon+3)/12))
	}
	if lat < 0 {
		return 32700 + zone
	}
	return 32600 + zone
}
