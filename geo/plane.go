package geo

import (
	"math"

	"github.com/paulmach/orb"
)

// WGS 84 ellipsoid (NIMA TR8350.2, table 3.1).
const (
	semiMajorM   = 6378137.0
	flattening   = 1 / 298.257223563
	eccentricity = flattening * (2 - flattening) // e², not e
	radPerDeg    = math.Pi / 180
)

// Plane is a local metric plane about a point: x east and y north, metres. With
// Δλ and Δφ the differences in longitude and latitude, N and M the two radii of
// curvature at the origin's latitude φ,
//
//	x = N·cosφ·Δλ
//	y = M·Δφ
//
// It is linear on purpose: an edge that runs straight in longitude and latitude,
// as GeoJSON's do, stays straight, so that a ring cut into pieces adds up to the
// whole to the last digit. The price is that the meridians do not converge: a
// point r metres away lands up to r²·tanφ/R off, R the radius of the earth: 0.1
// mm at 25 m and 6 mm at 200 m at latitude 45°, 2 cm at 200 m at 75°. The plane
// is meant for points within a few hundred metres and for latitudes to 85°.
type Plane struct {
	lon0, lat0 float64
	kx, ky     float64 // metres in a degree of longitude and of latitude
}

// NewPlane returns the plane about origin (longitude, latitude in degrees).
func NewPlane(origin orb.Point) Plane {
	sin, cos := math.Sincos(origin[1] * radPerDeg)
	// A plane at a pole has no east; the floor keeps it finite.
	cos = max(cos, 1e-9)
	w2 := 1 / (1 - eccentricity*sin*sin)
	n := semiMajorM * math.Sqrt(w2)
	m := n * (1 - eccentricity) * w2
	return Plane{lon0: origin[0], lat0: origin[1], kx: n * cos * radPerDeg, ky: m * radPerDeg}
}

// ToPlane returns the metres east and north of the origin. The longitude
// difference is taken the short way round, so the antimeridian is no edge.
func (p Plane) ToPlane(pt orb.Point) (x, y float64) {
	return wrapDegrees(pt[0]-p.lon0) * p.kx, (pt[1] - p.lat0) * p.ky
}

// ToPoint returns the longitude, in [-180, 180), and latitude of a point of
// the plane. It undoes ToPlane.
func (p Plane) ToPoint(x, y float64) orb.Point {
	return orb.Point{wrapDegrees(p.lon0 + x/p.kx), p.lat0 + y/p.ky}
}

// DistanceM is the distance in metres between two points no further apart
// than some tens of kilometres, on the plane at their mean latitude. Against
// GeographicLib's geodesics, latitudes −75 to 75, the error stays below 2e-8
// of the distance to 1 km, 2e-6 to 10 km and 5e-5 to 50 km (held by
// TestDistanceMAgainstGeodSolve).
func DistanceM(a, b orb.Point) float64 {
	p := NewPlane(orb.Point{0, (a[1] + b[1]) / 2})
	return math.Hypot(wrapDegrees(b[0]-a[0])*p.kx, (b[1]-a[1])*p.ky)
}

// wrapDegrees brings an angle into [-180, 180).
func wrapDegrees(d float64) float64 {
	if d >= -180 && d < 180 {
		return d
	}
	d = math.Mod(d+180, 360)
	if d < 0 {
		d += 360
	}
	if d >= 360 { // -tiny + 360 rounds up to 360
		d = 0
	}
	return d - 180
}
