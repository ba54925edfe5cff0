package paper

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
)

// A sign is what a drawing and the list beside it call one thing by: a number in
// a circle for an instruction, a letter in a box for an old cut.
type sign struct {
	text string
	item bool
}

// itemSign is the sign of the i-th instruction of a visit, from 0.
func itemSign(i int) sign { return sign{fmt.Sprint(i + 1), true} }

// cutLetter is the sign of the i-th old cut, from 0: a to z, then aa, ab.
func cutLetter(i int) string {
	text := ""
	for i++; i > 0; i = (i - 1) / 26 {
		text = string(rune('a'+(i-1)%26)) + text
	}
	return text
}

const signSize = 18.0

// draw puts the sign with its middle at x, y.
func (s sign) draw(d *drawing, x, y float64) {
	if s.item {
		d.circle(x, y, signSize/2-0.5, `fill="`+cutInk+`" class="item"`)
		fmt.Fprintf(d, `<text x="%s" y="%s" text-anchor="middle" font-weight="bold" fill="#ffffff">%s</text>`+"\n", num(x), num(y+4.3), escape(s.text))
		return
	}
	d.rect(x-signSize/2+0.5, y-signSize/2+0.5, signSize-1, signSize-1, `fill="`+ground+`" stroke="`+ink+`" class="cut"`)
	d.text(x, y+4, "middle", "", s.text)
}

// pin is a place in a drawing with the signs that belong there.
type pin struct {
	x, y  float64
	known bool // recorded; else drawn where there is room for it
	signs []sign
}

// pins gathers the old cuts and the instructions by their places. Instructions
// about an old cut stand with it; where is the place of each, in drawing units.
type pins struct{ list []pin }

func (p *pins) at(x, y float64, known bool, s sign) {
	for i := range p.list {
		if q := &p.list[i]; math.Abs(q.x-x) < 0.5 && math.Abs(q.y-y) < 0.5 {
			q.known = q.known && known
			q.signs = append(q.signs, s)
			return
		}
	}
	p.list = append(p.list, pin{x, y, known, []sign{s}})
}

// mostInRow signs stand side by side.
const mostInRow = 4

// drawBeside puts the signs into columns left and right of the picture, in order
// from above, with a thin line from each to its place.
func (p *pins) drawBeside(d *drawing, left, right, top, bottom, middle float64) {
	var sides [2][]pin
	for _, q := range p.list {
		for from := 0; from < len(q.signs); from += mostInRow {
			part := q
			part.signs = q.signs[from:min(from+mostInRow, len(q.signs))]
			side := 0
			if q.x > middle || q.x == middle && len(sides[1]) < len(sides[0]) {
				side = 1
			}
			sides[side] = append(sides[side], part)
		}
	}
	most := max(int((bottom-top)/(signSize+1)), 1)
	for side := range sides {
		// What one side has no room for goes to the other.
		for len(sides[side]) > most && len(sides[1-side]) < most {
			last := len(sides[side]) - 1
			sides[1-side], sides[side] = append(sides[1-side], sides[side][last]), sides[side][:last]
		}
	}
	for side, list := range sides {
		slices.SortStableFunc(list, func(a, b pin) int { return cmp.Compare(a.y, b.y) })
		wanted := make([]float64, len(list))
		for i := range list {
			wanted[i] = list[i].y
		}
		ys := spread(wanted, signSize+1, top, bottom)
		for i := range list {
			x, step := left, -signSize
			if side == 1 {
				x, step = right, signSize
			}
			dash := ""
			if !list[i].known {
				dash = ` stroke-dasharray="2 2"`
			}
			d.line(list[i].x, list[i].y, x-step/2, ys[i], `stroke="`+softInk+`" stroke-width="0.6"`+dash)
			for k, s := range list[i].signs {
				s.draw(d, x+float64(k)*step, ys[i])
			}
		}
	}
}

// spread moves positions, given in order, as little as it takes to be step apart
// within from and to; where there is no room they are squeezed.
func spread(wanted []float64, step, from, to float64) []float64 {
	n := len(wanted)
	if n == 0 {
		return nil
	}
	if n > 1 {
		step = min(step, (to-from)/float64(n-1))
	}
	out := slices.Clone(wanted)
	low := from
	for i := range out {
		out[i] = max(out[i], low)
		low = out[i] + step
	}
	high := to
	for i := n - 1; i >= 0; i-- {
		out[i] = min(out[i], high)
		high = out[i] - step
	}
	return out
}

// mostDrawn old cuts are drawn; the list has them all.
const mostDrawn = 40

// cutAt finds an old cut's place in the tree's list, or -1.
func cutAt(cuts []inventory.Cut, id inventory.CutID) int {
	if id == 0 {
		return -1
	}
	return slices.IndexFunc(cuts, func(c inventory.Cut) bool { return c.ID == id })
}

// spot is where in the tree something is: metres and degrees, each as recorded.
type spot struct {
	height, reach, bearing inventory.Opt[float64]
}

// spotOf is where an instruction is carried out: its own place, and what that
// leaves open from its old cut's.
func spotOf(it *pruning.Item, cuts []inventory.Cut) spot {
	s := spot{it.Height, it.Reach, it.Bearing}
	if i := cutAt(cuts, it.OnCut); i >= 0 {
		c := &cuts[i]
		s = spot{or(s.height, c.Height), or(s.reach, c.Reach), or(s.bearing, c.Bearing)}
	}
	return s
}

func or(a, b inventory.Opt[float64]) inventory.Opt[float64] {
	if a.OK {
		return a
	}
	return b
}
