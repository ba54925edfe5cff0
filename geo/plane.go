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

// Plane is a local metric plane about a point: x east and y north, metres.
//
// It is the map of Riemann normal coordinates to second order: straight lines
// through the origin keep their geodesic length and bearing. With Δλ and Δφ
// the differences in longitude and latitude, N and M the two radii of
// curvature at the origin's latitude φ,
//
//	x = N·cosφ·Δλ − M·sinφ·Δλ·Δφ
//	y = M·Δφ + ½·N·cosφ·sinφ·Δλ²
//
// Without the second terms a point 200 m away at latitude 75° lands 2 cm off;
// with them the error is far below a millimetre (figures in the package
// comment). The plane is meant for points within a few kilometres of the
// origin and for latitudes to 85°.
type Plane struct {
	lon0, lat0 float64
	kx, ky     float64 // metres in a degree of longitude and of latitude
	shear      float64 // loss of kx for each degree north
	sag        float64 // y for each squared degree of longitude
}

// NewPlane returns the plane about origin (longitude, latitude in degrees).
func NewPlane(origin orb.Point) Plane {
	sin, cos := math.Sincos(origin[1] * radPerDeg)
	// A plane at a pole has no east; the floor keeps it finite.
	cos = max(cos, 1e-9)
	w2 := 1 / (1 - eccentricity*sin*sin)
	n := semiMajorM * math.Sqrt(w2)
	m := n * (1 - eccentricity) * w2
	return Plane{
		lon0: origin[0], lat0: origin[1],
		kx: n * cos * radPerDeg, ky: m * radPerDeg,
		shear: m * sin * radPerDeg * radPerDeg,
		sag:   0.5 * n * cos * sin * radPerDeg * radPerDeg,
	}
}

// ToPlane returns the metres east and north of the origin. The longitude
// difference is taken the short way round, so the antimeridian is no edge.
func (p Plane) ToPlane(pt orb.Point) (x, y float64) {
	return p.project(wrapDegrees(pt[0]-p.lon0), pt[1]-p.lat0)
}

func (p *Plane) project(dlon, dlat float64) (x, y float64) {
	return dlon * (p.kx - p.shear*dlat), dlat*p.ky + dlon*dlon*p.sag
}

// ToPoint returns the longitude, in [-180, 180), and latitude of a point of
// the plane. It undoes ToPlane to better than a nanometre within a kilometre.
func (p Plane) ToPoint(x, y float64) orb.Point {
	dlon, dlat := p.unproject(x, y)
	return orb.Point{wrapDegrees(p.lon0 + dlon), p.lat0 + dlat}
}

func (p *Plane) unproject(x, y float64) (dlon, dlat float64) {
	dlon, dlat = x/p.kx, y/p.ky
	for range 4 { // each round gains the factor distance·tanφ/radius of the earth
		dlon = x / (p.kx - p.shear*dlat)
		dlat = (y - dlon*dlon*p.sag) / p.ky
	}
	return dlon, dlat
}

// bend is how far, in metres, second-order terms can move a point r metres
// from the origin. Box tests made on the first-order terms allow for it.
func (p *Plane) bend(r float64) float64 {
	return r * r * math.Abs(p.shear) / (p.kx * p.ky)
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
