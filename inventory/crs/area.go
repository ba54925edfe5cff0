package crs

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/clip"

	"github.com/underbough/underbough/inventory"
)

// sidePieces is how many pieces each side of a box is cut into before it is
// transformed: the sides of a box of 10 km in UTM lie within a millimetre of
// what they become, those of 100 km within a decimetre.
const sidePieces = 64

// Outline is a box as a ring, anticlockwise, its sides cut into pieces: what is
// straight in one reference system is bent in another.
func Outline(b orb.Bound) orb.Ring {
	corners := []orb.Point{b.Min, {b.Max[0], b.Min[1]}, b.Max, {b.Min[0], b.Max[1]}, b.Min}
	ring := make(orb.Ring, 0, 4*sidePieces+1)
	for i := range 4 {
		p, q := corners[i], corners[i+1]
		for k := range sidePieces {
			t := float64(k) / sidePieces
			ring = append(ring, orb.Point{p[0] + t*(q[0]-p[0]), p[1] + t*(q[1]-p[1])})
		}
	}
	return append(ring, b.Min)
}

// OnGlobe is the area within a ring of longitudes and latitudes, cut in two where
// it crosses the antimeridian: of two positions in a row, the nearer way round
// the globe is meant. A ring that goes round a pole encloses no area that can be
// told in degrees.
func OnGlobe(ring orb.Ring) (orb.MultiPolygon, error) {
	around := inventory.Errorf(inventory.Invalid, "the area lies about a pole or goes round the globe")
	whole := slices.Clone(ring)
	for i := range whole {
		p := &whole[i]
		if p[0]-p[0] != 0 || p[1]-p[1] != 0 || math.Abs(p[1]) > 90 {
			return nil, inventory.Errorf(inventory.Invalid, "the area reaches beyond where its reference system holds")
		}
		if i > 0 {
			p[0] += 360 * math.Round((whole[i-1][0]-p[0])/360)
		}
	}
	bound := whole.Bound()
	if first, last := whole[0], whole[len(whole)-1]; math.Abs(first[0]-last[0]) > 180 || bound.Max[0]-bound.Min[0] >= 360 {
		return nil, around
	}
	var parts orb.MultiPolygon
	for _, turn := range []float64{-360, 0, 360} {
		if bound.Max[0]+turn <= -180 || bound.Min[0]+turn >= 180 {
			continue
		}
		part := slices.Clone(whole)
		for i := range part {
			part[i][0] += turn
		}
		if b := part.Bound(); b.Min[0] < -180 || b.Max[0] > 180 {
			part = clip.Ring(orb.Bound{Min: orb.Point{-180, -90}, Max: orb.Point{180, 90}}, part)
		}
		if len(part) >= 4 {
			parts = append(parts, orb.Polygon{part})
		}
	}
	return parts, nil
}
