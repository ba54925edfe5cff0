package paper

import (
	"fmt"
	"strconv"
	"strings"
	"testing"
)

// The squares of the map add up what stands in them, and darken in the order of
// their sums, in grey too.
func TestSquares(t *testing.T) {
	m := &MapInput{Label: "map", Targets: places()}
	for i := range 40 {
		m.Weights = append(m.Weights, Weight{at(float64(i%8)*12, float64(i/8)*12), float64(i * i)})
	}
	m.Weights = append(m.Weights, Weight{at(1, 1), 10000})
	f, _, _ := mapFrame(m)
	s := shadingOf(&f, m.Weights)
	sum, most := 0.0, 0.0
	for _, v := range s.sums {
		sum += v
		most = max(most, v)
	}
	if want := 10000 + 39.0*40*79/6; sum != want || most < 10000 { // squares of 1 to 39: n(n+1)(2n+1)/6
		t.Errorf("the squares hold %v of %v, the fullest %v", sum, want, most)
	}
	if len(s.breaks) != 4 || s.breaks[3] != 5000 || s.class(5000) != 4 || s.class(4999) != 3 || s.class(0) != 0 {
		t.Errorf("breaks %v", s.breaks)
	}
	svg := string(Map(m))
	wellFormed(t, []byte(svg))
	lacks(t, svg, []string{"Person-hours a year under crowns and limbs, by square of", "from 5\u202f000"}, []string{"other tree"})
	if got := strings.Count(svg, `class="square"`); got == 0 || got > len(s.sums) {
		t.Errorf("%d squares of %d", got, len(s.sums))
	}
	before := 256.0
	for _, fill := range shadeInks {
		grey := 0.0
		for i, part := range []float64{0.299, 0.587, 0.114} { // luma of ITU-R BT.601
			v, err := strconv.ParseUint(fill[1+2*i:3+2*i], 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			grey += part * float64(v)
		}
		if before-grey < 20 {
			t.Errorf("%s is no darker than the one before: %.0f after %.0f", fill, grey, before)
		}
		before = grey
	}
}

// In a crowd each number stands off with a line to its tree.
func TestCrowdedNumbers(t *testing.T) {
	m := &MapInput{Label: "map", Dots: nil}
	for i := range 5 {
		m.Marks = append(m.Marks, Mark{at(float64(i)*2, float64(i%2)), fmt.Sprint(i + 1)})
	}
	m.Marks = append(m.Marks, Mark{at(-300, -200), "6"}, Mark{at(300, 200), "7"})
	svg := string(Map(m))
	if got := strings.Count(svg, `stroke="`+deep+`" stroke-width="0.9"`); got != 5 {
		t.Errorf("%d lines lead to the five in the crowd", got)
	}
}
