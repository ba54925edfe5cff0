package demo

import (
	"math"

	"github.com/paulmach/orb"
)

// The plan is drawn on a plane in metres, x east and y north of the market
// square, and only turned into longitude and latitude when it is written.

func dist(a, b orb.Point) float64 {
	x, y := a[0]-b[0], a[1]-b[1]
	return math.Sqrt(x*x + y*y)
}

func lerp(a, b orb.Point, t float64) orb.Point {
	return orb.Point{a[0] + (b[0]-a[0])*t, a[1] + (b[1]-a[1])*t}
}

func length(l orb.LineString) float64 {
	sum := 0.0
	for i := 1; i < len(l); i++ {
		sum += dist(l[i-1], l[i])
	}
	return sum
}

// along returns the point s metres along a line and the direction there, in
// radians anticlockwise from east.
func along(l orb.LineString, s float64) (orb.Point, float64) {
	for i := 1; i < len(l); i++ {
		d := dist(l[i-1], l[i])
		if s <= d || i == len(l)-1 {
			t := 0.0
			if d > 0 {
				t = min(max(s/d, 0), 1)
			}
			return lerp(l[i-1], l[i], t), math.Atan2(l[i][1]-l[i-1][1], l[i][0]-l[i-1][0])
		}
		s -= d
	}
	return l[0], 0
}

// between cuts out the part of a line from s0 to s1 metres.
func between(l orb.LineString, s0, s1 float64) orb.LineString {
	first, _ := along(l, s0)
	out := orb.LineString{first}
	at := 0.0
	for i := 1; i < len(l); i++ {
		at += dist(l[i-1], l[i])
		if at > s0+0.01 && at < s1-0.01 {
			out = append(out, l[i])
		}
	}
	last, _ := along(l, s1)
	return append(out, last)
}

// aside moves a point by d metres to the left of a direction.
func aside(p orb.Point, dir, d float64) orb.Point {
	return orb.Point{p[0] - math.Sin(dir)*d, p[1] + math.Cos(dir)*d}
}

// beside is the line d metres to the left of l, for lines that bend gently.
func beside(l orb.LineString, d float64) orb.LineString {
	out := make(orb.LineString, len(l))
	for i := range l {
		a, b := l[max(i-1, 0)], l[min(i+1, len(l)-1)]
		out[i] = aside(l[i], math.Atan2(b[1]-a[1], b[0]-a[0]), d)
	}
	return out
}

// onto returns the nearest point of a line, how far along it lies, and how far
// away.
func onto(p orb.Point, l orb.LineString) (q orb.Point, s, d float64) {
	d = math.Inf(1)
	at := 0.0
	for i := 1; i < len(l); i++ {
		step := dist(l[i-1], l[i])
		foot := nearest(p, l[i-1], l[i])
		if away := dist(p, foot); away < d {
			q, s, d = foot, at+dist(l[i-1], foot), away
		}
		at += step
	}
	return q, s, d
}

// nearest is the point of the segment ab that is nearest to p.
func nearest(p, a, b orb.Point) orb.Point {
	dx, dy := b[0]-a[0], b[1]-a[1]
	l2 := dx*dx + dy*dy
	if l2 == 0 {
		return a
	}
	return lerp(a, b, min(max(((p[0]-a[0])*dx+(p[1]-a[1])*dy)/l2, 0), 1))
}

// crossing returns where the segments ab and cd cross.
func crossing(a, b, c, d orb.Point) (orb.Point, bool) {
	rx, ry, sx, sy := b[0]-a[0], b[1]-a[1], d[0]-c[0], d[1]-c[1]
	den := rx*sy - ry*sx
	if math.Abs(den) < 1e-9 {
		return orb.Point{}, false
	}
	t := ((c[0]-a[0])*sy - (c[1]-a[1])*sx) / den
	u := ((c[0]-a[0])*ry - (c[1]-a[1])*rx) / den
	return lerp(a, b, t), t >= 0 && t <= 1 && u >= 0 && u <= 1
}

// curve draws a smooth line through points (Catmull-Rom), a vertex about every
// 12 metres.
func curve(points ...orb.Point) orb.LineString {
	out := orb.LineString{points[0]}
	for i := 1; i < len(points); i++ {
		p0, p1, p2, p3 := points[max(i-2, 0)], points[i-1], points[i], points[min(i+1, len(points)-1)]
		n := max(int(dist(p1, p2)/12), 1)
		for k := 1; k <= n; k++ {
			t := float64(k) / float64(n)
			var q orb.Point
			for c := range q {
				q[c] = 0.5 * (2*p1[c] + (p2[c]-p0[c])*t + (2*p0[c]-5*p1[c]+4*p2[c]-p3[c])*t*t + (3*p1[c]-p0[c]-3*p2[c]+p3[c])*t*t*t)
			}
			out = append(out, q)
		}
	}
	return out
}

// frame is a place's own axes: u along dir, v to its left.
type frame struct {
	at  orb.Point
	dir float64 // radians
}

func (f frame) point(u, v float64) orb.Point {
	sin, cos := math.Sincos(f.dir)
	return orb.Point{f.at[0] + u*cos - v*sin, f.at[1] + u*sin + v*cos}
}

// rect is an anticlockwise closed ring.
func (f frame) rect(u0, v0, u1, v1 float64) orb.Ring {
	return orb.Ring{f.point(u0, v0), f.point(u1, v0), f.point(u1, v1), f.point(u0, v1), f.point(u0, v0)}
}

func (f frame) line(uv ...float64) orb.LineString {
	var l orb.LineString
	for i := 0; i+1 < len(uv); i += 2 {
		l = append(l, f.point(uv[i], uv[i+1]))
	}
	return l
}

// inside reports whether a ring contains p, by counting the edges crossed.
func inside(p orb.Point, r orb.Ring) bool {
	in := false
	for i := 1; i < len(r); i++ {
		a, b := r[i-1], r[i]
		if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0]+(p[1]-a[1])/(b[1]-a[1])*(b[0]-a[0]) {
			in = !in
		}
	}
	return in
}

// near reports whether p is inside a ring or within d metres of its edge.
func near(p orb.Point, r orb.Ring, d float64) bool {
	if inside(p, r) {
		return true
	}
	_, _, away := onto(p, orb.LineString(r))
	return away < d
}

// apart reports whether two outlines stay d metres apart. It looks at corners
// against edges both ways, enough for shapes that are no slivers.
func apart(a, b solid, d float64) bool {
	if !a.box.Pad(d).Intersects(b.box) {
		return true
	}
	for _, p := range a.ring {
		if b.near(p, d) {
			return false
		}
	}
	for _, p := range b.ring {
		if a.near(p, d) {
			return false
		}
	}
	return true
}
