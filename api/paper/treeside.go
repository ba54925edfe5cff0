package paper

import (
	"fmt"
	"math"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
)

// The side view's own units.
const (
	sideWidth  = 400.0
	sideHeight = 370.0
	sideTop    = 14.0
	sideGround = 330.0 // where the ground is drawn
	sideMargin = 80.0  // for the signs, left and right
)

// crownBase is where the drawn crown begins, as a share of the height. It is not
// recorded, and the drawing says so.
const crownBase = 0.3

// side is a side view under way.
type side struct {
	*drawing
	tree     *Tree
	scale    float64 // units to the metre
	middle   float64
	fromEast bool // seen from the east, else from the south
	pins     pins
	guessed  []string // what the drawing had to assume, for the legend
}

// SideView draws a tree to scale as seen from the south or the east, whichever
// shows more of its cuts: the stem, the crown, the old cuts with what has grown
// there, and the instructions of one visit by their numbers. What is not recorded
// is drawn dashed and named in the legend.
func SideView(t *Tree, items []pruning.Item) []byte {
	svg, _ := sideView(t, items)
	return svg
}

// sideView draws, and gives the legend to print beneath.
func sideView(t *Tree, items []pruning.Item) (svg []byte, legend string) {
	v := &side{tree: t, middle: sideWidth / 2}
	v.drawing = newDrawing(sideWidth, sideHeight, v.label(items))
	v.look(items)
	v.fit(items)
	v.scenery()
	v.crown()
	v.stem()
	for i := range t.Cuts[:min(len(t.Cuts), mostDrawn)] {
		v.cut(i)
	}
	for i := range items {
		v.item(i, &items[i])
	}
	v.pins.drawBeside(v.drawing, sideMargin-14, sideWidth-sideMargin+14, sideTop+4, sideGround-6, v.middle)
	legend = v.legend()
	return v.end(legend), legend
}

func (v *side) label(items []pruning.Item) string {
	t := v.tree
	return fmt.Sprintf("Tree %s from the side: %s high, crown radius %s, %s, %s", plain(t.Label()),
		metres(t.Size.Height, t.Size.HeightEstimated()), metres(t.Size.CrownRadius, t.Size.CrownRadiusEstimated()),
		count(len(t.Cuts), "old cut"), count(len(items), "instruction"))
}

// look chooses the side that spreads the cuts more.
func (v *side) look(items []pruning.Item) {
	east, north := 0.0, 0.0
	add := func(s spot) {
		if s.bearing.OK {
			sin, cos := math.Sincos(s.bearing.V * math.Pi / 180)
			reach := s.reach.V
			if !s.reach.OK {
				reach = v.tree.Size.CrownRadius / 2
			}
			east, north = east+math.Abs(sin)*reach, north+math.Abs(cos)*reach
		}
	}
	for i := range v.tree.Cuts {
		c := &v.tree.Cuts[i]
		add(spot{c.Height, c.Reach, c.Bearing})
	}
	for i := range items {
		add(spotOf(&items[i], v.tree.Cuts))
	}
	v.fromEast = north > east*(1+1e-9)
}

// fit finds the scale that shows the whole tree.
func (v *side) fit(items []pruning.Item) {
	high, wide := max(v.tree.Size.Height, 1), max(v.tree.Size.CrownRadius, 0.5)
	see := func(s spot) { high, wide = max(high, s.height.V), max(wide, s.reach.V) }
	for i := range v.tree.Cuts[:min(len(v.tree.Cuts), mostDrawn)] {
		c := &v.tree.Cuts[i]
		see(spot{c.Height, c.Reach, c.Bearing})
	}
	for i := range items {
		see(spotOf(&items[i], v.tree.Cuts))
	}
	v.scale = min((sideGround-sideTop)/high, (sideWidth-2*sideMargin-12)/2/wide)
}

// sx and sy place a point: metres to the right of the stem, metres up.
func (v *side) sx(x float64) float64 { return v.middle + x*v.scale }
func (v *side) sy(y float64) float64 { return sideGround - y*v.scale }

func (v *side) scenery() {
	left, right := "west", "east"
	if v.fromEast {
		left, right = "south", "north"
	}
	v.line(sideMargin-50, sideGround, sideWidth-sideMargin+50, sideGround, `stroke="`+solid+`" stroke-width="1.5"`)
	v.text(sideMargin-50, sideGround+14, "start", ``, left)
	v.text(sideWidth-sideMargin+50, sideGround+14, "end", ``, right)
	// A staff of metres beside the tree gives heights at a glance.
	x, step := 14.0, roundLength(v.tree.Size.Height/3)
	v.line(x, v.sy(0), x, v.sy(max(v.tree.Size.Height, step)), `stroke="`+softInk+`" stroke-width="0.8"`)
	for m := 0.0; m <= max(v.tree.Size.Height, step)+1e-9; m += step {
		v.line(x-3, v.sy(m), x+3, v.sy(m), `stroke="`+softInk+`" stroke-width="0.8"`)
		v.text(x+5, v.sy(m)-1.5, "start", `font-size="11"`, num(m)+" m")
	}
	v.scaleBar(sideWidth/2-50, sideGround+26, v.scale, 110)
}

func dashed(yes bool) string {
	if yes {
		return ` stroke-dasharray="5 3"`
	}
	return ""
}

func (v *side) crown() {
	t := v.tree
	top, base, r := t.Size.Height, t.Size.Height*crownBase, t.Size.CrownRadius
	if t.Status == inventory.Dead {
		v.guessed = append(v.guessed, "what is left of the dead crown")
	}
	fill := leaf
	if t.Status == inventory.Dead {
		fill = "none"
	}
	// An even form, widest a little below its middle.
	wide := base + (top-base)*0.42
	data := fmt.Sprintf("M%s %sC%s %s %s %s %s %sC%s %s %s %s %s %sC%s %s %s %s %s %sC%s %s %s %s %s %sZ",
		num(v.sx(0)), num(v.sy(top)),
		num(v.sx(r*0.6)), num(v.sy(top)), num(v.sx(r)), num(v.sy(wide+(top-wide)*0.6)), num(v.sx(r)), num(v.sy(wide)),
		num(v.sx(r)), num(v.sy(wide-(wide-base)*0.6)), num(v.sx(r*0.55)), num(v.sy(base)), num(v.sx(0)), num(v.sy(base)),
		num(v.sx(-r*0.55)), num(v.sy(base)), num(v.sx(-r)), num(v.sy(wide-(wide-base)*0.6)), num(v.sx(-r)), num(v.sy(wide)),
		num(v.sx(-r)), num(v.sy(wide+(top-wide)*0.6)), num(v.sx(-r*0.6)), num(v.sy(top)), num(v.sx(0)), num(v.sy(top)))
	estimated := t.Size.HeightEstimated() || t.Size.CrownRadiusEstimated()
	v.path(data, `fill="`+fill+`" stroke="`+softInk+`"`+dashed(estimated))
	switch {
	case t.Size.HeightEstimated() && t.Size.CrownRadiusEstimated():
		v.guessed = append(v.guessed, "height and crown radius (estimated, dashed)")
	case t.Size.HeightEstimated():
		v.guessed = append(v.guessed, "height (estimated, dashed)")
	case t.Size.CrownRadiusEstimated():
		v.guessed = append(v.guessed, "crown radius (estimated, dashed)")
	}
}

// stem draws the trunk up to the middle of the crown, tapering.
func (v *side) stem() {
	d := v.tree.DBH.V
	if !v.tree.DBH.OK {
		d = v.tree.Size.Height / 40
		v.guessed = append(v.guessed, "stem diameter (dashed)")
	}
	half, top := max(d/2*v.scale, 1.2), v.tree.Size.Height*0.72
	style := `fill="` + bark + `" fill-opacity="0.55" stroke="` + bark + `" stroke-width="0.8"`
	if !v.tree.DBH.OK {
		style = `stroke="` + bark + `"` + dashed(true)
	}
	v.path(fmt.Sprintf("M%s %sL%s %sL%s %sL%s %sZ", num(v.middle-half), num(v.sy(0)), num(v.middle-half*0.3), num(v.sy(top)),
		num(v.middle+half*0.3), num(v.sy(top)), num(v.middle+half), num(v.sy(0))), style)
}
