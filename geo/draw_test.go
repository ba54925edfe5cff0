package geo_test

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/underbough/underbough/geo"
	"pgregory.net/rapid"
)

// Random zones and targets for the property tests.

type overlapCase struct {
	origin   orb.Point
	zone     geo.Zone
	target   orb.Geometry
	segments int
}

// edgeM bounds the length of a target's outline that a disc can hold.
func (c overlapCase) edgeM(radius float64) float64 { return 2 * radius * float64(c.segments) }

// drawOrigin is anywhere from 60° south to 70° north, one time in five at
// 75°, one in three next to the antimeridian.
func drawOrigin(t *rapid.T) orb.Point {
	lat := rapid.Float64Range(-60, 70).Draw(t, "lat")
	if rapid.IntRange(0, 4).Draw(t, "far north") == 0 {
		lat = 75
	}
	lon := rapid.Float64Range(-180, 180).Draw(t, "lon")
	if rapid.IntRange(0, 2).Draw(t, "antimeridian") == 0 {
		lon = rapid.SampledFrom([]float64{180, -180, 179.9999, -179.9999, 179.9995, -179.9995}).Draw(t, "edge lon")
	}
	return orb.Point{lon, lat}
}

func drawZone(t *rapid.T) geo.Zone {
	radius := rapid.Float64Range(2, 200).Draw(t, "radius")
	if rapid.Bool().Draw(t, "disc") {
		return geo.Disc(radius)
	}
	return geo.Sector(radius, rapid.Float64Range(-360, 720).Draw(t, "bearing"), rapid.Float64Range(5, 355).Draw(t, "width"))
}

func drawCase(t *rapid.T) overlapCase {
	c := overlapCase{origin: drawOrigin(t), zone: drawZone(t)}
	scale := c.zone.Radius * rapid.Float64Range(0.1, 3).Draw(t, "scale")
	c.target, c.segments = drawTarget(t, c.origin, scale)
	return c
}

// drawTarget is a line, polygon with holes, or multipart about origin, some
// scale metres large, with rings wound either way; segments is its edges.
func drawTarget(t *rapid.T, origin orb.Point, scale float64) (g orb.Geometry, segments int) {
	plane := geo.NewPlane(origin)
	parts := rapid.IntRange(1, 3).Draw(t, "parts")
	if rapid.Bool().Draw(t, "line") {
		var multi orb.MultiLineString
		for range parts {
			line := drawLine(t, plane, scale)
			segments += len(line) - 1
			multi = append(multi, line)
		}
		if parts == 1 {
			return multi[0], segments
		}
		return multi, segments
	}
	var multi orb.MultiPolygon
	for i := range parts {
		// Side by side, so that the parts do not overlap.
		polygon := drawPolygon(t, plane, scale/float64(parts), float64(i)*3.1*scale/float64(parts))
		for _, ring := range polygon {
			segments += len(ring) - 1
		}
		multi = append(multi, polygon)
	}
	if parts == 1 {
		return multi[0], segments
	}
	return multi, segments
}

func drawLine(t *rapid.T, plane geo.Plane, scale float64) orb.LineString {
	n := rapid.IntRange(2, 8).Draw(t, "points")
	line := make(orb.LineString, n)
	for i := range line {
		x := rapid.Float64Range(-scale, scale).Draw(t, "x")
		y := rapid.Float64Range(-scale, scale).Draw(t, "y")
		line[i] = plane.ToPoint(x, y)
	}
	return line
}

// drawPolygon is a star-shaped ring about a random middle near the origin,
// moved east by offset metres, and up to two holes near its middle.
func drawPolygon(t *rapid.T, plane geo.Plane, scale, offset float64) orb.Polygon {
	cx := offset + rapid.Float64Range(-scale/2, scale/2).Draw(t, "middle x")
	cy := rapid.Float64Range(-scale/2, scale/2).Draw(t, "middle y")
	polygon := orb.Polygon{drawRing(t, plane, cx, cy, scale)}
	for hole := range rapid.IntRange(0, 2).Draw(t, "holes") {
		side := 0.12 * scale * float64(2*hole-1)
		polygon = append(polygon, drawRing(t, plane, cx+side, cy, scale/10))
	}
	return polygon
}

// drawRing has corners at 0.5 to 1 of scale from its middle: a hole of a
// tenth, 0.12 off the middle, always lies within.
func drawRing(t *rapid.T, plane geo.Plane, cx, cy, scale float64) orb.Ring {
	n := rapid.IntRange(4, 12).Draw(t, "corners")
	turn := rapid.Float64Range(0, 1).Draw(t, "turn")
	ring := make(orb.Ring, 0, n+1)
	for i := range n {
		d := scale * rapid.Float64Range(0.5, 1).Draw(t, "distance")
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + turn) / float64(n))
		ring = append(ring, plane.ToPoint(cx+d*cos, cy+d*sin))
	}
	if rapid.Bool().Draw(t, "clockwise") {
		slices.Reverse(ring)
	}
	return append(ring, ring[0])
}
