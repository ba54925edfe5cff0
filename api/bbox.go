package api

import (
	"context"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/crs"
	"github.com/underbough/underbough/inventory/filter"
)

// within reads bbox in the reference system that bbox-crs says: boxes of degrees
// that hold all that is asked for, and where these hold more than that, a
// condition for the rest.
func (s *Server) within(ctx context.Context, p params) (boxes []orb.Bound, e filter.Expr, err error) {
	ref, err := s.parseCRS(ctx, p, "bbox-crs")
	if err != nil {
		return nil, nil, err
	}
	given, ok := p["bbox"]
	if !ok {
		return nil, nil, nil
	}
	b, err := p.box(ref.YFirst)
	if err != nil {
		return nil, nil, err
	}
	switch {
	case ref.Degrees():
		boxes, err = degreeBoxes(given, b)
		return boxes, nil, err
	case b.Min[0] > b.Max[0] || b.Min[1] > b.Max[1]:
		return nil, nil, paramError("bbox", given, "the first corner lies beyond the second: expected the lower number of each axis of "+ref.String()+" first")
	case ref.SRID == crs.Mercator:
		boxes, err = mercatorBoxes(given, b)
		return boxes, nil, err
	}
	// A box is meant to its last decimal, and must have an inside.
	least := math.Pow10(-ref.Decimals)
	for i := range 2 {
		if b.Max[i]-b.Min[i] < least {
			b.Min[i], b.Max[i] = b.Min[i]-least/2, b.Max[i]+least/2
		}
	}
	area, err := s.features(ctx).Area(ctx, ref.SRID, b)
	if err != nil {
		return nil, nil, blame("bbox", err)
	}
	for _, polygon := range area {
		boxes = append(boxes, polygon.Bound())
	}
	return boxes, filter.Meets(inventory.GeometryProperty, area), nil
}

// box reads the numbers of bbox: two corners, x first. Heights are left aside.
func (p params) box(yFirst bool) (b orb.Bound, err error) {
	s := p["bbox"]
	var v []float64
	for _, part := range strings.Split(s, ",") {
		f, err := strconv.ParseFloat(strings.TrimSpace(part), 64)
		if err != nil || math.IsNaN(f) || math.IsInf(f, 0) {
			return b, paramError("bbox", s, "expected 4 or 6 numbers with commas between")
		}
		v = append(v, f)
	}
	switch len(v) {
	case 4:
	case 6:
		if v[2] > v[5] {
			return b, paramError("bbox", s, "the lower height is above the upper")
		}
		v = []float64{v[0], v[1], v[3], v[4]}
	default:
		return b, paramError("bbox", s, fmt.Sprintf("%d numbers, expected 4, or 6 with heights: one corner, then the other (west,south,east,north)", len(v)))
	}
	if yFirst {
		v[0], v[1], v[2], v[3] = v[1], v[0], v[3], v[2]
	}
	return orb.Bound{Min: orb.Point{v[0], v[1]}, Max: orb.Point{v[2], v[3]}}, nil
}

// degreeBoxes are what a box of longitudes and latitudes covers. West of more
// than east crosses the antimeridian and gives two boxes.
func degreeBoxes(given string, b orb.Bound) ([]orb.Bound, error) {
	west, south, east, north := b.Min[0], b.Min[1], b.Max[0], b.Max[1]
	switch {
	case math.Abs(west) > 180 || math.Abs(east) > 180:
		return nil, paramError("bbox", given, "a longitude is outside -180 to 180")
	case math.Abs(south) > 90 || math.Abs(north) > 90:
		return nil, paramError("bbox", given, "a latitude is outside -90 to 90")
	case south > north:
		return nil, paramError("bbox", given, "south is above north: expected the south-west corner first")
	case west > east:
		return []orb.Bound{
			{Min: orb.Point{west, south}, Max: orb.Point{180, north}},
			{Min: orb.Point{-180, south}, Max: orb.Point{east, north}},
		}, nil
	}
	return []orb.Bound{b}, nil
}

// mercatorBoxes is what a box of the map of the web covers: a box of degrees.
// The map is as wide as the globe goes round, and as high.
func mercatorBoxes(given string, b orb.Bound) ([]orb.Bound, error) {
	const slack = 0.01 // metres; clients round
	for _, v := range []float64{b.Min[0], b.Min[1], b.Max[0], b.Max[1]} {
		if math.Abs(v) > crs.MercatorMost+slack {
			return nil, paramError("bbox", given, fmt.Sprintf("%v is outside of the map of EPSG:3857, which ends at %.2f m from its middle on each side", v, crs.MercatorMost))
		}
	}
	d := crs.MercatorDegrees(b)
	d.Min[0], d.Max[0] = max(d.Min[0], -180), min(d.Max[0], 180)
	return []orb.Bound{d}, nil
}
