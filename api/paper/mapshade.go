package paper

import (
	"cmp"
	"math"
	"slices"

	"github.com/underbough/underbough/inventory"
)

// shadeInks are of one hue and darken evenly, so that a printer without colours
// keeps their order.
var shadeInks = [...]string{"#f6e9d6", "#ecc9a0", "#d99a63", "#b0662f", "#743a12"}

// shading is person-hours a year by square of ground.
type shading struct {
	side   float64 // metres
	sums   map[[2]int]float64
	breaks []float64 // the least of each class but the first
}

// squareUnits is the most that a square's side is in units of the drawing.
const squareUnits = 24.0

// shadingOf sums up weights by squares of a round side, north up, and parts the
// sums into classes by round figures, each a quarter of the next or so: a few
// places hold most.
func shadingOf(f *frame, list []Weight) shading {
	s := shading{side: roundLength(squareUnits / f.scale), sums: map[[2]int]float64{}}
	for _, w := range list {
		x, y := f.plane.ToPlane(w.Point)
		s.sums[[2]int{int(math.Floor(x / s.side)), int(math.Floor(y / s.side))}] += w.Hours
	}
	most := 0.0
	for _, v := range s.sums {
		most = max(most, v)
	}
	if most <= 0 {
		return s
	}
	b := roundLength(most / 2)
	for range len(shadeInks) - 1 {
		s.breaks = append(s.breaks, b)
		b = roundLength(b / 3)
	}
	slices.Reverse(s.breaks)
	return s
}

// class is the place of a sum among the classes.
func (s *shading) class(v float64) int {
	i, found := slices.BinarySearch(s.breaks, v)
	if found {
		i++
	}
	return i
}

func (d *drawing) squares(f *frame, s *shading) {
	keys := make([][2]int, 0, len(s.sums))
	for k, v := range s.sums {
		if v > 0 {
			keys = append(keys, k)
		}
	}
	slices.SortFunc(keys, func(a, b [2]int) int { return cmp.Or(cmp.Compare(a[1], b[1]), cmp.Compare(a[0], b[0])) })
	side := s.side * f.scale
	for _, k := range keys {
		d.rect(f.x0+float64(k[0])*side, f.y0-float64(k[1]+1)*side, side, side, `fill="`+shadeInks[s.class(s.sums[k])]+`" class="square"`)
	}
}

// shades draws the legend of the squares, in figures.
func (d *drawing) shades(x, y float64, s *shading) {
	side := num(s.side)
	if len(s.breaks) == 0 {
		d.text(x, y+8, "start", `font-size="11"`, "No person-hours were worked out under any tree.")
		return
	}
	title := "Person-hours a year under crowns and limbs, by square of " + side + " m"
	d.text(x, y+8, "start", `font-size="10.5"`, title)
	y += 17
	for i, fill := range shadeInks {
		word := ""
		switch {
		case i == 0:
			word = "under " + grouped(s.breaks[0])
		default:
			word = "from " + grouped(s.breaks[i-1])
		}
		d.rect(x, y-1, 12, 10, `fill="`+fill+`" stroke="`+softInk+`" stroke-width="0.5"`)
		d.text(x+15, y+8, "start", `font-size="10.5"`, word)
		x += 24 + 5.6*float64(len([]rune(word)))
	}
}

// quiet is how a kind is drawn beneath what a map is about; empty where it is
// left out.
func quiet(k inventory.TargetKind) look {
	switch k {
	case inventory.Road:
		return look{area: `fill="` + softInk + `" fill-opacity="0.25"`, line: `stroke="` + softInk + `" stroke-width="0.8" stroke-opacity="0.7"`}
	case inventory.Building:
		return look{area: `fill="` + softInk + `" fill-opacity="0.3"`, line: `stroke="` + softInk + `" stroke-width="0.6" stroke-opacity="0.5"`}
	case inventory.Parking, inventory.Playground, inventory.Plaza:
		return look{area: `stroke="` + ink + `" stroke-width="0.5" stroke-opacity="0.6"`, line: `stroke="` + ink + `" stroke-width="0.5" stroke-opacity="0.6" stroke-dasharray="3 1"`}
	}
	return look{}
}

// quietGround draws roads, buildings and the outlines of open places in thin grey
// over the squares, and returns the kinds that show.
func (d *drawing) quietGround(f *frame, list []inventory.Target) (kinds []inventory.TargetKind) {
	for _, kind := range drawOrder {
		l := quiet(kind)
		if l.area == "" {
			continue
		}
		before := d.Len()
		for i := range list {
			if g := f.project(list[i].Geometry); list[i].Kind == kind && g != nil && g.Dimensions() > 0 {
				d.shape(g, l)
			}
		}
		if d.Len() > before {
			kinds = append(kinds, kind)
		}
	}
	return kinds
}

// quietKey says what the thin grey of the ground is.
func (d *drawing) quietKey(x, y float64, kinds []inventory.TargetKind) {
	outlines := ""
	for _, k := range kinds {
		switch k {
		case inventory.Road:
			d.line(x, y-4, x+18, y-4, quiet(k).line)
			d.text(x+22, y, "start", `font-size="11"`, "road")
			x += 62
		case inventory.Building:
			d.rect(x, y-8, 18, 10, quiet(k).area)
			d.text(x+22, y, "start", `font-size="11"`, "building")
			x += 80
		default:
			if outlines != "" {
				outlines += ", "
			}
			outlines += kindWord(k)
		}
	}
	if outlines != "" {
		d.rect(x, y-8, 18, 10, quiet(inventory.Parking).area)
		d.text(x+22, y, "start", `font-size="11"`, outlines)
	}
}
