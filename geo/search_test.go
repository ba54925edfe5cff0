package geo_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/paulmach/orb"
	"github.com/underbough/underbough/geo"
	"pgregory.net/rapid"
)

// A walk from tree to tree with one Scratch, which remembers where it has been,
// must find what a fresh one finds, to the last bit: near trees and far ones,
// small zones and large ones, in two indexes by turns, by the antimeridian too.
func TestOverlapsDoNotDependOnTheTreesBefore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		middle := drawOrigin(t)
		plane := geo.NewPlane(middle)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		w := &town{rng, rapid.Float64Range(50, 1500).Draw(t, "side"), plane}
		indexes := []*geo.Index{w.index(rapid.IntRange(1, 300).Draw(t, "targets")), w.index(40)}
		var kept geo.Scratch
		x, y := w.spot()
		for range 60 {
			switch rng.IntN(8) {
			case 0:
				x, y = w.spot()
			case 1:
				x += 200 * rng.NormFloat64()
			default:
				x, y = x+10*rng.NormFloat64(), y+10*rng.NormFloat64()
			}
			zones := []geo.Zone{geo.Disc(2 + 20*rng.Float64()), geo.Disc(5), geo.Sector(15, 300, 80)}
			if rng.IntN(20) == 0 {
				zones[0].Radius = 300
			}
			ix := indexes[min(rng.IntN(10), 1)]
			if rng.IntN(2) == 0 {
				ix = indexes[0]
			}
			var fresh geo.Scratch
			at := plane.ToPoint(x, y)
			if got, want := ix.Overlaps(at, zones, &kept), ix.Overlaps(at, zones, &fresh); !slices.Equal(got, want) {
				t.Fatalf("at %v: %+v, fresh %+v", at, got, want)
			}
		}
	})
}

// What else is in the index, and the order it was added in, may not change a
// bit of a target's hits: edits one by one must lead to what a full run finds.
func TestOverlapsDoNotDependOnTheOtherTargets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		origin := drawOrigin(t)
		n := rapid.IntRange(2, 12).Draw(t, "targets")
		targets := make([]orb.Geometry, n)
		refs := make([]int32, n)
		for i := range targets {
			targets[i], _ = drawTarget(t, origin, rapid.Float64Range(2, 3000).Draw(t, "scale"))
			refs[i] = int32(i*7 - 20)
		}
		order := rapid.Permutation(refs).Draw(t, "order")
		zones := []geo.Zone{drawZone(t), geo.Disc(rapid.Float64Range(1, 40).Draw(t, "crown")), drawZone(t)}
		build := func(refs ...int32) *geo.Index {
			b := geo.NewBuilder()
			for _, ref := range refs {
				b.Add(ref, targets[(ref+20)/7])
			}
			return b.Build()
		}
		var s geo.Scratch
		all := slices.Clone(build(order...).Overlaps(origin, zones, &s))
		var one []geo.Hit
		for _, ref := range refs {
			one = append(one, build(ref).Overlaps(origin, zones, &s)...)
		}
		if !slices.Equal(all, one) {
			t.Fatalf("together %+v\none by one %+v", all, one)
		}
	})
}

// A comb with hundreds of teeth crosses the circle as often; the angles of all
// crossings are added up as one product.
func TestManyCrossings(t *testing.T) {
	origin := orb.Point{20, 0.0001}
	plane := geo.NewPlane(origin)
	var ring orb.Ring
	for i := range 300 { // all within 2 m: crowded corners are not cut further
		x := -0.9 + float64(i)*0.006
		ring = append(ring, plane.ToPoint(x, 0.1), plane.ToPoint(x, 0.95), plane.ToPoint(x+0.003, 0.95), plane.ToPoint(x+0.003, 0.1))
	}
	ring = append(ring, plane.ToPoint(0.9, 0), plane.ToPoint(-0.9, 0))
	polygon := orb.Polygon{append(ring, ring[0])}
	b := geo.NewBuilder()
	b.Add(1, polygon)
	ix := b.Build()
	var s geo.Scratch
	for _, z := range []geo.Zone{geo.Disc(0.5), geo.Disc(0.96), geo.Disc(3), geo.Sector(0.7, 0, 90)} {
		hits := ix.Overlaps(origin, []geo.Zone{z}, &s)
		if len(hits) != 1 {
			t.Fatalf("%+v: %+v", z, hits)
		}
		near(t, "comb", hits[0].AreaM2, geo.Overlap(z, origin, polygon).AreaM2, 1e-9)
		if z == geo.Disc(3) {
			near(t, "whole comb", hits[0].AreaM2, geo.Size(polygon).AreaM2, 1e-6)
		}
	}
}
