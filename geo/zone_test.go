package geo_test

import (
	"math"
	"testing"

	"github.com/paulmach/orb"
	"github.com/underbough/underbough/geo"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g ± %.2g", what, got, want, tolerance)
	}
}

// ringArea sums EdgeArea over a closed ring given as x, y, x, y, …
func ringArea(z geo.Zone, xy ...float64) float64 {
	sum, n := 0.0, len(xy)
	for i := 0; i < n; i += 2 {
		j := (i + 2) % n
		sum += z.EdgeArea(xy[i], xy[i+1], xy[j], xy[j+1])
	}
	return sum
}

// Plane geometry with closed forms: chord 2√(R²−d²), half and quarter discs.
func TestDiscCheckValues(t *testing.T) {
	disc := geo.Disc(10)
	near(t, "line through the centre", disc.SegmentLength(-50, 0, 50, 0), 20, 1e-12)
	near(t, "line 6 m off", disc.SegmentLength(-50, 6, 50, 6), 16, 1e-12)
	near(t, "half-plane through the centre",
		ringArea(disc, -500, 0, 500, 0, 500, 900, -500, 900), 157.08, 0.005)
	near(t, "unit square inside", ringArea(disc, 2, 2, 3, 2, 3, 3, 2, 3), 1, 1e-12)
	near(t, "square with a corner at the centre",
		ringArea(disc, 0, 0, 10, 0, 10, 10, 0, 10), 78.54, 0.005)
}

// By arithmetic: a half-disc of 9 m, discs and a 60° sector of 18 m.
func TestZoneAreas(t *testing.T) {
	near(t, "half-disc", geo.Sector(9, 123, 180).Area(), 127.23, 0.005)
	near(t, "half-disc over a lot", ringArea(geo.Disc(9), -60, 0, 60, 0, 60, 60, -60, 60), 127.23, 0.005)
	near(t, "whole tree", geo.Disc(18).Area(), 1017.9, 0.05)
	near(t, "brittle tree", geo.Disc(27).Area(), 2290.2, 0.05)
	near(t, "60° sector", geo.Sector(18, 0, 60).Area(), 169.6, 0.05)
}

func TestShapesAboutTheDisc(t *testing.T) {
	disc := geo.Disc(10)
	near(t, "disc inside a square", ringArea(disc, -50, -50, 50, -50, 50, 50, -50, 50), 100*math.Pi, 1e-9)
	near(t, "the same clockwise", ringArea(disc, -50, -50, -50, 50, 50, 50, 50, -50), -100*math.Pi, 1e-9)
	near(t, "square that misses", ringArea(disc, 20, -50, 90, -50, 90, 50, 20, 50), 0, 1e-9)
	near(t, "square about a corner only", ringArea(disc, 8, 8, 50, 8, 50, 50, 8, 50), 0, 1e-9)
	// Circular segment beyond x = 6: R²·acos(d/R) − d·√(R²−d²).
	near(t, "circular segment", ringArea(disc, 6, -50, 50, -50, 50, 50, 6, 50), 100*math.Acos(0.6)-48, 1e-9)
	near(t, "edge that touches", disc.SegmentLength(-50, 10, 50, 10), 0, 1e-9)
	near(t, "segment inside", disc.SegmentLength(1, 1, 4, 5), 5, 1e-12)
	near(t, "segment that ends inside", disc.SegmentLength(0, 0, 0, 40), 10, 1e-12)
	near(t, "segment that points away", disc.SegmentLength(11, 0, 40, 0), 0, 0)
	near(t, "no segment", disc.SegmentLength(3, 3, 3, 3), 0, 0)
	near(t, "no radius", geo.Disc(0).SegmentLength(-1, 0, 1, 0), 0, 0)
}

// Bearings are clockwise from north: 90 is east.
func TestSector(t *testing.T) {
	east := geo.Sector(10, 90, 90)
	near(t, "line east", east.SegmentLength(0, 0, 50, 0), 10, 1e-12)
	near(t, "line north", east.SegmentLength(0, 0, 0, 50), 0, 1e-12)
	near(t, "line across at 6 m", east.SegmentLength(6, -50, 6, 50), 12, 1e-9)
	near(t, "line across at 9 m", east.SegmentLength(9, -50, 9, 50), 2*math.Sqrt(19), 1e-9)
	near(t, "everything", ringArea(east, -50, -50, 50, -50, 50, 50, -50, 50), 25*math.Pi, 1e-9)
	near(t, "north-east quarter", ringArea(east, 0, 0, 50, 0, 50, 50, 0, 50), 12.5*math.Pi, 1e-9)
	near(t, "triangle to x = 5", ringArea(east, -50, -50, 5, -50, 5, 50, -50, 50), 25, 1e-9)

	allButEast := geo.Sector(10, 270, 270)
	near(t, "the rest of the disc", ringArea(allButEast, -50, -50, 50, -50, 50, 50, -50, 50), 75*math.Pi, 1e-9)
	near(t, "line east of the rest", allButEast.SegmentLength(-50, 0, 50, 0), 10, 1e-12)

	for _, c := range []struct {
		z    geo.Zone
		x, y float64
		want bool
	}{
		{east, 5, 0, true}, {east, 5, 4.9, true}, {east, 5, 5.1, false}, {east, 10.1, 0, false},
		{east, -5, 0, false}, {allButEast, -5, 0, true}, {allButEast, 0, 5, true}, {allButEast, 5, 1, false},
		{geo.Sector(10, 0, 180), 3, 0.1, true}, {geo.Sector(10, 0, 180), 3, -0.1, false},
		{geo.Sector(10, 350, 40), -1, 5, true}, {geo.Sector(10, 350, 40), 2, 5, false},
		{geo.Disc(10), 6, 8, true}, {geo.Disc(10), 6, 8.001, false},
	} {
		if got := c.z.ContainsXY(c.x, c.y); got != c.want {
			t.Errorf("%+v contains (%v, %v): got %v", c.z, c.x, c.y, got)
		}
	}
}

func TestBoundHoldsTheZoneTightly(t *testing.T) {
	for _, lat := range []float64{-75, -40, 0, 52, 75} {
		for _, z := range []geo.Zone{geo.Disc(200), geo.Sector(40, 20, 30), geo.Sector(40, 300, 200), geo.Sector(5, 180, 10)} {
			origin := orb.Point{179.9999, lat}
			b, p := z.Bound(origin), geo.NewPlane(origin)
			reach := orb.Bound{Min: origin, Max: origin}
			for bearing := 0.0; bearing < 360; bearing += 0.25 {
				sin, cos := math.Sincos(bearing * math.Pi / 180)
				if !z.ContainsXY(0.999999*z.Radius*sin, 0.999999*z.Radius*cos) {
					continue
				}
				pt := p.ToPoint(z.Radius*sin, z.Radius*cos)
				if pt[0] < 0 {
					pt[0] += 360
				}
				reach = reach.Extend(pt)
				if !b.Contains(pt) {
					t.Fatalf("%+v at %v: %v lies outside %v", z, lat, pt, b)
				}
			}
			if grown := reach.Pad(0); (b.Max[1]-b.Min[1])*111e3 > (grown.Max[1]-grown.Min[1])*111e3+0.02*z.Radius {
				t.Errorf("%+v at %v: bound %v is loose about %v", z, lat, b, grown)
			}
		}
	}
}

func TestPolygonOutline(t *testing.T) {
	for _, z := range []geo.Zone{geo.Disc(50), geo.Sector(50, 200, 60), geo.Sector(50, 10, 300)} {
		g := z.Polygon(orb.Point{8, 47}, 720)
		ring := g.(orb.Polygon)[0]
		if !ring.Closed() || ring.Orientation() != orb.CCW {
			t.Errorf("%+v: exterior ring must be closed and anticlockwise (RFC 7946, 3.1.6)", z)
		}
		// A regular n-gon has sin(2π/n)/(2π/n) of its circle's area.
		near(t, "area of the outline", geo.Size(g).AreaM2/z.Area(), 1, 2e-5)
	}
}

// RFC 7946, 3.1.9: geometries are cut at the antimeridian.
func TestPolygonCutAtAntimeridian(t *testing.T) {
	z := geo.Disc(50)
	for _, lon := range []float64{179.9998, -179.9998} {
		g, ok := z.Polygon(orb.Point{lon, -17}, 720).(orb.MultiPolygon)
		if !ok || len(g) != 2 {
			t.Fatalf("at %v: got %T, want two polygons", lon, g)
		}
		for _, part := range g {
			b := part.Bound()
			if b.Min[0] < -180 || b.Max[0] > 180 || b.Max[0]-b.Min[0] > 1 {
				t.Errorf("part runs over %v", b)
			}
			if part[0].Orientation() != orb.CCW || !part[0].Closed() {
				t.Error("part must be closed and anticlockwise")
			}
		}
		near(t, "area of the parts", geo.Size(g).AreaM2/z.Area(), 1, 2e-5)
	}
	if _, ok := z.Polygon(orb.Point{179.99, -17}, 64).(orb.Polygon); !ok {
		t.Error("a zone clear of the antimeridian must stay one polygon")
	}
}
