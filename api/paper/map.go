package paper

import (
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
)

// MapInput is what a map shows.
type MapInput struct {
	Label   string // read aloud in the map's place
	Targets []inventory.Target
	Marks   []Mark // with a number and a line in the table beside the map
	// Dots are all other trees, drawn small.
	Dots []orb.Point
	// Weights are the person-hours a year at each tree. With any, the map is of
	// them: squares shaded by their sums, over a quiet ground, and no dots.
	Weights []Weight
}

// Weight is how many person-hours a year a tree stands over.
type Weight struct {
	Point orb.Point
	Hours float64
}

// Mark is a tree with a number on a map.
type Mark struct {
	Point  orb.Point
	Number string
}

// The map's own units.
const (
	mapWidth = 720.0
	mapLeast = 300.0 // heights
	mapMost  = 820.0
)

// Map draws the places of a site and its trees to scale, north up. Marks carry
// numbers that do not lie on one another; which is which stands in a table. Where
// there are neither marks nor dots, it shows the targets.
func Map(m *MapInput) []byte {
	f, height, ok := mapFrame(m)
	if !ok {
		d := newDrawing(mapWidth, 60, m.Label)
		d.text(12, 34, "start", `font-size="12"`, "Nothing with a place is recorded, so there is no map.")
		return d.end("")
	}
	foot := 66.0
	if len(m.Weights) > 0 {
		foot = 98
	}
	d := newDrawing(mapWidth, height+foot, m.Label)
	d.window(0, 0, mapWidth, height)
	d.rect(0, 0, mapWidth, height, `fill="#fdfcf8"`)
	var kinds []inventory.TargetKind
	var hours shading
	if len(m.Weights) > 0 {
		hours = shadingOf(&f, m.Weights)
		d.squares(&f, &hours)
		kinds = d.quietGround(&f, m.Targets)
	} else {
		kinds = d.targets(&f, m.Targets)
	}
	for _, p := range m.Dots {
		q := f.xy(p)
		d.circle(q[0], q[1], 0.8+f.fineness(), `fill="`+steel+`"`)
	}
	taken := d.marks(&f, m.Marks, height)
	if len(m.Weights) == 0 {
		d.letters(&f, m.Targets, taken)
	}
	d.endWindow()
	d.rect(0.4, 0.4, mapWidth-0.8, height-0.8, `stroke="`+softInk+`" stroke-width="0.8"`)
	d.northArrow(mapWidth-20, height+30)
	d.scaleBar(10, height+20, f.scale, 160)
	x := 200.0
	d.circle(x+5, height+18, 5, `fill="`+deep+`"`)
	d.text(x+15, height+21, "start", `font-size="11"`, "tree with its number")
	if len(m.Dots) > 0 {
		d.circle(x+150, height+18, 1.8, `fill="`+steel+`"`)
		d.text(x+157, height+21, "start", `font-size="11"`, "other tree")
	}
	if len(m.Weights) > 0 {
		d.quietKey(x, height+42, kinds)
		d.shades(10, height+64, &hours)
		return d.end("")
	}
	d.key(x, height+42, mapWidth-x-60, kinds)
	return d.end("")
}

// mapFrame fits the map to its trees with some ground about them.
func mapFrame(m *MapInput) (f frame, height float64, ok bool) {
	points := slices.Clone(m.Dots)
	for _, k := range m.Marks {
		points = append(points, k.Point)
	}
	for _, w := range m.Weights {
		points = append(points, w.Point)
	}
	if len(points) == 0 {
		for i := range m.Targets {
			if g := m.Targets[i].Geometry; g != nil {
				b := g.Bound()
				points = append(points, b.Min, b.Max)
			}
		}
	}
	if len(points) == 0 {
		return f, 0, false
	}
	// About any of them first, so that a site over the antimeridian is no world
	// wide; then about the middle.
	first := geo.NewPlane(points[0])
	box := boxOn(first, points)
	f.plane = geo.NewPlane(first.ToPoint((box.Min[0]+box.Max[0])/2, (box.Min[1]+box.Max[1])/2))
	box = boxOn(f.plane, points)
	// Some ground about the outer trees shows what they stand beside.
	margin := max(15, 0.06*max(box.Max[0]-box.Min[0], box.Max[1]-box.Min[1]))
	w, h := box.Max[0]-box.Min[0]+2*margin, box.Max[1]-box.Min[1]+2*margin
	f.scale = mapWidth / w
	height = max(h*f.scale, mapLeast)
	if height > mapMost {
		height = mapMost
		f.scale = min(f.scale, height/h)
	}
	f.x0 = mapWidth/2 - (box.Min[0]+box.Max[0])/2*f.scale
	f.y0 = height/2 + (box.Min[1]+box.Max[1])/2*f.scale
	f.view = orb.Bound{Max: orb.Point{mapWidth, height}}
	return f, height, true
}

// boxOn is the box of points on a plane.
func boxOn(p geo.Plane, points []orb.Point) orb.Bound {
	b := orb.Bound{Min: orb.Point{math.Inf(1), math.Inf(1)}, Max: orb.Point{math.Inf(-1), math.Inf(-1)}}
	for _, pt := range points {
		x, y := p.ToPlane(pt)
		b = orb.Bound{Min: orb.Point{min(b.Min[0], x), min(b.Min[1], y)}, Max: orb.Point{max(b.Max[0], x), max(b.Max[1], y)}}
	}
	return b
}

// halo writes in the middle of a place, legible over whatever is drawn there.
func (d *drawing) halo(x, y float64, style, text string) {
	fmt.Fprintf(d, `<text x="%s" y="%s" text-anchor="middle" fill="%s" stroke="%s" stroke-width="3" paint-order="stroke" %s>%s</text>`+"\n",
		num(x), num(y), ink, ground, style, escape(text))
}
