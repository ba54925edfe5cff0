package paper

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/pruning"
)

// The plan view's own units.
const (
	planWidth  = 400.0
	planHeight = 370.0
	planLeft   = 45.0 // of the square of ground
	planTop    = 8.0
	planSide   = 310.0
)

// plan is a plan view under way.
type plan struct {
	*drawing
	frame
	tree *Tree
	open []string // signs that have no place in it
}

// PlanView draws a tree from above to scale, north up: what lies beneath it, the
// crown or the ground that its parts can reach, the limbs with old cuts, and the
// instructions of one visit by their numbers. What is not recorded is drawn
// dashed or named in the legend.
func PlanView(t *Tree, items []pruning.Item, targets []inventory.Target) []byte {
	svg, _ := planView(t, items, targets)
	return svg
}

// planView draws, and gives the legend to print beneath.
func planView(t *Tree, items []pruning.Item, targets []inventory.Target) (svg []byte, legend string) {
	label := fmt.Sprintf("Tree %s from above, north up, over the places beneath", plain(t.Label()))
	v := &plan{drawing: newDrawing(planWidth, planHeight, label), tree: t}
	v.frame = frame{plane: geo.NewPlane(t.Point), scale: planSide / 2 / v.reach(items), x0: planLeft + planSide/2, y0: planTop + planSide/2,
		view: orb.Bound{Min: orb.Point{planLeft, planTop}, Max: orb.Point{planLeft + planSide, planTop + planSide}}}
	v.window(planLeft, planTop, planSide, planSide)
	v.rect(planLeft, planTop, planSide, planSide, `fill="#fdfcf8"`)
	kinds := v.targets(&v.frame, targets)
	v.crown()
	for i := range t.Cuts[:min(len(t.Cuts), mostDrawn)] {
		v.limb(i)
	}
	v.circle(v.x0, v.y0, max(t.DBH.V/2*v.scale, 2.5), `fill="`+bark+`" stroke="`+ink+`" stroke-width="0.8"`)
	v.endWindow()
	v.rect(planLeft, planTop, planSide, planSide, `stroke="`+softInk+`" stroke-width="0.8"`)
	v.letters(&v.frame, targets, v.signs(items))
	v.northArrow(planLeft+planSide+26, planTop+34)
	v.scaleBar(planLeft, planTop+planSide+22, v.scale, 100)
	v.key(planLeft+130, planTop+planSide+22, planSide-90, kinds)
	legend = v.legend()
	return v.end(legend), legend
}

// reach is how many metres the drawing shows from the tree to each side.
func (v *plan) reach(items []pruning.Item) float64 {
	t := v.tree
	reach := max(t.Size.CrownRadius, 2)
	if z, err := geo.Outline(t.Crown, t.Point); err == nil {
		reach = max(reach, z.Radius)
	}
	for _, z := range t.Zones {
		if z.Part != exposure.WholeTree {
			reach = max(reach, z.Zone.Radius)
		}
	}
	for i := range t.Cuts {
		reach = max(reach, t.Cuts[i].Reach.V)
	}
	for i := range items {
		reach = max(reach, items[i].Reach.V)
	}
	return min(reach, 200) * 1.3
}

// crown draws the ground of the parts: as given, else the outline or a disc.
func (v *plan) crown() {
	t := v.tree
	style := `fill="` + leaf + `" fill-opacity="0.45" stroke="` + ink + `" stroke-width="1.2"`
	crown, limbs := false, []exposure.TreeZone(nil)
	for _, z := range t.Zones {
		switch z.Part {
		case exposure.Crown:
			v.zone(z.Zone, style+dashed(!z.Zone.IsOutline() && t.Size.CrownRadiusEstimated()))
			crown = true
		case exposure.Limb:
			limbs = append(limbs, z)
		}
	}
	if !crown {
		z, err := geo.Outline(t.Crown, t.Point)
		estimated := false
		if err != nil {
			z, estimated = geo.Disc(t.Size.CrownRadius), t.Size.CrownRadiusEstimated()
		}
		v.zone(z, style+dashed(estimated))
	}
	for _, z := range limbs {
		v.zone(z.Zone, `fill="`+cutInk+`" fill-opacity="0.16" stroke="`+cutInk+`" stroke-width="1"`+dashed(z.RegrowthEstimated))
	}
}

func (v *plan) zone(z geo.Zone, style string) {
	if z.Radius <= 0 {
		return
	}
	v.shape(v.project(z.Polygon(v.tree.Point, 72)), look{area: style})
}

// limb draws the limb of an old cut from the stem to the cut.
func (v *plan) limb(i int) {
	c := &v.tree.Cuts[i]
	if !c.Bearing.OK {
		return
	}
	sin, cos := math.Sincos(c.Bearing.V * math.Pi / 180)
	reach := c.Reach.V
	if !c.Reach.OK {
		reach = v.tree.Size.CrownRadius * 0.5
	}
	x, y := v.x0+reach*sin*v.scale, v.y0-reach*cos*v.scale
	v.line(v.x0, v.y0, x, y, `stroke="`+bark+`" stroke-width="2"`+dashed(!c.Reach.OK))
	fill := ground
	if c.Decay.OK && c.Decay.V {
		fill = ink
	}
	v.rect(x-3, y-3, 6, 6, `fill="`+fill+`" stroke="`+ink+`" stroke-width="0.9"`)
}

// edgeSign is a sign on its way to a place at the edge.
type edgeSign struct {
	bearing float64
	x, y    float64 // of what it is about
	sign    sign
}

// signs puts the signs of what has a bearing about the crown's edge, each with a
// line to its place, and returns what they and the stem cover.
func (v *plan) signs(items []pruning.Item) (taken []orb.Bound) {
	var list []edgeSign
	add := func(s spot, sg sign) {
		if !s.bearing.OK {
			v.open = append(v.open, sg.text)
			return
		}
		reach := s.reach.V
		if !s.reach.OK {
			reach = v.tree.Size.CrownRadius * 0.5
		}
		b := math.Mod(math.Mod(s.bearing.V, 360)+360, 360)
		sin, cos := math.Sincos(b * math.Pi / 180)
		list = append(list, edgeSign{b, v.x0 + reach*sin*v.scale, v.y0 - reach*cos*v.scale, sg})
	}
	for i := range v.tree.Cuts[:min(len(v.tree.Cuts), mostDrawn)] {
		c := &v.tree.Cuts[i]
		add(spot{c.Height, c.Reach, c.Bearing}, sign{cutLetter(i), false})
	}
	for i := range items {
		add(spotOf(&items[i], v.tree.Cuts), itemSign(i))
	}
	sort.SliceStable(list, func(a, b int) bool { return list[a].bearing < list[b].bearing })
	ring := planSide/2 - 12
	wanted := make([]float64, len(list))
	for i := range list {
		wanted[i] = list[i].bearing
	}
	step := (signSize + 1) / ring * 180 / math.Pi
	for i, b := range spread(wanted, step, 0, 360-step) {
		sin, cos := math.Sincos(b * math.Pi / 180)
		x, y := v.x0+ring*sin, v.y0-ring*cos
		v.line(list[i].x, list[i].y, x, y, `stroke="`+softInk+`" stroke-width="0.6"`)
		list[i].sign.draw(v.drawing, x, y)
		taken = append(taken, around(orb.Point{x, y}, signSize/2))
	}
	return append(taken, around(orb.Point{v.x0, v.y0}, planSide/6))
}

func (v *plan) legend() string {
	text := "North is up."
	if len(v.tree.Cuts) > 0 {
		text += " Square: old cut, black where decay was seen."
	}
	limbs := slices.ContainsFunc(v.tree.Zones, func(z exposure.TreeZone) bool { return z.Part == exposure.Limb })
	if limbs {
		text += " Sectors: ground that limbs with old cuts can reach."
	}
	if v.tree.Size.CrownRadiusEstimated() {
		text += " The crown's radius is estimated (dashed)."
	}
	if len(v.open) > 0 {
		text += " No bearing is recorded, so not placed here: " + strings.Join(v.open, ", ") + "."
	}
	return text
}
