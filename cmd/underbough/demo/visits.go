package demo

import (
	"fmt"
	"math"

	"github.com/underbough/underbough/inventory"
)

// visitRow is a visit of the file of visits.
type visitRow struct {
	tag                    string
	on, by, condition      string
	wholeTree, crown, limb string
	note                   string
	height                 float64 // metres; 0 where none was taken
	cavity
}

var judged = []string{"improbable", "possible", "probable", "imminent"}

func day(r *chance, year int) string {
	return fmt.Sprintf("%04d-%02d-%02d", year, 3+r.IntN(8), 1+r.IntN(28))
}

// visitRestored: three visits that see the risk go down.
func (t *town) visitRestored(r *chance, tr *tree) {
	condition := []string{"poor", "fair", "fair"}
	note := []string{
		"invented: first restoration visit, shoots thinned and shortened",
		"invented: second visit, leaders chosen, competitors subordinated",
		"invented: third visit, one leader at most old cuts",
	}
	for i, ago := range []int{7, 4, 2} {
		limb := judged[max(2-i, 0)]
		if i == 2 && r.yes(0.25) {
			limb = "possible"
		}
		t.visits = append(t.visits, visitRow{
			tag: tr.tag, on: day(r, t.year-ago), by: "invented crew A", condition: condition[i],
			wholeTree: "improbable", crown: judged[max(1-i, 0)], limb: limb, note: note[i], height: math.Round(tr.height*(0.82+0.08*float64(i))*10) / 10,
		})
	}
	tr.condition = "fair"
}

// visitMarket: every plane was looked at last year, two of them with concern.
func (t *town) visitMarket(r *chance, tr *tree) {
	v := visitRow{
		tag: tr.tag, on: day(r, t.year-1), by: "invented climber B", condition: "fair", wholeTree: "improbable", crown: "possible", limb: "possible",
		note: "invented: looked at from a lift before the market season",
	}
	switch f := r.Float64(); {
	case f < 0.1:
		v.limb, v.condition, v.note = "imminent", "poor", "invented: cracked limb over the stalls, propped"
	case f < 0.3:
		v.limb, v.note = "probable", "invented: decay column below an old stub"
	case f < 0.7:
		v.crown, v.limb, v.condition = "improbable", "improbable", "good"
	}
	t.visits = append(t.visits, v)
}

// visitOrdinary: a few street trees were looked at, some of them too long ago
// to count on.
func (t *town) visitOrdinary(r *chance, tr *tree) {
	if !r.yes(0.045) {
		return
	}
	ago := 1 + r.IntN(4)
	note := "invented: routine look from the ground"
	if r.yes(0.4) {
		ago, note = 6+r.IntN(5), "invented: old look from the ground"
	}
	v := visitRow{tag: tr.tag, on: day(r, t.year-ago), by: pick(r, "invented crew A", "invented inspector C"), condition: tr.condition, note: note}
	v.crown = pick(r, "improbable", "improbable", "possible")
	if r.yes(0.5) {
		v.wholeTree = "improbable"
	}
	if tr.status == inventory.Dead {
		v.wholeTree, v.crown = "possible", "probable"
	}
	if len(tr.nested) > 0 && r.yes(0.6) {
		v.limb = pick(r, "possible", "probable")
	}
	t.visits = append(t.visits, v)
}
