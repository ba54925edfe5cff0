package geo_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/clip"
	"github.com/paulmach/orb/planar"
	"github.com/underbough/underbough/geo"
	"pgregory.net/rapid"
)

func outline(t fatal, g orb.Geometry, origin orb.Point) geo.Zone {
	t.Helper()
	z, err := geo.Outline(g, origin)
	if err != nil {
		t.Fatalf("outline: %v", err)
	}
	if err := geo.CheckZone(z); err != nil {
		t.Fatalf("%v", err)
	}
	return z
}

// flatRing closes a ring of metres about origin given as x, y, x, y, …
func flatRing(origin orb.Point, xy ...float64) orb.Ring {
	p := geo.NewPlane(origin)
	var ring orb.Ring
	for i := 0; i < len(xy); i += 2 {
		ring = append(ring, p.ToPoint(xy[i], xy[i+1]))
	}
	return append(ring, ring[0])
}

func square(origin orb.Point, x, y, side float64) orb.Ring {
	return flatRing(origin, x, y, x+side, y, x+side, y+side, x, y+side)
}

// By arithmetic on squares.
func TestOutlineCheckValues(t *testing.T) {
	at := orb.Point{-0.1, 51.5}
	crown := outline(t, orb.Polygon{square(at, -5, -5, 10)}, at)
	near(t, "area", crown.Area(), 100, 1e-6)
	near(t, "radius", crown.Radius, math.Hypot(5, 5), 1e-8)
	near(t, "square within", ringArea(crown, 1, 1, 3, 1, 3, 3, 1, 3), 4, 1e-9)
	near(t, "clockwise", ringArea(crown, 1, 1, 1, 3, 3, 3, 3, 1), -4, 1e-9)
	near(t, "corner over corner", ringArea(crown, 2, 2, 20, 2, 20, 20, 2, 20), 9, 1e-6)
	near(t, "everything", ringArea(crown, -90, -80, 70, -80, 70, 90, -90, 90), 100, 1e-6)
	near(t, "nothing", ringArea(crown, 6, -80, 70, -80, 70, 90, 6, 90), 0, 1e-7)
	near(t, "line through", crown.SegmentLength(-50, 1, 50, 1), 10, 1e-7)
	near(t, "line from within", crown.SegmentLength(0, 0, 0, 9), 5, 1e-7)
	near(t, "diagonal", crown.SegmentLength(-9, -9, 9, 9), 10*math.Sqrt2, 1e-7)
	near(t, "line beside", crown.SegmentLength(-50, 5.1, 50, 5.1), 0, 0)
	near(t, "no line", crown.SegmentLength(1, 1, 1, 1), 0, 0)

	ringed := outline(t, orb.Polygon{square(at, -5, -5, 10), square(at, -2, -2, 4)}, at)
	near(t, "area less its hole", ringed.Area(), 84, 1e-6)
	near(t, "square about the hole", ringArea(ringed, -3, -3, 3, -3, 3, 3, -3, 3), 20, 1e-6)
	near(t, "line across the hole", ringed.SegmentLength(-50, 0, 50, 0), 6, 1e-7)

	// An L of three squares of 4 m, the tree standing outside it.
	bent := outline(t, orb.Polygon{flatRing(at, 1, 1, 9, 1, 9, 5, 5, 5, 5, 9, 1, 9)}, at)
	near(t, "L", bent.Area(), 48, 1e-6)
	near(t, "the square the L leaves out", ringArea(bent, 5, 5, 9, 5, 9, 9, 5, 9), 0, 1e-6)
	near(t, "across the bend", ringArea(bent, 3, 3, 7, 3, 7, 7, 3, 7), 12, 1e-6)
	near(t, "line across the bend", bent.SegmentLength(3, 9, 9, 3), 2*2*math.Sqrt2, 1e-6)

	two := outline(t, orb.MultiPolygon{{square(at, -9, -2, 4)}, {square(at, 5, -2, 4)}}, at)
	near(t, "two parts", two.Area(), 32, 1e-6)
	near(t, "line through both", two.SegmentLength(-90, 0, 90, 0), 8, 1e-7)
	near(t, "band over both", ringArea(two, -90, -1, 90, -1, 90, 1, -90, 1), 16, 1e-6)
	for _, c := range []struct {
		z    geo.Zone
		x, y float64
		want bool
	}{
		{crown, 4.9, -4.9, true}, {crown, 5.1, 0, false}, {crown, 0, 0, true}, {ringed, 0, 0, false}, {ringed, 3, 0, true},
		{bent, 0, 0, false}, {bent, 7, 3, true}, {bent, 7, 7, false}, {two, 0, 0, false}, {two, -7, 0, true}, {two, 7, 1, true},
	} {
		if got := c.z.ContainsXY(c.x, c.y); got != c.want {
			t.Errorf("contains (%v, %v): got %v", c.x, c.y, got)
		}
	}
}

func TestOutlineIsComparable(t *testing.T) {
	at := orb.Point{3, 4}
	a, b := outline(t, orb.Polygon{square(at, -5, -5, 10)}, at), outline(t, orb.Polygon{square(at, -5, -5, 9)}, at)
	if c := a; a != c || a == b || a == geo.Disc(a.Radius) {
		t.Error("an outline must equal its copy and nothing else")
	}
	if a.IsDisc() || !a.IsOutline() || geo.Disc(3).IsOutline() {
		t.Error("an outline is not a disc")
	}
}

func TestOutlineRefuses(t *testing.T) {
	at := orb.Point{10, 50}
	for _, c := range []struct {
		g    orb.Geometry
		want string
	}{
		{nil, "outline is missing"},
		{orb.LineString{at, at}, "outline is a LineString"},
		{orb.MultiPolygon{}, "outline is empty"},
		{orb.Polygon{}, "polygon 1 of 1: no rings"},
		{orb.MultiPolygon{{square(at, 0, 0, 1)}, {{at, {10, 50.001}, at}}}, "polygon 2 of 2: ring 1 has 3 positions"},
		{orb.Polygon{{at, {10, 95}, {11, 50}, at}}, "latitude 95 is outside"},
		{orb.Polygon{{at, {10, 50.0001}, {10, 50.0002}, at}}, "no area"},
		{orb.Polygon{square(at, -1, -1, 2), square(at, -1, -1, 2)}, "no area"},
		{orb.Polygon{square(at, 5000, 0, 10)}, "m from the tree, more than 1000 m"},
	} {
		if z, err := geo.Outline(c.g, at); err == nil || !strings.Contains(err.Error(), c.want) || z != (geo.Zone{}) {
			t.Errorf("%v: got %v, want %q", c.g, err, c.want)
		}
	}
	if _, err := geo.Outline(orb.Polygon{square(at, 0, 0, 1)}, orb.Point{200, 0}); err == nil {
		t.Error("a tree off the globe: want an error")
	}
}

// A regular 720-gon lies between its circle and the circle it is drawn about.
func TestOutlineOf720CornersAgainstDisc(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		origin := drawOrigin(t)
		disc := geo.Disc(rapid.Float64Range(2, 60).Draw(t, "radius"))
		inner := geo.Disc(disc.Radius * math.Cos(math.Pi/720))
		gon := outline(t, disc.Polygon(origin, 720), origin)
		target, segments := drawTarget(t, origin, disc.Radius*rapid.Float64Range(0.1, 3).Draw(t, "scale"))
		got, low, high := geo.Overlap(gon, origin, target), geo.Overlap(inner, origin, target), geo.Overlap(disc, origin, target)
		if got.LengthM < low.LengthM-1e-7 || got.LengthM > high.LengthM+1e-7 {
			t.Fatalf("length %v is not between %v and %v", got.LengthM, low.LengthM, high.LengthM)
		}
		if slack := 1e-7 * disc.Area(); got.AreaM2 < low.AreaM2-slack || got.AreaM2 > high.AreaM2+slack ||
			math.Abs(got.AreaM2-high.AreaM2) > 1e-4*disc.Area() {
			t.Fatalf("area %v is not between %v and %v (%d edges)", got.AreaM2, low.AreaM2, high.AreaM2, segments)
		}
	})
}

// drawOutline is one to three polygons with holes, side by side.
func drawOutline(t *rapid.T, origin orb.Point, scale float64) (orb.MultiPolygon, geo.Zone) {
	plane := geo.NewPlane(origin)
	var g orb.MultiPolygon
	parts := rapid.IntRange(1, 3).Draw(t, "crown parts")
	shift := rapid.Float64Range(-2, 1).Draw(t, "shift") * scale
	for i := range parts {
		g = append(g, drawPolygon(t, plane, scale/float64(parts), shift+float64(i)*3.1*scale/float64(parts)))
	}
	return g, outline(t, g, origin)
}

// Any outline over any target against scan lines.
func TestOutlineAgainstScanLines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		origin := drawOrigin(t)
		plane := geo.NewPlane(origin)
		scale := rapid.Float64Range(1, 60).Draw(t, "crown")
		crown, z := drawOutline(t, origin, scale)
		target, _ := drawTarget(t, origin, scale*rapid.Float64Range(0.1, 3).Draw(t, "scale"))
		shape, edges := flatEdges(plane, crown), flatEdges(plane, target)
		// Positions in degrees round at 3e-9 m, along every edge.
		slack := 1e-7 * (1 + outlineM(shape) + outlineM(edges))
		whole := scannedArea(shape, flatEdges(plane, orb.Polygon{square(origin, -4*scale, -4*scale, 12*scale)}))
		if math.Abs(z.Area()-whole) > slack {
			t.Fatalf("area of the crown %v, scanned %v", z.Area(), whole)
		}
		got := geo.Overlap(z, origin, target)
		if isLine(target) {
			if low, high := scannedLength(shape, edges); got.LengthM < low-1e-6 || got.LengthM > high+1e-6 {
				t.Fatalf("length %v, scanned %v to %v", got.LengthM, low, high)
			}
		} else if want := scannedArea(shape, edges); math.Abs(got.AreaM2-want) > slack+1e-9*z.Radius*z.Radius {
			t.Fatalf("area %v, scanned %v", got.AreaM2, want)
		}
	})
}

func isLine(g orb.Geometry) bool {
	_, line := g.(orb.LineString)
	_, lines := g.(orb.MultiLineString)
	return line || lines
}

// orb/clip cuts with boxes only: once the crown is the box, once the target.
func TestOutlineAgainstOrbClip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		origin := drawOrigin(t)
		plane := geo.NewPlane(origin)
		scale := rapid.Float64Range(2, 50).Draw(t, "scale")
		side := rapid.Float64Range(1, 60).Draw(t, "side")
		corner := orb.Point{rapid.Float64Range(-80, 40).Draw(t, "x"), rapid.Float64Range(-80, 40).Draw(t, "y")}
		box := orb.Bound{Min: corner, Max: orb.Point{corner[0] + side, corner[1] + side}}
		boxed := orb.Polygon{square(origin, corner[0], corner[1], side)}
		crown, z := drawOutline(t, origin, scale)
		clipped := 0.0
		for _, polygon := range crown {
			for i, ring := range polygon {
				a := math.Abs(planar.Area(clip.Ring(box, flat(plane, ring))))
				if i > 0 {
					a = -a
				}
				clipped += a
			}
		}
		if got := geo.Overlap(z, origin, boxed).AreaM2; math.Abs(got-clipped) > 1e-5+2e-9*z.Radius*z.Radius {
			t.Fatalf("crown over a box: got %v, orb/clip %v", got, clipped)
		}
		if got := geo.Overlap(outline(t, boxed, origin), origin, crown).AreaM2; math.Abs(got-clipped) > 1e-4 {
			t.Fatalf("box over a crown: got %v, orb/clip %v", got, clipped)
		}
		line := drawLine(t, plane, scale)
		// Degrees round at some 3e-9 m, which a line that grazes a side magnifies.
		low := planar.Length(clip.LineString(box.Pad(-1e-8), orb.LineString(flat(plane, line))))
		high := planar.Length(clip.LineString(box.Pad(1e-8), orb.LineString(flat(plane, line))))
		if got := geo.Overlap(outline(t, boxed, origin), origin, line).LengthM; got < low-1e-7 || got > high+1e-7 {
			t.Fatalf("line: got %v, orb/clip %v to %v", got, low, high)
		}
	})
}

func flat(plane geo.Plane, points []orb.Point) orb.Ring {
	out := make(orb.Ring, len(points))
	for i, p := range points {
		out[i][0], out[i][1] = plane.ToPlane(p)
	}
	return out
}

// A convex crown needs no rays: GeographicLib measures what judgeConvex cuts.
func TestOutlineAgainstGeographicLib(t *testing.T) {
	cases, met := 0, 0
	defer func() {
		if met < cases/3 {
			t.Errorf("only %d of %d targets met their crown: this test says too little", met, cases)
		}
	}()
	rapid.Check(t, func(t *rapid.T) {
		origin := drawOrigin(t)
		plane := geo.NewPlane(origin)
		n := rapid.IntRange(3, 12).Draw(t, "corners")
		r := rapid.Float64Range(2, 60).Draw(t, "crown")
		cx, cy := r*rapid.Float64Range(-2, 2).Draw(t, "x"), r*rapid.Float64Range(-2, 2).Draw(t, "y")
		crown := make(orb.Ring, n)
		for i := range crown { // on an ellipse, so convex
			sin, cos := math.Sincos(2 * math.Pi * (float64(i) + rapid.Float64Range(-0.4, 0.4).Draw(t, "turn")) / float64(n))
			crown[i] = plane.ToPoint(cx+r*cos, cy+0.6*r*sin)
		}
		moved := make([]orb.Point, n)
		for i, p := range crown {
			moved[i] = orb.Point{nearLon(p[0], origin[0]), p[1]}
		}
		z := outline(t, orb.Polygon{append(slices.Clone(crown), crown[0])}, origin)
		target, segments := drawTarget(t, origin, r*rapid.Float64Range(0.3, 4).Draw(t, "scale"))
		got, want := geo.Overlap(z, origin, target), judgeConvex(t, moved, origin, target)
		if cases++; want != (geo.Measure{}) {
			met++
		}
		// Edges are straight in degrees here, geodesics there: a bow of L²·tanφ/8R
		// on edges up to the crown's width; and meridians do not converge.
		bow := 9 * r * r * math.Abs(math.Tan(origin[1]*math.Pi/180)) / 6.37e6
		if off := math.Abs(got.AreaM2 - want.AreaM2); off > 1e-6*z.Area()+float64(segments+3)*(noiseM2+bow*2*r*0.2) {
			t.Fatalf("area %v, GeographicLib %v", got.AreaM2, want.AreaM2)
		}
		if off := math.Abs(got.LengthM - want.LengthM); off > (1e-5+bow/r)*want.LengthM+1e-6 {
			t.Fatalf("length %v, GeographicLib %v", got.LengthM, want.LengthM)
		}
	})
}

func TestOutlineBoundAndPolygon(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		origin := drawOrigin(t)
		crown, z := drawOutline(t, origin, rapid.Float64Range(1, 60).Draw(t, "crown"))
		b := z.Bound(origin)
		for _, polygon := range crown {
			for _, ring := range polygon {
				for _, p := range ring {
					if p[0] = nearLon(p[0], origin[0]); !b.Contains(p) {
						t.Fatalf("%v lies outside %v", p, b)
					}
				}
			}
		}
		drawn := z.Polygon(origin, 64)
		if err := geo.CheckGeometry(drawn); err != nil {
			t.Fatal(err)
		}
		near, same := geo.Size(drawn).AreaM2, geo.Size(crown).AreaM2
		if math.Abs(near-same) > 1e-6*same+1e-6 {
			t.Fatalf("drawn %v m², given %v m²", near, same)
		}
		// A tree at the same spot gets the same zone from what was drawn.
		again := outline(t, drawn, origin)
		if math.Abs(again.Area()-z.Area()) > 1e-6*z.Area()+1e-6 {
			t.Fatalf("drawn and read again: %v m², first %v m²", again.Area(), z.Area())
		}
	})
}
