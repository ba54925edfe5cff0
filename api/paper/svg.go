package paper

import (
	"encoding/xml"
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// The inks of every drawing. They differ in lightness, and whatever they tell
// apart a shape, a dash or a letter tells apart too: a printer without colours
// and an eye without hues read the same.
const (
	ink     = "#1d2733"
	softInk = "#5b6875"
	ground  = "#ffffff"
	pale    = "#efece3"
	stone   = "#cdc6b6"
	solid   = "#8d8577"
	bark    = "#6b5a48"
	leaf    = "#dfe6dc"
	cutInk  = "#8a3a10"
	deep    = "#14305f"
	steel   = "#7fa3b8"
)

const drawingFont = `'Liberation Sans',Arial,Helvetica,sans-serif`

// drawing is an SVG under way, in its own units.
type drawing struct {
	strings.Builder
	head string
}

// newDrawing begins a drawing. The label is what is read aloud in its place. A
// drawing uses no ids: several stand in one document.
func newDrawing(w, h float64, label string) *drawing {
	d := &drawing{}
	d.head = fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" xml:lang="en" width="%[1]s" height="%[2]s" viewBox="0 0 %[1]s %[2]s" role="img" aria-label="%[3]s" font-family="%[4]s" font-size="12" fill="none" stroke-linejoin="round">`,
		num(w), num(h), escape(label), drawingFont) + "<title>" + escape(label) + "</title>"
	d.rect(0, 0, w, h, `fill="`+ground+`"`)
	return d
}

// end closes the drawing. The legend is what it cannot say in lines; a page prints
// it beneath.
func (d *drawing) end(legend string) []byte {
	desc := ""
	if legend != "" {
		desc = "<desc>" + escape(legend) + "</desc>"
	}
	return []byte(d.head + desc + "\n" + d.String() + "</svg>\n")
}

// window begins a part of the drawing that hides what runs over its edges.
func (d *drawing) window(x, y, w, h float64) {
	fmt.Fprintf(d, `<svg x="%[1]s" y="%[2]s" width="%[3]s" height="%[4]s" viewBox="%[1]s %[2]s %[3]s %[4]s" overflow="hidden">`+"\n", num(x), num(y), num(w), num(h))
}

func (d *drawing) endWindow() { d.WriteString("</svg>\n") }

// line draws from point to point; style is attributes.
func (d *drawing) line(x1, y1, x2, y2 float64, style string) {
	fmt.Fprintf(d, `<path d="M%s %sL%s %s" %s/>`+"\n", num(x1), num(y1), num(x2), num(y2), style)
}

func (d *drawing) path(data, style string) {
	if data != "" {
		fmt.Fprintf(d, `<path d="%s" %s/>`+"\n", data, style)
	}
}

func (d *drawing) circle(x, y, r float64, style string) {
	fmt.Fprintf(d, `<circle cx="%s" cy="%s" r="%s" %s/>`+"\n", num(x), num(y), num(r), style)
}

func (d *drawing) rect(x, y, w, h float64, style string) {
	fmt.Fprintf(d, `<rect x="%s" y="%s" width="%s" height="%s" %s/>`+"\n", num(x), num(y), num(w), num(h), style)
}

// text writes with its baseline at y; anchor is start, middle or end.
func (d *drawing) text(x, y float64, anchor, style, text string) {
	if anchor != "start" {
		style = `text-anchor="` + anchor + `" ` + style
	}
	fmt.Fprintf(d, `<text x="%s" y="%s" fill="%s" %s>%s</text>`+"\n", num(x), num(y), ink, strings.TrimSpace(style), escape(text))
}

// inHTML marks a drawing as markup. All that comes from data in it was escaped as
// it was drawn.
func inHTML(svg []byte) template.HTML { return template.HTML(svg) } //nolint:gosec // see above

// num writes a measure to a hundredth, without needless digits, so that the last
// bits of a sum do not change the bytes.
func num(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "0"
	}
	s := strconv.FormatFloat(v, 'f', 2, 64)
	s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	if s == "-0" || s == "" {
		return "0"
	}
	return s
}

// escape makes a text fit for XML: what XML has no room for becomes a sign for
// it.
func escape(s string) string {
	b := &strings.Builder{}
	xml.EscapeText(b, []byte(plain(s))) // a Builder takes everything
	return b.String()
}

// plain keeps a name from data on its line and in its direction: line breaks and
// other control characters, and those that turn the direction of writing, become
// spaces.
func plain(s string) string {
	clean := true
	for _, r := range s {
		clean = clean && !turns(r) && r != utf8.RuneError
	}
	if clean {
		return s
	}
	return strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if turns(r) || r == utf8.RuneError {
			return ' '
		}
		return r
	}, s)), " ")
}

func turns(r rune) bool {
	return unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || r == '\u061c' || r == '\u200e' || r == '\u200f' ||
		r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069'
}

// roundLength is the longest of 1, 2 and 5 times a power of ten that is no longer
// than most.
func roundLength(most float64) float64 {
	if !(most > 0) || math.IsInf(most, 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(most)))
	for _, step := range []float64{5, 2} {
		if step*power <= most*(1+1e-9) {
			return step * power
		}
	}
	return power
}

// scaleBar draws a bar of a round length; perMetre is units to the metre.
func (d *drawing) scaleBar(x, y, perMetre, most float64) {
	length := roundLength(most / perMetre)
	w := length * perMetre
	d.rect(x, y, w, 4, `fill="`+ground+`" stroke="`+ink+`" stroke-width="0.8"`)
	d.rect(x, y, w/2, 4, `fill="`+ink+`"`)
	d.text(x, y-3, "start", `font-size="11"`, "0")
	d.text(x+w, y-3, "middle", `font-size="11"`, num(length)+" m")
}

// northArrow points up, with its middle at x, y.
func (d *drawing) northArrow(x, y float64) {
	d.path(fmt.Sprintf("M%s %sL%s %sL%s %sL%s %sZ", num(x), num(y-12), num(x+5), num(y+6), num(x), num(y+2), num(x-5), num(y+6)), `fill="`+ink+`"`)
	d.text(x, y-14, "middle", `font-size="12" font-weight="bold"`, "N")
}
