package geo_test

import (
	"fmt"
	"math"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/underbough/underbough/geo"
	"pgregory.net/rapid"
)

// The judge of this file is GeographicLib (Karney 2013, "Algorithms for
// geodesics", J. Geodesy 87), by its command-line tools: GeodSolve draws the
// zone as a polygon of geodesic rays and measures distances, Planimeter
// measures areas. What lies between, cutting a target with a convex polygon of
// thousands of corners, is done here by half-planes and shares nothing with
// the closed forms under test.

// fatal is what both *testing.T and *rapid.T offer.
type fatal interface {
	Helper()
	Fatalf(format string, args ...any)
}

// rays is the number of corners of a judge's full circle. An inscribed polygon
// has 1 − (2π/n)²/6 = 1 − 1.6e-6 of its disc's area.
const rays = 2048

// Numbers go in as plain decimals: the tools read the e of an exponent as east.
func run(t fatal, name, input string, args ...string) [][]float64 {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Fatalf("%s is not installed: run make test, which installs geographiclib-tools", name)
	}
	cmd := exec.Command(path, args...)
	cmd.Stdin = strings.NewReader(input)
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v: %s", name, err, out)
	}
	var rows [][]float64
	for line := range strings.Lines(string(out)) {
		var row []float64
		for _, field := range strings.Fields(line) {
			v, err := strconv.ParseFloat(field, 64)
			if err != nil {
				t.Fatalf("%s answered %q", name, line)
			}
			row = append(row, v)
		}
		rows = append(rows, row)
	}
	return rows
}

// judgeZone is the zone's outline as longitude and latitude, anticlockwise,
// open, longitudes continuous about the origin.
func judgeZone(t fatal, z geo.Zone, origin orb.Point) []orb.Point {
	t.Helper()
	n := rays
	if !z.IsDisc() {
		n = max(int(rays*z.Width/360), 16)
	}
	var in strings.Builder
	for i := range n + 1 {
		azimuth := z.Bearing + z.Width/2 - z.Width*float64(i)/float64(n)
		fmt.Fprintf(&in, "%.16f %.16f %.16f %.16f\n", origin[1], origin[0], math.Mod(azimuth, 360), z.Radius)
	}
	var ring []orb.Point
	if !z.IsDisc() {
		ring = append(ring, origin)
	}
	for _, row := range run(t, "GeodSolve", in.String(), "-p", "9") {
		ring = append(ring, orb.Point{nearLon(row[1], origin[0]), row[0]})
	}
	if z.IsDisc() {
		ring = ring[:n]
	}
	return ring
}

func nearLon(lon, about float64) float64 {
	return lon - 360*math.Round((lon-about)/360)
}

// leftOf is twice the area of a→b→p: not negative on the inner side of an
// anticlockwise outline's edge.
func leftOf(a, b, p orb.Point) float64 {
	return (b[0]-a[0])*(p[1]-a[1]) - (b[1]-a[1])*(p[0]-a[0])
}

// judgeRing cuts a ring with a convex outline, half-plane by half-plane.
func judgeRing(ring, convex []orb.Point) []orb.Point {
	for i, a := range convex {
		b := convex[(i+1)%len(convex)]
		var kept []orb.Point
		for k, p := range ring {
			q := ring[(k+1)%len(ring)]
			dp, dq := leftOf(a, b, p), leftOf(a, b, q)
			if dp >= 0 {
				kept = append(kept, p)
			}
			if (dp >= 0) != (dq >= 0) {
				s := dp / (dp - dq)
				kept = append(kept, orb.Point{p[0] + s*(q[0]-p[0]), p[1] + s*(q[1]-p[1])})
			}
		}
		if ring = kept; len(ring) == 0 {
			return nil
		}
	}
	return ring
}

// judgeSegment cuts a segment with a convex outline.
func judgeSegment(p, q orb.Point, convex []orb.Point) (orb.Point, orb.Point, bool) {
	s0, s1 := 0.0, 1.0
	for i, a := range convex {
		b := convex[(i+1)%len(convex)]
		dp, dq := leftOf(a, b, p), leftOf(a, b, q)
		switch {
		case dp < 0 && dq < 0:
			return p, q, false
		case dp < 0:
			s0 = max(s0, dp/(dp-dq))
		case dq < 0:
			s1 = min(s1, dp/(dp-dq))
		}
	}
	at := func(s float64) orb.Point { return orb.Point{p[0] + s*(q[0]-p[0]), p[1] + s*(q[1]-p[1])} }
	return at(s0), at(s1), s0 < s1
}

// noiseM2 is Planimeter's own rounding: on inscribed polygons of 1,024 and
// 4,096 corners, whose area is known, it was off by up to 1e-3 m² whether the
// radius was 2 m or 200 m.
const noiseM2 = 2e-3

func planimeter(t fatal, ring []orb.Point) float64 {
	t.Helper()
	if len(ring) < 3 {
		return 0
	}
	var in strings.Builder
	for _, p := range ring {
		fmt.Fprintf(&in, "%.16f %.16f\n", p[1], p[0])
	}
	return run(t, "Planimeter", in.String(), "-p", "10")[0][2]
}

func geodesicM(t fatal, pairs [][2]orb.Point) []float64 {
	t.Helper()
	if len(pairs) == 0 {
		return nil
	}
	var in strings.Builder
	for _, p := range pairs {
		fmt.Fprintf(&in, "%.16f %.16f %.16f %.16f\n", p[0][1], p[0][0], p[1][1], p[1][0])
	}
	var out []float64
	for _, row := range run(t, "GeodSolve", in.String(), "-i", "-p", "9") {
		out = append(out, row[2])
	}
	return out
}

// judgeOverlap is what GeographicLib makes of an overlap. A sector over 180°
// is not convex: it is the disc less the opposite sector.
func judgeOverlap(t fatal, z geo.Zone, origin orb.Point, g orb.Geometry) (m geo.Measure) {
	t.Helper()
	if z.Width > 180 && !z.IsDisc() {
		whole := judgeOverlap(t, geo.Disc(z.Radius), origin, g)
		rest := judgeOverlap(t, geo.Sector(z.Radius, z.Bearing+180, 360-z.Width), origin, g)
		return geo.Measure{LengthM: whole.LengthM - rest.LengthM, AreaM2: whole.AreaM2 - rest.AreaM2}
	}
	return judgeConvex(t, judgeZone(t, z, origin), origin, g)
}

// judgeConvex is the part of a geometry in a convex open ring, anticlockwise.
func judgeConvex(t fatal, outline []orb.Point, origin orb.Point, g orb.Geometry) (m geo.Measure) {
	t.Helper()
	var pairs [][2]orb.Point
	judgeParts(g, origin, func(line []orb.Point) {
		for i := 1; i < len(line); i++ {
			if p, q, ok := judgeSegment(line[i-1], line[i], outline); ok {
				pairs = append(pairs, [2]orb.Point{p, q})
			}
		}
	}, func(ring []orb.Point, hole bool) {
		area := math.Abs(planimeter(t, judgeRing(ring, outline)))
		if hole {
			area = -area
		}
		m.AreaM2 += area
	})
	for _, d := range geodesicM(t, pairs) {
		m.LengthM += d
	}
	return m
}

// judgeParts hands over lines and open rings, longitudes next to the origin's.
func judgeParts(g orb.Geometry, origin orb.Point, line func([]orb.Point), ring func([]orb.Point, bool)) {
	moved := func(points []orb.Point) []orb.Point {
		var out []orb.Point
		for _, p := range points {
			out = append(out, orb.Point{nearLon(p[0], origin[0]), p[1]})
		}
		return out
	}
	switch g := g.(type) {
	case orb.LineString:
		line(moved(g))
	case orb.MultiLineString:
		for _, part := range g {
			line(moved(part))
		}
	case orb.Polygon:
		for i, r := range g {
			ring(moved(r[:len(r)-1]), i > 0)
		}
	case orb.MultiPolygon:
		for _, part := range g {
			judgeParts(part, origin, line, ring)
		}
	}
}

// Tolerances. The judge's polygon is 1.6e-6 small, and its disc is a geodesic
// one where the plane's meridians do not converge: at r metres the two part by
// up to 0.8·r²·tanφ/R, 19 mm for 200 m at 75°, 0.08 mm for 25 m at 45°. That
// displacement, bow, times the length of the edges and of the circle bounds the
// difference in area; for lengths, which a line that grazes the circle
// magnifies, the judge is asked again with the radius less and more by as much.
// The promise of 0.1 % is tested beside it where more than a tenth of the zone
// is covered.
func TestOverlapAgainstGeographicLib(t *testing.T) {
	worst := 0.0
	rapid.Check(t, func(t *rapid.T) {
		c := drawCase(t)
		got := geo.Overlap(c.zone, c.origin, c.target)
		want := judgeOverlap(t, c.zone, c.origin, c.target)
		r, whole := c.zone.Radius, c.zone.Area()
		bow := 0.8 * r * r * math.Abs(math.Tan(c.origin[1]*math.Pi/180)) / 6.37e6
		off := math.Abs(got.AreaM2 - want.AreaM2)
		if off > 2e-6*whole+noiseM2+bow*(c.edgeM(r)+2*math.Pi*r) || (want.AreaM2 > whole/10 && off > 1e-3*want.AreaM2+noiseM2) {
			t.Fatalf("area in %+v at %v: got %.9g, GeographicLib %.9g", c.zone, c.origin, got.AreaM2, want.AreaM2)
		}
		if want.AreaM2 > whole/10 {
			worst = max(worst, (off-noiseM2)/want.AreaM2)
		}
		off = math.Abs(got.LengthM - want.LengthM)
		if want.LengthM > r/5 {
			worst = max(worst, off/want.LengthM)
		}
		if off <= 1e-5*want.LengthM+1e-7 {
			return
		}
		less, more := c.zone, c.zone
		less.Radius -= bow + 2e-6*r
		more.Radius += bow + 2e-6*r
		low := judgeOverlap(t, less, c.origin, c.target).LengthM
		high := judgeOverlap(t, more, c.origin, c.target).LengthM
		// Sides of a sector move by the bow too, once each way for each edge.
		slack := (1e-5+2*bow/r)*want.LengthM + 1e-7
		if !c.zone.IsDisc() {
			slack += 20 * bow * float64(c.segments)
		}
		// A wide sector is the difference of two judged lengths, whose rays end
		// at different places of the circle: each end is off by the sagitta
		// between rays, 1.2e-6 of the radius, and a radius less or more cancels.
		if c.zone.Width > 180 && !c.zone.IsDisc() {
			slack += 2 * 2 * 1.2e-6 * r * float64(c.segments)
		}
		if got.LengthM < low-slack || got.LengthM > high+slack {
			t.Fatalf("length in %+v at %v: got %.9g, GeographicLib %.9g to %.9g", c.zone, c.origin, got.LengthM, low, high)
		}
	})
	t.Logf("largest relative difference over a tenth of a zone: %.2g", worst)
}

func TestSizeAgainstGeographicLib(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		origin := drawOrigin(t)
		scale := rapid.Float64Range(5, 2000).Draw(t, "scale")
		g, _ := drawTarget(t, origin, scale)
		var want geo.Measure
		var pairs [][2]orb.Point
		judgeParts(g, origin, func(line []orb.Point) {
			for i := 1; i < len(line); i++ {
				pairs = append(pairs, [2]orb.Point{line[i-1], line[i]})
			}
		}, func(ring []orb.Point, hole bool) {
			if a := math.Abs(planimeter(t, ring)); hole {
				want.AreaM2 -= a
			} else {
				want.AreaM2 += a
			}
		})
		for _, d := range geodesicM(t, pairs) {
			want.LengthM += d
		}
		got := geo.Size(g)
		// The sagitta of an edge as long as the target, along its outline.
		bow := scale * scale * math.Abs(math.Tan(origin[1]*math.Pi/180)) / (2 * 6.37e6)
		// GeodSolve is asked for whole nanometres, a segment at a time.
		nanometres := 1e-9 * float64(len(pairs))
		if math.Abs(got.LengthM-want.LengthM) > 1e-6*want.LengthM+nanometres {
			t.Fatalf("length at %v: got %.9g, GeodSolve %.9g", origin, got.LengthM, want.LengthM)
		}
		if math.Abs(got.AreaM2-want.AreaM2) > 1e-6*want.AreaM2+bow*scale*4+noiseM2 {
			t.Fatalf("area at %v: got %.9g, Planimeter %.9g", origin, got.AreaM2, want.AreaM2)
		}
	})
}

// The figures of the package comment.
func TestDistanceMAgainstGeodSolve(t *testing.T) {
	for _, c := range []struct{ metres, tolerance float64 }{
		{1, 2e-9}, {200, 2e-9}, {1000, 2e-8}, {10_000, 2e-6}, {50_000, 5e-5},
	} {
		var in strings.Builder
		var from []orb.Point
		for lat := -75.0; lat <= 75; lat += 15 {
			for azimuth := 0.0; azimuth < 360; azimuth += 15 {
				from = append(from, orb.Point{179.9999, lat})
				fmt.Fprintf(&in, "%v 179.9999 %v %v\n", lat, azimuth, c.metres)
			}
		}
		worst := 0.0
		for i, row := range run(t, "GeodSolve", in.String(), "-p", "9") {
			d := geo.DistanceM(from[i], orb.Point{row[1], row[0]})
			worst = max(worst, math.Abs(d-c.metres)/c.metres)
		}
		t.Logf("%6.0f m: largest relative error %.2g", c.metres, worst)
		if worst > c.tolerance {
			t.Errorf("%v m: relative error %.2g over %.2g", c.metres, worst, c.tolerance)
		}
	}
}

// The plane keeps distance and bearing from its origin but for what the meridians
// converge: a point s metres away on a bearing lands near s·sin, s·cos.
func TestPlaneAgainstGeodSolve(t *testing.T) {
	for _, c := range []struct{ metres, toleranceM float64 }{
		{20, 2.5e-4}, {200, 2.5e-2}, {1000, 0.6},
	} {
		worst := 0.0
		for lat := -75.0; lat <= 75; lat += 15 {
			origin := orb.Point{-179.9999, lat}
			var in strings.Builder
			for azimuth := range 360 {
				fmt.Fprintf(&in, "%v %v %v %v\n", lat, origin[0], azimuth, c.metres)
			}
			p := geo.NewPlane(origin)
			for azimuth, row := range run(t, "GeodSolve", in.String(), "-p", "9") {
				x, y := p.ToPlane(orb.Point{row[1], row[0]})
				sin, cos := math.Sincos(float64(azimuth) * math.Pi / 180)
				worst = max(worst, math.Hypot(x-c.metres*sin, y-c.metres*cos))
				back := p.ToPoint(x, y)
				if math.Abs(nearLon(back[0]-row[1], 0)) > 1e-12 || math.Abs(back[1]-row[0]) > 1e-12 {
					t.Fatalf("ToPoint(ToPlane(%v)) = %v", row, back)
				}
			}
		}
		t.Logf("%5.0f m: largest displacement %.2g m", c.metres, worst)
		if worst > c.toleranceM {
			t.Errorf("%v m: displaced by %.2g m, over %.2g", c.metres, worst, c.toleranceM)
		}
	}
}
