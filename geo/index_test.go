package geo_test

import (
	"math"
	"slices"
	"testing"

	"github.com/paulmach/orb"
	"github.com/underbough/underbough/geo"
	"pgregory.net/rapid"
)

type hitKey struct {
	ref   int32
	zone  uint8
	shape geo.Shape
}

// Index.Overlaps must be the sum of Overlap over the targets, however they
// were cut into pieces. Long edges are chords of 125 m in one and of the zone's
// size in the other, which the tolerance allows for: L²·tanφ/8R along
// each edge.
func TestIndexOverlapsIsTheSumOfOverlap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		origin := drawOrigin(t)
		zones := []geo.Zone{drawZone(t), drawZone(t), geo.Disc(rapid.Float64Range(0.5, 60).Draw(t, "crown"))}
		crown, surveyed := drawOutline(t, origin, rapid.Float64Range(0.5, 60).Draw(t, "surveyed"))
		zones = slices.Insert(zones, rapid.IntRange(0, 3).Draw(t, "place"), surveyed)
		targets := make([]orb.Geometry, rapid.IntRange(1, 6).Draw(t, "targets"))
		edges := make([]int, len(targets))
		b := geo.NewBuilder()
		for i := range targets {
			scale := rapid.Float64Range(2, 3000).Draw(t, "scale")
			targets[i], edges[i] = drawTarget(t, origin, scale)
			if rapid.IntRange(0, 3).Draw(t, "with points") == 0 {
				points := orb.MultiPoint(drawLine(t, geo.NewPlane(origin), 200))
				targets[i] = orb.Collection{points, targets[i]}
			}
			b.Add(int32(i), targets[i])
		}
		var s geo.Scratch
		got := map[hitKey]geo.Hit{}
		hits := b.Build().Overlaps(origin, zones, &s)
		for _, h := range hits {
			got[hitKey{h.Ref, h.Zone, h.Shape}] = h
		}
		if len(got) != len(hits) || !slices.IsSortedFunc(hits, func(a, b geo.Hit) int {
			return int(a.Ref-b.Ref)*1000 + int(a.Zone) - int(b.Zone)
		}) {
			t.Fatalf("hits are not one for each target, zone and shape in order: %+v", hits)
		}
		for zone, z := range zones {
			bow := 125 * 125 * math.Abs(math.Tan(origin[1]*math.Pi/180)) / (8 * 6.37e6)
			bow = max(bow, bow*4.84*z.Radius*z.Radius/(125*125))
			for ref, g := range targets {
				want := geo.Overlap(z, origin, g)
				key := hitKey{int32(ref), uint8(zone), geo.ShapePoint}
				// A point on the very edge falls to either side by rounding.
				low, high := geo.Overlap(nudged(z, -1), origin, g).Points, geo.Overlap(nudged(z, 1), origin, g).Points
				if z == surveyed {
					doubt := pointsOnEdge(geo.NewPlane(origin), g, crown)
					low, high = low-doubt, high+doubt
				}
				if n := int(got[key].Count); n < low || n > high {
					t.Fatalf("points: got %d, want %d (%d to %d)", n, want.Points, low, high)
				}
				key.shape = geo.ShapeArea
				if d := math.Abs(got[key].AreaM2 - want.AreaM2); d > 1e-8*z.Area()+2*bow*z.Radius*float64(edges[ref]+8) {
					t.Fatalf("area: got %v, want %v", got[key].AreaM2, want.AreaM2)
				}
				key.shape = geo.ShapeLine
				if d := math.Abs(got[key].LengthM - want.LengthM); d > 1e-6+4*float64(edges[ref])*math.Sqrt(8*z.Radius*bow) {
					t.Fatalf("length: got %v, want %v", got[key].LengthM, want.LengthM)
				}
			}
		}
	})
}

// nudged is a zone a micrometre and a hundredth of a degree larger or smaller.
func nudged(z geo.Zone, by float64) geo.Zone {
	z.Radius += by * 1e-6
	if !z.IsDisc() {
		z.Width = max(z.Width+by*0.01, 1e-9)
	}
	return z
}

// At the equator edges do not bow, so cutting may change nothing at all.
func TestCuttingIntoPiecesChangesNothing(t *testing.T) {
	origin := orb.Point{180, 0.0001}
	plane := geo.NewPlane(origin)
	// A comb: 300 teeth of 1 km, 1,200 corners, both sides of the antimeridian.
	var ring orb.Ring
	for i := range 300 {
		x := float64(i)*4 - 600
		ring = append(ring, plane.ToPoint(x, -10), plane.ToPoint(x, 1000), plane.ToPoint(x+2, 1000), plane.ToPoint(x+2, -10))
	}
	ring = append(ring, plane.ToPoint(600, -500), plane.ToPoint(-600, -500))
	ring = append(ring, ring[0])
	road := orb.LineString{plane.ToPoint(-9000, -8000), plane.ToPoint(9100, 8010)}
	b := geo.NewBuilder()
	b.Add(4, orb.Polygon{ring})
	b.Add(9, road)
	ix := b.Build()
	if ix.Pieces() < 100 {
		t.Fatalf("only %d pieces: this test wants many", ix.Pieces())
	}
	var s geo.Scratch
	for _, at := range []orb.Point{origin, plane.ToPoint(-130, 250), plane.ToPoint(3, 125.3), plane.ToPoint(250, -260)} {
		zones := []geo.Zone{geo.Disc(30), geo.Disc(180), geo.Sector(90, 77, 65), geo.Sector(90, 77, 265)}
		want := map[hitKey]float64{}
		for i, z := range zones {
			want[hitKey{4, uint8(i), geo.ShapeArea}] = geo.Overlap(z, at, orb.Polygon{ring}).AreaM2
			want[hitKey{9, uint8(i), geo.ShapeLine}] = geo.Overlap(z, at, road).LengthM
		}
		for _, h := range ix.Overlaps(at, zones, &s) {
			key := hitKey{h.Ref, h.Zone, h.Shape}
			near(t, "piecewise", h.AreaM2+h.LengthM, want[key], 1e-6+1e-9*want[key])
			delete(want, key)
		}
		for key, v := range want {
			if v > 0 {
				t.Errorf("at %v: missed %+v, %v", at, key, v)
			}
		}
	}
}

func TestVisitMeetsEachPieceOnce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		origin := drawOrigin(t)
		plane := geo.NewPlane(origin)
		b := geo.NewBuilder()
		n := rapid.IntRange(1, 60).Draw(t, "n")
		boxes := make([]orb.Bound, n)
		for i := range boxes {
			line := drawLine(t, plane, 50)[:2]
			x, y := rapid.Float64Range(-500, 500).Draw(t, "x"), rapid.Float64Range(-500, 500).Draw(t, "y")
			for k := range line {
				lx, ly := plane.ToPlane(line[k])
				line[k] = plane.ToPoint(lx*0.5+x, ly*0.5+y) // at most 71 m: one piece
				p := line[k]
				p[0] = nearLon(p[0], origin[0])
				if k == 0 {
					boxes[i] = orb.Bound{Min: p, Max: p}
				}
				boxes[i] = boxes[i].Extend(p)
			}
			b.Add(int32(i), line)
		}
		bound := geo.Disc(rapid.Float64Range(1, 700).Draw(t, "r")).Bound(origin)
		seen := make([]int, n)
		b.Build().Visit(bound, func(ref int32, _ geo.Shape, _ orb.Bound) { seen[ref]++ })
		for i, box := range boxes {
			const rounding = 1e-12
			if bound.Pad(-rounding).Intersects(box) && seen[i] != 1 {
				t.Fatalf("piece %d, %v in %v: seen %d times", i, box, bound, seen[i])
			}
			if !bound.Pad(rounding).Intersects(box) && seen[i] != 0 {
				t.Fatalf("piece %d, %v, is out of %v but was seen", i, box, bound)
			}
		}
	})
}

func TestFarApartTargetsShareAnIndex(t *testing.T) {
	places := []orb.Point{{-71.1, 42.37}, {0, 0}, {151.2, -33.9}, {179.9999, -17}, {-179.9999, -17.0001}, {24, 69}}
	b := geo.NewBuilder()
	for i, p := range places {
		plane := geo.NewPlane(p)
		b.Add(int32(i), orb.LineString{plane.ToPoint(-5, 1), plane.ToPoint(5, 1)})
	}
	ix := b.Build()
	var s geo.Scratch
	for i, p := range places {
		hits := ix.Overlaps(p, []geo.Zone{geo.Disc(7)}, &s)
		if len(hits) == 0 || !slices.ContainsFunc(hits, func(h geo.Hit) bool {
			return int(h.Ref) == i && math.Abs(h.LengthM-10) < 1e-6
		}) {
			t.Errorf("at %v: %+v", p, hits)
		}
	}
	if ix.Memory() > 4096 {
		t.Errorf("six short lines take %d bytes", ix.Memory())
	}
}

func TestHoleLeavesNoHit(t *testing.T) {
	origin := orb.Point{-3, 57}
	p := geo.NewPlane(origin)
	square := func(r float64) orb.Ring {
		return orb.Ring{p.ToPoint(-r, -r), p.ToPoint(r, -r), p.ToPoint(r, r), p.ToPoint(-r, r), p.ToPoint(-r, -r)}
	}
	b := geo.NewBuilder()
	b.Add(0, orb.Polygon{square(400), square(50)})
	var s geo.Scratch
	ix := b.Build()
	if hits := ix.Overlaps(origin, []geo.Zone{geo.Disc(49), geo.Sector(60, 45, 30)}, &s); len(hits) != 1 || hits[0].Zone != 1 {
		t.Errorf("a disc in a hole: %+v", hits)
	}
	if hits := geo.NewBuilder().Build().Overlaps(origin, []geo.Zone{geo.Disc(49)}, &s); len(hits) != 0 {
		t.Errorf("empty index: %+v", hits)
	}
}

func TestOverlapsDoesNotAllocate(t *testing.T) {
	w := newTown(3, 1500)
	ix := w.index(3000)
	trees := w.trees(500)
	zones := []geo.Zone{geo.Disc(20), geo.Disc(6), geo.Sector(9, 40, 60), geo.Sector(9, 200, 200),
		outline(t, geo.Disc(7).Polygon(orb.Point{}, 30), orb.Point{})}
	var s geo.Scratch
	all := func() {
		for i := range trees {
			ix.Overlaps(trees[i].at, zones, &s)
		}
	}
	all()
	if n := testing.AllocsPerRun(3, all); n != 0 {
		t.Errorf("%v allocations for 500 trees", n)
	}
}

func TestIndexIsSafeForConcurrentReads(t *testing.T) {
	w := newTown(5, 1500)
	ix := w.index(2000)
	trees := w.trees(300)
	total := func() (sum float64) {
		var s geo.Scratch
		for i := range trees {
			for _, h := range ix.Overlaps(trees[i].at, trees[i].zones[:], &s) {
				sum += h.AreaM2 + h.LengthM
			}
		}
		return sum
	}
	want, got := total(), make(chan float64)
	for range 4 {
		go func() { got <- total() }()
	}
	for range 4 {
		if v := <-got; v != want {
			t.Errorf("got %v, alone %v", v, want)
		}
	}
}
