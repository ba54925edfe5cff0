package api

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/xml"
	"fmt"
	"math"
	"net/http"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// chartStyle holds two shades of each colour, for light and dark. The colours of
// the bars differ in lightness too, for eyes and printers that see no hue.
const chartStyle = `
svg { color-scheme: light dark; --ink: #1d2733; --soft: #5b6875; --paper: #fbfaf6; --line: #d5d0c4; --open: #1f5f99; --driven: #e3a13a }
@media (prefers-color-scheme: dark) { svg { --ink: #e6e3da; --soft: #a3abb3; --paper: #1b2128; --line: #37404a; --open: #93c6ee; --driven: #c47a22 } }
text { font: 10px "Liberation Sans", Arial, Helvetica, sans-serif; fill: var(--soft) }
.name { font-size: 12px; font-weight: bold; fill: var(--ink) }
.day { font-size: 11px; fill: var(--ink) }
.paper { fill: var(--paper) }
.line { stroke: var(--line); fill: none }
.base { stroke: var(--soft); fill: none }
.open { fill: var(--open) }
.driven { fill: var(--driven) }
.quiet, .peak { fill: var(--ink) }
`

// chartPolicy lets a chart use its own style and nothing else.
var chartPolicy = func() string {
	sum := sha256.Sum256([]byte(chartStyle))
	return "default-src 'none'; style-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}()

// Measures of the chart in its own units; it is drawn twice as large where
// nothing says how wide it should be.
const (
	chartWidth  = 400
	chartHeight = 420
	chartLeft   = 38
	chartRight  = 392
	chartTop    = 66 // of the first row's bars
	barHeight   = 29 // of the fullest bar
	rowHeight   = 39
	slotWidth   = (chartRight - chartLeft) / 24.0
	barWidth    = slotWidth - 2

	// cautionLetters of the text's usual mix fill a line.
	cautionLetters = 76
)

// handleHoursChart draws the week under a tree.
func (s *Server) handleHoursChart(w http.ResponseWriter, r *http.Request) error {
	q, err := s.hoursQuery(r, typeSVG)
	if err != nil {
		return err
	}
	contentType(w, typeSVG)
	week, known, err := s.week(w, r, &q)
	if err != nil || known {
		return err
	}
	w.Header().Set("Content-Security-Policy", chartPolicy)
	return writeBody(w, r, drawWeek(week, q.site))
}

// chart is a drawing under way.
type chart struct {
	strings.Builder
	week *question.Week
	site inventory.Site
	full float64 // persons that fill a row
}

// drawWeek draws a week, a row a day and a bar an hour: those in the open below,
// those in vehicles on top of them.
func drawWeek(w *question.Week, site inventory.Site) []byte {
	c := &chart{week: w, site: site, full: fullScale(w.Peak)}
	fmt.Fprintf(c, `<svg xmlns="http://www.w3.org/2000/svg" xml:lang="en" width="%d" height="%d" viewBox="0 0 %[3]d %[4]d" role="img" aria-labelledby="title desc">`,
		2*chartWidth, 2*chartHeight, chartWidth, chartHeight)
	fmt.Fprintf(c, "\n<title id=\"title\">%s</title>\n<desc id=\"desc\">%s</desc>\n<style>%s</style>\n", escape(c.title(w.Tree.Tag, w.Tree.SourceID)), escape(c.describe()), chartStyle)
	fmt.Fprintf(c, `<rect class="paper" width="%d" height="%d"/>`+"\n", chartWidth, chartHeight)
	c.heading()
	for day := range 7 {
		c.row(day)
	}
	c.foot()
	c.WriteString("</svg>\n")
	return []byte(c.String())
}

// fullScale is the first round number from the peak up.
func fullScale(peak float64) float64 {
	if !(peak > 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(peak)))
	for _, step := range []float64{1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8} {
		// A peak that is the step but for its last digits still fits.
		if peak <= step*power*(1+1e-9) {
			return step * power
		}
	}
	return 10 * power
}

func (c *chart) title(tag, sourceID string) string {
	tree := "tree " + tag
	if tag == "" {
		tree = "tree " + sourceID
	}
	if c.week.Cut.OK {
		return fmt.Sprintf("People under the %s of %s, cut %d", c.week.Part, tree, c.week.Cut.V.ID)
	}
	return fmt.Sprintf("People under the %s of %s", c.week.Part, tree)
}

// describe says in words what the chart shows.
func (c *chart) describe() string {
	b := &strings.Builder{}
	w := c.week
	fmt.Fprintf(b, "Mean number of people hour by hour of an ordinary week, site time (%s), seven rows of 24 bars. Peak %s at %s; mean of the year %s.",
		c.site.TimeZone, ranking.Figure(w.Peak), ranking.HourName(w.PeakHour), ranking.Figure(w.Mean.Persons()))
	persons := w.Persons()
	for day := range 7 {
		at := day * 24
		for hour := day * 24; hour < day*24+24; hour++ {
			if persons[hour] > persons[at] {
				at = hour
			}
		}
		fmt.Fprintf(b, " %s: most %s at %02d:00.", ranking.HourName(at)[:3], ranking.Figure(persons[at]), at%24)
	}
	if text := c.quietest(); text != "" {
		b.WriteString(" " + text + ".")
	}
	return b.String() + " " + question.Cautions
}

func (c *chart) quietest() string {
	if !c.week.Quietest.OK {
		return ""
	}
	v := c.week.Quietest.V
	return fmt.Sprintf("Quietest %d h: %s, %s person-hours", v.Length, v, ranking.Figure(v.PersonHours))
}

func (c *chart) text(class string, x, y float64, anchor, text string) {
	fmt.Fprintf(c, `<text class="%s" x="%.1f" y="%.1f" text-anchor="%s">%s</text>`+"\n", class, x, y, anchor, escape(text))
}

// heading writes what is shown and what the colours mean.
func (c *chart) heading() {
	c.text("name", 8, 17, "start", c.title(shorten(c.week.Tree.Tag), shorten(c.week.Tree.SourceID)))
	c.text("note", 8, 31, "start", fmt.Sprintf("mean numbers of an ordinary week; a full row is %.3g", c.full))
	x := 8.0
	for _, k := range []struct{ class, text string }{{"open", "in the open"}, {"driven", "in vehicles"}} {
		fmt.Fprintf(c, `<rect class="%s key" x="%.1f" y="38" width="9" height="9"/>`, k.class, x)
		c.text("note", x+13, 46, "start", k.text)
		x += 80
	}
	fmt.Fprintf(c, `<path class="peak key" d="M%.1f 39h7l-3.5 6z"/>`, x)
	c.text("note", x+12, 46, "start", "peak")
	if c.week.Quietest.OK {
		fmt.Fprintf(c, `<rect class="quiet key" x="%.1f" y="41" width="14" height="3"/>`, x+48)
		c.text("note", x+66, 46, "start", "quietest window")
	}
}

// row draws a day.
func (c *chart) row(day int) {
	top := float64(chartTop + day*rowHeight)
	base := top + barHeight
	for hour := 0; hour <= 24; hour += 6 {
		fmt.Fprintf(c, `<path class="line" d="M%.2f %.1fV%.1f"/>`, chartLeft+float64(hour)*slotWidth, top, base)
	}
	fmt.Fprintf(c, `<path class="line" d="M%d %.1fH%d"/>`+"\n", chartLeft, top, chartRight)
	c.text("day", chartLeft-6, base, "end", ranking.HourName(day * 24)[:3])
	if day == 0 {
		c.text("note", chartLeft-6, top+4, "end", fmt.Sprintf("%.3g", c.full))
	}
	for hour := day * 24; hour < day*24+24; hour++ {
		c.bar(hour, base)
	}
	fmt.Fprintf(c, `<path class="base" d="M%d %.1fH%d"/>`+"\n", chartLeft, base, chartRight)
	c.quiet(day, base)
}

// bar draws an hour.
func (c *chart) bar(hour int, base float64) {
	w := c.week
	left := chartLeft + float64(hour%24)*slotWidth
	open, driven := w.People[hour], w.InVehicles[hour]
	if open+driven > 0 {
		fmt.Fprintf(c, `<g data-hour="%d"><title>%s: %s in the open, %s in vehicles</title>`, hour, ranking.HourName(hour), escape(ranking.Figure(open)), escape(ranking.Figure(driven)))
		y := base
		for _, part := range []struct {
			class string
			n     float64
		}{{"open", open}, {"driven", driven}} {
			if height := part.n / c.full * barHeight; height > 0 {
				y -= height
				fmt.Fprintf(c, `<rect class="%s" x="%.2f" y="%.3f" width="%.2f" height="%.3f"/>`, part.class, left+1, y, barWidth, height)
			}
		}
		c.WriteString("</g>\n")
	}
	if hour == w.PeakHour && w.Peak > 0 {
		fmt.Fprintf(c, `<path class="peak" data-hour="%d" d="M%.2f %.2fh7l-3.5 6z"/>`+"\n", hour, left+slotWidth/2-3.5, base-w.Peak/c.full*barHeight-7.5)
	}
}

// quiet underlines the hours of a day that are in the quietest window, which may
// go on from Sunday to Monday.
func (c *chart) quiet(day int, base float64) {
	v := c.week.Quietest
	in := func(hour int) bool {
		return v.OK && (hour-v.V.Start+inventory.HoursInWeek)%inventory.HoursInWeek < v.V.Length
	}
	for from := day * 24; from < day*24+24; from++ {
		to := from
		for to < day*24+24 && in(to) {
			to++
		}
		if to > from {
			fmt.Fprintf(c, `<rect class="quiet" data-hour="%d" data-hours="%d" x="%.2f" y="%.1f" width="%.2f" height="3"/>`+"\n",
				from, to-from, chartLeft+float64(from%24)*slotWidth, base+1.5, float64(to-from)*slotWidth)
			from = to
		}
	}
}

// foot labels the hours and sums up.
func (c *chart) foot() {
	base := float64(chartTop + 6*rowHeight + barHeight)
	for hour := 0; hour <= 24; hour += 6 {
		anchor := map[int]string{24: "end"}[hour]
		if anchor == "" {
			anchor = "middle"
		}
		c.text("note", chartLeft+float64(hour)*slotWidth, base+15, anchor, fmt.Sprintf("%02d:00", hour))
	}
	line := fmt.Sprintf("Peak %s, %s; mean of the year %s.", ranking.Figure(c.week.Peak), ranking.HourName(c.week.PeakHour), ranking.Figure(c.week.Mean.Persons()))
	if c.week.Peak == 0 {
		line = "Nobody is recorded or assumed here at any hour."
	}
	c.text("note", 8, base+33, "start", line)
	last := base + 33
	if text := c.quietest(); text != "" {
		last += 13
		c.text("note", 8, last, "start", text+".")
	}
	for _, line := range wrapped(question.Cautions, cautionLetters) {
		last += 13
		c.text("note", 8, last, "start", line)
	}
}

// wrapped breaks a text between words into lines of at most so many letters.
func wrapped(text string, letters int) (lines []string) {
	line := ""
	for _, word := range strings.Fields(text) {
		if line != "" && len(line)+1+len(word) > letters {
			lines, line = append(lines, line), ""
		}
		line = strings.TrimPrefix(line+" "+word, " ")
	}
	return append(lines, line)
}

func escape(s string) string {
	b := &strings.Builder{}
	xml.EscapeText(b, []byte(s)) // a Builder takes everything
	return b.String()
}

// shorten keeps a name within the chart.
func shorten(s string) string {
	if r := []rune(s); len(r) > 20 {
		return string(r[:19]) + "…"
	}
	return s
}
