package paper

import (
	"math"
	"strings"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/clip"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
)

// look is how a kind of target is drawn: each with another letter and, as a line,
// another dash.
type look struct{ letter, area, line, point string }

// lookOf is the look of a kind. fine is 1 where a drawing shows some trees, and
// less where it shows a district: strokes and dashes are that much finer.
func lookOf(k inventory.TargetKind, fine float64) look {
	stroke := func(colour string, width float64, dash ...float64) string {
		s := `stroke="` + colour + `" stroke-width="` + num(width*fine) + `"`
		for i, v := range dash {
			s += [...]string{` stroke-dasharray="`, " "}[min(i, 1)] + num(v*fine)
		}
		if len(dash) > 0 {
			s += `"`
		}
		return s
	}
	fill := func(colour, opacity string) string { return `fill="` + colour + `" fill-opacity="` + opacity + `" ` }
	const round = ` stroke-linecap="round"`
	switch k {
	case inventory.Parking:
		return look{"P", fill(pale, "1") + stroke(solid, 1.4, 6, 2), stroke(solid, 2.5, 6, 2), stone}
	case inventory.Walkway:
		return look{"W", fill(ground, "1") + stroke(softInk, 1, 1, 3) + round, stroke(softInk, 1.8, 1, 4) + round, ground}
	case inventory.Road:
		return look{"R", fill(stone, "0.5") + stroke(stone, 0.8), stroke(stone, 4), stone}
	case inventory.Building:
		return look{"B", fill(solid, "0.75") + stroke(ink, 0.8), stroke(ink, 1.6), solid}
	case inventory.Playground:
		return look{"Y", fill(ground, "1") + stroke(ink, 1, 2, 2), stroke(ink, 1.4, 2, 2), ground}
	case inventory.Seating:
		return look{"S", fill(ground, "1") + stroke(softInk, 1, 4, 2, 1, 2), stroke(softInk, 1.4, 4, 2, 1, 2), ground}
	case inventory.TransitStop:
		return look{"T", fill(ground, "1") + stroke(ink, 1.4, 8, 2), stroke(ink, 1.8, 8, 2), ground}
	case inventory.Plaza:
		return look{"Z", fill(pale, "0.7") + stroke(softInk, 0.8, 3, 3), stroke(softInk, 1.4, 3, 3), pale}
	case inventory.UtilityLine:
		return look{"U", fill(ground, "1") + stroke(ink, 1, 8, 3, 1, 3), stroke(ink, 1.3, 8, 3, 1, 3), ground}
	}
	return look{"O", fill(ground, "1") + stroke(solid, 0.8, 1, 2), stroke(solid, 1.2, 1, 2), ground}
}

// frame is the ground that a drawing shows: metres east and north about a point,
// in units of the drawing.
type frame struct {
	plane  geo.Plane
	scale  float64 // units to the metre
	x0, y0 float64 // where the plane's origin is drawn
	view   orb.Bound
}

// fineness is how fine lines are drawn: full from 2 units to the metre, and down
// to 0.4 for a town.
func (f *frame) fineness() float64 { return max(min(f.scale/2, 1), 0.4) }

// xy is where a point is drawn.
func (f *frame) xy(p orb.Point) orb.Point {
	x, y := f.plane.ToPlane(p)
	return orb.Point{f.x0 + x*f.scale, f.y0 - y*f.scale}
}

// project brings a geometry into the drawing, a little beyond its edges at the
// most; nil where none of it shows.
func (f *frame) project(g orb.Geometry) orb.Geometry {
	if g == nil {
		return nil
	}
	moved := move(g, f.xy)
	if moved == nil || !moved.Bound().Intersects(f.view) {
		return nil
	}
	return clip.Geometry(f.view.Pad(10), moved)
}

// move copies a geometry with its points moved.
func move(g orb.Geometry, to func(orb.Point) orb.Point) orb.Geometry {
	points := func(list []orb.Point) []orb.Point {
		out := make([]orb.Point, len(list))
		for i, p := range list {
			out[i] = to(p)
		}
		return out
	}
	rings := func(p orb.Polygon) orb.Polygon {
		out := make(orb.Polygon, len(p))
		for i, r := range p {
			out[i] = points(r)
		}
		return out
	}
	switch g := g.(type) {
	case orb.Point:
		return to(g)
	case orb.MultiPoint:
		return orb.MultiPoint(points(g))
	case orb.LineString:
		return orb.LineString(points(g))
	case orb.Ring:
		return orb.Ring(points(g))
	case orb.MultiLineString:
		out := make(orb.MultiLineString, len(g))
		for i, l := range g {
			out[i] = points(l)
		}
		return out
	case orb.Polygon:
		return rings(g)
	case orb.MultiPolygon:
		out := make(orb.MultiPolygon, len(g))
		for i, p := range g {
			out[i] = rings(p)
		}
		return out
	case orb.Collection:
		out := make(orb.Collection, 0, len(g))
		for _, part := range g {
			if m := move(part, to); m != nil {
				out = append(out, m)
			}
		}
		return out
	}
	return nil
}

// pathOf writes a line or an area of a drawing as path data; points closer than
// half a unit to the last are left out.
func pathOf(list []orb.Point, closed bool) string {
	b := &strings.Builder{}
	var last orb.Point
	for i, p := range list {
		if i > 0 && i < len(list)-1 && math.Hypot(p[0]-last[0], p[1]-last[1]) < 0.5 {
			continue
		}
		if closed && i == len(list)-1 {
			break // Z draws it
		}
		if i == 0 {
			b.WriteByte('M')
		} else {
			b.WriteByte('L')
		}
		b.WriteString(num(p[0]) + " " + num(p[1]))
		last = p
	}
	if closed && len(list) > 2 {
		b.WriteByte('Z')
	}
	return b.String()
}

// polygonPath is the path of an area with its holes.
func polygonPath(p orb.Polygon) string {
	data := ""
	for _, ring := range p {
		data += pathOf(ring, true)
	}
	return data
}

// target draws what shows of a target.
func (d *drawing) target(f *frame, t *inventory.Target) {
	d.shape(f.project(t.Geometry), lookOf(t.Kind, f.fineness()))
}

func (d *drawing) shape(g orb.Geometry, l look) {
	switch g := g.(type) {
	case orb.Point:
		d.path("M"+num(g[0])+" "+num(g[1]-4)+"l4 4l-4 4l-4 -4Z", `fill="`+l.point+`" stroke="`+ink+`" stroke-width="0.8"`)
	case orb.MultiPoint:
		for _, p := range g {
			d.shape(p, l)
		}
	case orb.LineString:
		d.path(pathOf(g, false), l.line)
	case orb.MultiLineString:
		for _, s := range g {
			d.shape(s, l)
		}
	case orb.Polygon:
		d.path(polygonPath(g), l.area+` fill-rule="evenodd"`)
	case orb.MultiPolygon:
		for _, p := range g {
			d.shape(p, l)
		}
	case orb.Collection:
		for _, part := range g {
			d.shape(part, l)
		}
	}
}

// drawOrder has areas that others lie on first.
var drawOrder = []inventory.TargetKind{inventory.Plaza, inventory.Other, inventory.Parking, inventory.Road, inventory.Playground, inventory.Seating,
	inventory.Walkway, inventory.Building, inventory.TransitStop, inventory.UtilityLine}

// targets draws all that shows, and returns the kinds that did, in their usual
// order.
func (d *drawing) targets(f *frame, list []inventory.Target) []inventory.TargetKind {
	byKind := map[inventory.TargetKind][]int{}
	for i := range list {
		if list[i].Geometry != nil {
			byKind[list[i].Kind] = append(byKind[list[i].Kind], i)
		}
	}
	shown := map[inventory.TargetKind]bool{}
	for _, kind := range drawOrder {
		for _, i := range byKind[kind] {
			before := d.Len()
			d.target(f, &list[i])
			shown[kind] = shown[kind] || d.Len() > before
		}
	}
	var kinds []inventory.TargetKind
	for _, k := range inventory.TargetKinds {
		if shown[k] {
			kinds = append(kinds, k)
		}
	}
	return kinds
}

// key draws a swatch and the word for each kind, in rows of at most width units,
// and returns where the next row would be.
func (d *drawing) key(x, y, width float64, kinds []inventory.TargetKind) float64 {
	left := x
	for _, k := range kinds {
		word := kindWord(k)
		w := 36 + 6.2*float64(len(word))
		if x > left && x+w > left+width {
			x, y = left, y+16
		}
		l := lookOf(k, 1)
		d.rect(x, y-8, 18, 10, l.area)
		d.text(x+9, y, "middle", `font-size="9" font-weight="bold"`, l.letter)
		d.text(x+22, y, "start", `font-size="11"`, word)
		x += w
	}
	return y + 16
}
