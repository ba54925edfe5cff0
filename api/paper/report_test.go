package paper

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"github.com/underbough/underbough/inventory/programme"
)

// rowsOf are the words of each row of the table with a caption.
func rowsOf(t *testing.T, n *html.Node, caption string) (rows []string) {
	t.Helper()
	for _, table := range all(n, "table") {
		if c := all(table, "caption"); len(c) == 1 && strings.HasPrefix(words(c[0]), caption) {
			for _, body := range all(table, "tbody") {
				for _, tr := range all(body, "tr") {
					rows = append(rows, words(tr))
				}
			}
			return rows
		}
	}
	t.Fatalf("no table %q", caption)
	return nil
}

// Counts by hand from how siteReport makes 100 trees: every seventh from the first
// topped (15), every eleventh without a diameter (10), every fourth over nothing
// (25), two in three heights and every second crown estimated.
func TestReportCounts(t *testing.T) {
	r := siteReport(100)
	b, err := Report(r)
	if err != nil {
		t.Fatal(err)
	}
	n := parsed(t, b)
	for caption, want := range map[string][]string{
		"Trees with old cuts, by kind of cut": {"topping 15 15 %", "lion-tailing 15 15 %", "stub 15 15 %"},
		"Condition as recorded":               {"good 34 34 %", "fair 33 33 %", "poor 33 33 %"},
		"How much is estimated or inferred": {"height estimated from the stem's diameter 66 66 %", "crown radius estimated from the stem's diameter 50 50 %", "stem diameter not recorded 10 10 %",
			"likelihood of failure inferred by a rule, judged by nobody 66 66 %", "likelihood judged on a visit that is out of date 0 0 %"},
		"Work, cost (EUR)":   {"2026 60 118.4 11 840 148 141 142 146", "2027 60 118.4 11 840 148 131 134 143", "2028 60 118.4 11 840 148 124 128 140", "2029 60 118.4 11 840 148 119 124 137", "2030 60 118.4 11 840 148 116 121 134"},
		"What a fixed cycle": {"4 200.0 20 000 86 % –", "5 160.0 16 000 87 % 36.00"},
		"Topped or headed":   {"T-0001 Acer saccharinum 1 of 4 5 % 2029 on course"},
		"Trees to look at":   {"T-0002 Quercus rubra 1 February 2026 overdue one year after work on old cuts", "T-0008 Tilia cordata never looked at old cuts that weaken it, and no visit on record"},
	} {
		if got := rowsOf(t, n, caption); fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s: got %q, want %q", caption, got, want)
		}
	}
	area := 0
	for i := range 100 {
		if i%4 != 3 {
			area += 20 + i%30
		}
	}
	if got := rowsOf(t, n, "Trees over each kind of place"); fmt.Sprint(got) != fmt.Sprintf("[parking 75 75 %% %s m² walkway 75 75 %% 225 m]", strings.ReplaceAll(grouped(float64(area)), "\u202f", " ")) {
		t.Errorf("places: %q, %d", got, area)
	}
	effects := strings.Join(rowsOf(t, n, "The client's assumption"), "\n")
	for _, want := range []string{"restoration 15 %", "reduction 20 %", "second opinion 0 %"} {
		if !strings.Contains(effects, want) {
			t.Errorf("the assumed effects lack %q: %s", want, effects)
		}
	}
	text := words(n)
	// 0.02/i over 100 trees: the first 20 hold H(20)/H(100) = 3.59774/5.18738 of it.
	for _, want := range []string{"100 standing trees are on record. 75 stand over", "15 trees, 15 % of all, carry an old cut", "The first 20 trees hold 69.4 % of the whole", "work on 300 trees in 2026 to 2030, about 592 crew-hours at a cost of 59 200 EUR",
		"that leaves 85.3 % of the expected harm", "Nothing here promises fewer failures", "12 trees are appraised at 128 400 EUR", "Crowns cover 5 120 m² of parking drawn as areas, 210 m of parking drawn as lines, 860 m² of walks and plazas drawn as areas, 1 340 m of walks drawn as lines", "at least 99.8 % of the most", noPromise, "T-0044"} {
		if !strings.Contains(text, want) {
			t.Errorf("the report lacks %q", want)
		}
	}
	if got := len(all(n, "article")); got != DefaultTop {
		t.Errorf("%d trees are told of one by one", got)
	}
}

// No output promises fewer failures.
func TestNothingIsPromised(t *testing.T) {
	for name, b := range sheetsToCheck(t) {
		text := strings.ToLower(words(parsed(t, b)))
		for _, bad := range []string{"reduces failures", "reduce failures", "safe tree", "guarantee"} {
			if strings.Contains(text, bad) {
				t.Errorf("%s says %q", name, bad)
			}
		}
	}
}

func TestReportWithoutProgramme(t *testing.T) {
	r := siteReport(3)
	r.Programme, r.Value, r.Restorations, r.Inspections = nil, nil, nil, nil
	r.Trees[0].Specification = nil
	b, err := Report(r)
	if err != nil {
		t.Fatal(err)
	}
	text := words(parsed(t, b))
	for _, want := range []string{"No programme has been made.", "No restoration is under way.", "None is due.", "No tree was appraised", "No work is specified for this tree.", "The first 3 trees"} {
		if !strings.Contains(text, want) {
			t.Errorf("the report lacks %q", want)
		}
	}
}

// The chart's marks stand at what is taken off by then, added up, by the chart's
// own axis; each line is named with its share. Figures by hand: off are 2, 30 and
// 79 of 3 × 150, added up 2, 32 and 111 of 450, which is 24.7 %; worst first takes
// 2, 20 and 40, 62 of 450.
func TestChartValues(t *testing.T) {
	res := &programme.Result{FirstYear: 2026}
	for i, left := range []float64{0.148, 0.12, 0.071} {
		res.Years = append(res.Years, programme.Year{HarmBefore: 0.15, HarmLeft: left})
		res.WorstFirst = append(res.WorstFirst, programme.Year{HarmBefore: 0.15, HarmLeft: []float64{0.148, 0.13, 0.11}[i]})
	}
	want := []float64{2, 32, 111}
	svg := harmChart(res, 1)
	wellFormed(t, svg)
	for _, name := range []string{">this programme: 24.7 %<", ">worst first: 13.8 %<", ">flat cycle, 1 year<", ">harm index taken off, added up from the first year<", ">end of the year<", `stroke-dasharray="9 4"`} {
		if !strings.Contains(string(svg), name) {
			t.Errorf("the chart lacks %s", name)
		}
	}
	tick := regexp.MustCompile(`<text x="58" y="([\d.]+)" fill="#1d2733" text-anchor="end">([\d.]+)</text>`).FindAllStringSubmatch(string(svg), -1)
	if len(tick) < 3 {
		t.Fatalf("the axis has %d figures", len(tick))
	}
	at := func(i int) (y, v float64) {
		y, _ = strconv.ParseFloat(tick[i][1], 64)
		v, _ = strconv.ParseFloat(tick[i][2], 64)
		return y, v
	}
	y0, v0 := at(0)
	y1, v1 := at(len(tick) - 1)
	marks := regexp.MustCompile(`<circle cx="[\d.]+" cy="([\d.]+)" r="4"`).FindAllStringSubmatch(string(svg), -1)
	if len(marks) != 3 || v0 != 0 || v1 < 111 {
		t.Fatalf("%d marks, an axis from %v to %v", len(marks), v0, v1)
	}
	for i, m := range marks {
		y, _ := strconv.ParseFloat(m[1], 64)
		if got := v0 + (y+4-y0)/(y1-y0)*(v1-v0); math.Abs(got-want[i]) > 0.2 {
			t.Errorf("mark %d stands at %.2f, want %.2f", i, got, want[i])
		}
	}
}
