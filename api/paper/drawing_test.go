package paper

import (
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
)

// scaleOf reads a drawing's scale bar: units to the metre by its bar and its word.
func scaleOf(t *testing.T, svg string) float64 {
	t.Helper()
	bar := regexp.MustCompile(`width="([\d.]+)" height="4" fill="#ffffff" stroke`).FindStringSubmatch(svg)
	word := regexp.MustCompile(`>([\d.]+) m</text>`).FindAllStringSubmatch(svg, -1)
	if bar == nil || len(word) == 0 {
		t.Fatalf("no scale bar in %.300s", svg)
	}
	units, _ := strconv.ParseFloat(bar[1], 64)
	m, _ := strconv.ParseFloat(word[len(word)-1][1], 64)
	return units / m
}

// A crown of a known radius is drawn that large by the drawing's own scale bar,
// whose word is the last length written. The plane is that of package geo.
func TestDrawnToScale(t *testing.T) {
	tree := Tree{Tree: inventory.Tree{Point: origin, DBH: some(0.5)}}
	tree.Size.Height, tree.Size.CrownRadius = 20, 5
	plan := string(PlanView(&tree, nil, []inventory.Target{{Kind: inventory.Parking, Geometry: box(-2, -3, 4, 5)}}))
	scale := scaleOf(t, plan)
	w, h := drawnSize(t, plan, `stroke="`+solid+`" stroke-width="1.4"`)
	if math.Abs(w/scale-4) > 0.02 || math.Abs(h/scale-5) > 0.02 {
		t.Errorf("a car park of 4 by 5 m is drawn %.3f by %.3f m", w/scale, h/scale)
	}
	w, h = drawnSize(t, plan, `stroke="`+ink+`" stroke-width="1.2"`)
	if math.Abs(w/scale-10) > 0.05 || math.Abs(h/scale-10) > 0.05 {
		t.Errorf("a crown of 10 m is drawn %.3f by %.3f m", w/scale, h/scale)
	}
	side := string(SideView(&tree, nil))
	scale = scaleOf(t, side)
	// The control points of the crown's form lie on its box.
	w, h = drawnSize(t, side, `stroke="`+softInk+`"/`)
	if math.Abs(w/scale-10) > 0.05 || math.Abs(h/scale-20*(1-crownBase)) > 0.05 {
		t.Errorf("from the side, a crown of 10 by 14 m is drawn %.3f by %.3f m", w/scale, h/scale)
	}
}

// drawnSize is the box of the path with a style.
func drawnSize(t *testing.T, svg, style string) (w, h float64) {
	t.Helper()
	for _, p := range regexp.MustCompile(`<path d="(M[^"]*Z)" ([^>]*>)`).FindAllStringSubmatch(svg, -1) {
		if !strings.Contains(p[2], style) {
			continue
		}
		b := orb.Bound{Min: orb.Point{math.Inf(1), math.Inf(1)}, Max: orb.Point{math.Inf(-1), math.Inf(-1)}}
		numbers := regexp.MustCompile(`-?[\d.]+`).FindAllString(p[1], -1)
		for i := 0; i+1 < len(numbers); i += 2 {
			x, _ := strconv.ParseFloat(numbers[i], 64)
			y, _ := strconv.ParseFloat(numbers[i+1], 64)
			b = b.Extend(orb.Point{x, y})
		}
		return b.Max[0] - b.Min[0], b.Max[1] - b.Min[1]
	}
	t.Fatalf("no path with %s", style)
	return 0, 0
}

// Up to 40 trees at random places: no number lies on another or on a tree, and
// each stands nearest to its own.
func TestNumbersDoNotOverlap(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	at := regexp.MustCompile(`<text x="([\d.]+)" y="([\d.]+)" text-anchor="middle" fill="#1d2733" stroke="#ffffff" stroke-width="3" paint-order="stroke" font-size="11" font-weight="bold">(\d+)</text>`)
	for range 100 {
		m := &MapInput{Label: "map"}
		n := 1 + r.IntN(40)
		for i := range n {
			m.Marks = append(m.Marks, Mark{geo.NewPlane(origin).ToPoint(200*r.Float64(), 120*r.Float64()), fmt.Sprint(i + 1)})
		}
		f, _, _ := mapFrame(m)
		var boxes []orb.Bound
		for _, text := range at.FindAllStringSubmatch(string(Map(m)), -1) {
			x, _ := strconv.ParseFloat(text[1], 64)
			y, _ := strconv.ParseFloat(text[2], 64)
			w := 6.4 * float64(len(text[3]))
			boxes = append(boxes, orb.Bound{Min: orb.Point{x - w/2, y - 8}, Max: orb.Point{x + w/2, y}})
		}
		if len(boxes) != n {
			t.Fatalf("%d numbers of %d", len(boxes), n)
		}
		for i, b := range boxes {
			for k := range boxes {
				if k > i && b.Intersects(boxes[k]) {
					t.Errorf("numbers %d and %d of %d lie on each other", i+1, k+1, n)
				}
				if b.Pad(2).Contains(f.xy(m.Marks[k].Point)) {
					t.Errorf("number %d lies on tree %d", i+1, k+1)
				}
			}
		}
	}
}

func TestSpread(t *testing.T) {
	for _, c := range []struct{ wanted, want []float64 }{
		{[]float64{5, 5, 5}, []float64{5, 15, 25}}, {[]float64{95, 97, 99}, []float64{80, 90, 100}}, {[]float64{10, 50}, []float64{10, 50}}, {nil, nil}, {[]float64{400}, []float64{100}},
	} {
		if got := spread(c.wanted, 10, 0, 100); fmt.Sprint(got) != fmt.Sprint(c.want) {
			t.Errorf("%v becomes %v, want %v", c.wanted, got, c.want)
		}
	}
	for i, y := range spread(make([]float64, 50), 10, 0, 98) {
		if math.Abs(y-2*float64(i)) > 1e-9 {
			t.Fatalf("squeezed place %d is %v", i, y)
		}
	}
}

func TestFigures(t *testing.T) {
	for got, want := range map[string]string{
		num(-0.001): "0", num(1.005): "1", num(12.30): "12.3", num(math.NaN()): "0", num(100): "100", fixed(-0.04, 1): "0.0", fixed(-1.26, 1): "-1.3",
		grouped(1234567): "1\u202f234\u202f567", grouped(999): "999", grouped(-1000): "−1\u202f000", percent(1.0 / 3): "33.3 %", percent(0.1): "10 %",
		cutLetter(0): "a", cutLetter(25): "z", cutLetter(26): "aa", cutLetter(52): "ba", compass(some(350)): "350° N", compass(some(-90)): "270° W", compass(some(112)): "112° E",
		num(roundLength(7.9)): "5", num(roundLength(10)): "10", num(roundLength(0.3)): "0.2", span(2026, 5): "2026 to 2030",
	} {
		if got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

// Each kind of target looks like no other without its colour: by its letter and,
// as an area, by what is left of its style in grey.
func TestKindsDifferWithoutColour(t *testing.T) {
	letters, dashes := map[string]inventory.TargetKind{}, map[string]inventory.TargetKind{}
	for _, k := range inventory.TargetKinds {
		l := lookOf(k, 1)
		if other, ok := letters[l.letter]; ok {
			t.Errorf("%s and %s have the letter %s", k, other, l.letter)
		}
		letters[l.letter] = k
		style := regexp.MustCompile(`stroke-width="[\d.]+"|stroke-dasharray="[\d. ]+"`).FindAllString(l.line, -1)
		if other, ok := dashes[strings.Join(style, " ")]; ok {
			t.Errorf("lines of %s and %s are drawn alike", k, other)
		}
		dashes[strings.Join(style, " ")] = k
	}
}
