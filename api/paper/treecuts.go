package paper

import (
	"fmt"
	"math"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
)

// place finds where to draw a spot, in metres right of the stem and up, and
// whether all of it is recorded. What is missing is spread by i, so that marks do
// not lie on one another.
func (v *side) place(s spot, i int) (x, y float64, known bool) {
	y = s.height.V
	if !s.height.OK {
		y = v.tree.Size.Height * (0.5 + 0.06*float64(i%6))
	}
	reach := s.reach.V
	if !s.reach.OK {
		reach = v.tree.Size.CrownRadius * 0.5
	}
	bearing := s.bearing.V
	if !s.bearing.OK {
		bearing = float64(60 + 137*i%360)
	}
	sin, cos := math.Sincos(bearing * math.Pi / 180)
	x = reach * sin
	if v.fromEast {
		x = reach * cos
	}
	return x, y, s.height.OK && s.reach.OK && s.bearing.OK
}

// cut draws an old cut: the limb that was cut, the wound, and what has grown.
func (v *side) cut(i int) {
	c := &v.tree.Cuts[i]
	x, y, known := v.place(spot{c.Height, c.Reach, c.Bearing}, i)
	// The limb leaves the stem below its end; where is not recorded.
	reach := c.Reach.V
	if !c.Reach.OK {
		reach = v.tree.Size.CrownRadius * 0.5
	}
	root := min(max(y-0.6*reach, v.tree.Size.Height*0.15), y)
	width := 1.6
	if c.Diameter.OK {
		width = min(max(c.Diameter.V*v.scale, 1.6), 9)
	}
	v.path(fmt.Sprintf("M%s %sQ%s %s %s %s", num(v.sx(0)), num(v.sy(root)), num(v.sx(x*0.6)), num(v.sy(root+(y-root)*0.35)), num(v.sx(x)), num(v.sy(y))),
		`stroke="`+bark+`" stroke-width="`+num(width)+`"`+dashed(!known))
	v.shoots(c, x, y)
	v.wound(c, v.sx(x), v.sy(y), max(width, 4))
	v.pins.at(v.sx(x), v.sy(y), known, sign{cutLetter(i), false})
	if !known {
		v.guess("part of where a cut is (dashed)")
	}
}

// wound marks the old cut itself: a bar, filled where decay was seen.
func (v *side) wound(c *inventory.Cut, x, y, size float64) {
	fill := ground
	if c.Decay.OK && c.Decay.V {
		fill = ink
	}
	v.rect(x-size/2-1, y-2.5, size+2, 5, `fill="`+fill+`" stroke="`+ink+`" stroke-width="0.9"`)
}

// shoots draws what has grown at a cut since, as long as it was measured.
func (v *side) shoots(c *inventory.Cut, x, y float64) {
	if !c.RegrowthLength.OK || c.RegrowthLength.V <= 0 {
		return
	}
	n, counted := 3, c.RegrowthCount.OK
	if counted {
		n = min(max(c.RegrowthCount.V, 1), 7)
	}
	length := c.RegrowthLength.V
	b := &strings.Builder{}
	for k := range n {
		angle := 0.0
		if n > 1 {
			angle = (float64(k)/float64(n-1) - 0.5) * 1.1
		}
		sin, cos := math.Sincos(angle)
		reach := length
		if n > 2 && k%2 == 1 {
			reach *= 0.8 // only the longest is measured
		}
		fmt.Fprintf(b, "M%s %sL%s %s", num(v.sx(x)), num(v.sy(y)), num(v.sx(x+reach*sin)), num(v.sy(y+reach*cos)))
	}
	v.path(b.String(), `stroke="`+softInk+`" stroke-width="1.1"`+dashed(!counted))
	if !counted {
		v.guess("how many shoots there are (dashed)")
	}
}

// item marks an instruction.
func (v *side) item(i int, it *pruning.Item) {
	s := spotOf(it, v.tree.Cuts)
	if k := cutAt(v.tree.Cuts, it.OnCut); k >= 0 && k < mostDrawn {
		x, y, known := v.place(s, k)
		v.mark(it, v.sx(x), v.sy(y))
		v.pins.at(v.sx(x), v.sy(y), known, itemSign(i))
		return
	}
	if s.height.OK || s.reach.OK || s.bearing.OK {
		x, y, known := v.place(s, len(v.tree.Cuts)+i)
		v.mark(it, v.sx(x), v.sy(y))
		v.pins.at(v.sx(x), v.sy(y), known, itemSign(i))
		return
	}
	// No one place: by the part of the crown that it is about.
	h, r := v.tree.Size.Height, v.tree.Size.CrownRadius
	x, y := 0.0, h*0.9
	switch it.Place {
	case pruning.UpperCrown:
		y = h * 0.8
	case pruning.LimbEnd:
		x, y = r*0.85, h*0.62
	case pruning.LimbInside:
		x, y = r*0.3, h*0.45
	case pruning.OverTarget:
		x, y = r*0.8, h*0.42
	case pruning.AtOldCut:
		x, y = -r*0.4, h*0.55
	}
	v.pins.at(v.sx(x), v.sy(y), false, itemSign(i))
	v.guess("the one place of a number with a dashed line")
}

// mark draws where the saw goes: two strokes across the limb.
func (v *side) mark(it *pruning.Item, x, y float64) {
	if it.Cut == "" {
		return
	}
	y -= 7
	v.path(fmt.Sprintf("M%s %sl10 -4M%s %sl10 -4", num(x-5), num(y+2), num(x-5), num(y+5)), `stroke="`+cutInk+`" stroke-width="1.6"`)
}

// guess adds to the legend what is not recorded, once.
func (v *side) guess(what string) {
	for _, g := range v.guessed {
		if g == what {
			return
		}
	}
	v.guessed = append(v.guessed, what)
}

// legend says what the signs are and what is not recorded.
func (v *side) legend() string {
	from := "south"
	if v.fromEast {
		from = "east"
	}
	text := "Seen from the " + from + ". Number: instruction; two strokes: a cut."
	if len(v.tree.Cuts) > 0 {
		text += " Letter: old cut, black where decay was seen."
	}
	if n := len(v.tree.Cuts) - mostDrawn; n > 0 {
		text += fmt.Sprintf(" %s more in the table.", count(n, "old cut"))
	}
	assumed := append([]string{"crown form and base"}, v.guessed...)
	return text + " Not recorded, for orientation only: " + strings.Join(assumed, "; ") + "."
}
