package crs

import (
	"math"

	"github.com/paulmach/orb"
)

// WGS 84 / Pseudo-Mercator is drawn on a sphere of the ellipsoid's major
// half-axis (EPSG method 1024); the map of the web ends where it is square.
const (
	mercatorRadius = 6378137.0
	MercatorMost   = mercatorRadius * math.Pi
)

// MercatorDegrees returns the degrees of a box of the map of the web; its sides
// follow meridians and parallels.
func MercatorDegrees(b orb.Bound) orb.Bound {
	return orb.Bound{Min: mercatorPoint(b.Min), Max: mercatorPoint(b.Max)}
}

func mercatorPoint(p orb.Point) orb.Point {
	return orb.Point{
		p[0] / mercatorRadius * 180 / math.Pi,
		math.Atan(math.Sinh(p[1]/mercatorRadius)) * 180 / math.Pi,
	}
}
