package paper

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// series is a line of a chart with a mark of its own.
type series struct {
	name   string
	values []float64
	dash   string
	mark   string // circle, square, triangle or none
	colour string
}

// The chart's own units.
const (
	chartWidth  = 640.0
	chartHeight = 300.0
	chartLeft   = 64.0
	chartRight  = 440.0
	chartTop    = 24.0
	chartBase   = 250.0
)

// lineChart draws values by year, from zero up, which is nothing taken off. Lines are told apart by dash and
// mark, and named where they end.
func lineChart(label, unit string, firstYear int, list []series) []byte {
	d := newDrawing(chartWidth, chartHeight, label)
	years, most := 0, 0.0
	for _, s := range list {
		years = max(years, len(s.values))
		for _, v := range s.values {
			most = max(most, v)
		}
	}
	if years == 0 {
		d.text(12, 30, "start", "", "No years are planned.")
		return d.end("")
	}
	step := roundLength(max(most, 1e-9) / 3)
	full := step * math.Ceil(most/step-1e-9)
	full = max(full, step)
	y := func(v float64) float64 { return chartBase - v/full*(chartBase-chartTop) }
	x := func(i int) float64 {
		if years == 1 {
			return (chartLeft + chartRight) / 2
		}
		return chartLeft + float64(i)*(chartRight-chartLeft)/float64(years-1)
	}
	d.text(6, 13, "start", "", unit)
	for i := 0; float64(i)*step <= full*(1+1e-9); i++ {
		v := float64(i) * step
		d.line(chartLeft, y(v), chartRight, y(v), `stroke="`+stone+`" stroke-width="0.8"`)
		d.text(chartLeft-6, y(v)+4, "end", "", axisFigure(v, step))
	}
	d.line(chartLeft, chartBase, chartRight, chartBase, `stroke="`+ink+`"`)
	for i := range years {
		d.line(x(i), chartBase, x(i), chartBase+4, `stroke="`+ink+`"`)
		d.text(x(i), chartBase+18, "middle", "", fmt.Sprint(firstYear+i))
	}
	d.text((chartLeft+chartRight)/2, chartBase+36, "middle", "", "end of the year")
	ends := make([]float64, len(list))
	for i, s := range list {
		d.series(s, x, y)
		ends[i] = chartBase
		if len(s.values) > 0 {
			ends[i] = y(s.values[len(s.values)-1])
		}
	}
	d.names(list, ends, x(years-1))
	return d.end("")
}

func (d *drawing) series(s series, x func(int) float64, y func(float64) float64) {
	data := ""
	for i, v := range s.values {
		data += map[bool]string{true: "M", false: "L"}[i == 0] + num(x(i)) + " " + num(y(v))
	}
	d.path(data, `stroke="`+s.colour+`" stroke-width="2"`+dashAttr(s.dash))
	for i, v := range s.values {
		d.mark(s, x(i), y(v))
	}
}

func dashAttr(dash string) string {
	if dash == "" {
		return ""
	}
	return ` stroke-dasharray="` + dash + `"`
}

func (d *drawing) mark(s series, x, y float64) {
	style := `fill="` + ground + `" stroke="` + s.colour + `" stroke-width="1.5"`
	switch s.mark {
	case "circle":
		d.circle(x, y, 4, `fill="`+s.colour+`"`)
	case "square":
		d.rect(x-3.5, y-3.5, 7, 7, style)
	case "triangle":
		d.path("M"+num(x)+" "+num(y-5)+"l4.5 8h-9Z", style)
	}
}

// names writes each line's name where it ends, in the order of the ends.
func (d *drawing) names(list []series, ends []float64, from float64) {
	order := make([]int, len(list))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(ends[a], ends[b]) })
	wanted := make([]float64, len(list))
	for i, k := range order {
		wanted[i] = ends[k]
	}
	for i, at := range spread(wanted, 16, chartTop, chartBase) {
		k := order[i]
		d.line(from+6, ends[k], chartRight+18, at, `stroke="`+list[k].colour+`" stroke-width="0.6"`)
		d.text(chartRight+22, at+4, "start", "", list[k].name)
	}
}

// axisFigure writes a figure of an axis with the digits that its steps need.
func axisFigure(v, step float64) string {
	digits := 0
	if step < 1 {
		digits = min(int(math.Ceil(-math.Log10(step)-1e-9)), 6)
	}
	return fixed(v, digits)
}
