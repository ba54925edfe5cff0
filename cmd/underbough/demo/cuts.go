package demo

import (
	"math"

	"github.com/underbough/underbough/inventory"
)

// cut is one recorded cut; zero figures were not recorded.
type cut struct {
	kind     inventory.CutKind
	year     int
	count    int
	diameter float64 // centimetres, as the lateral
	lateral  float64
	height   float64 // metres, as the rest
	bearing  float64 // degrees; below zero where it was not taken
	reach    float64
	stub     float64
	closure  float64 // percent
	decay    bool
	shoots   int
	regrowth float64
	shootCM  float64
	bare     float64 // percent of the limb's length
}

// cutRow is a cut of the file of cuts.
type cutRow struct {
	tag string
	cut
}

// tell gives the trees their history. Years are counted back from the year of
// the plan, so that the demo's story does not age.
func (t *town) tell() {
	r := t.stream(7)
	contract := t.toppedStreets()
	for _, tr := range t.trees {
		if !tr.status.Standing() || t.year-tr.planted < 6 {
			continue
		}
		switch {
		case tr.group == groupRetail:
			t.tellRetail(r, tr)
		case tr.group == groupStation && t.underLine(tr):
			t.tellHeaded(r, tr)
		case tr.group == groupHospital:
			t.tellLionTailed(r, tr)
		case tr.group == groupSchool:
			t.tellRestored(r, tr)
		case tr.group == groupMarket:
			t.tellMarket(r, tr)
		case contract[tr.place]:
			t.tellContract(r, tr)
		default:
			t.tellOrdinary(r, tr)
		}
	}
}

// topDown lowers a tree to where it was topped plus what has grown back since.
func topDown(r *chance, tr *tree, share, regrowth float64) (at float64) {
	at = math.Round(tr.height*share*10) / 10
	tr.height = min(at+regrowth*r.between(0.9, 1), tr.height*0.94)
	tr.crown *= r.between(0.72, 0.9)
	if tr.condition == "good" {
		tr.condition = "fair"
	}
	return at
}

// tellRetail: the owner had the trees topped twice, 15 and 10 years ago.
func (t *town) tellRetail(r *chance, tr *tree) {
	if r.yes(0.16) {
		return // hidden from the road, and so left in peace
	}
	year, regrowth := t.year-10, r.between(3, 5)*min(tr.kind.vigour, 1.1)
	if r.yes(0.3) {
		year = t.year - 15
	}
	at := topDown(r, tr, r.between(0.48, 0.62), regrowth)
	if r.yes(0.35) {
		tr.topped = year // all that the record knows
		return
	}
	limbs := 2 + r.IntN(3)
	first := r.between(0, 360)
	for i := range limbs {
		t.record(tr, cut{
			kind: inventory.CutTopping, year: year, count: 1 + r.IntN(3), diameter: tr.dbh * r.between(0.22, 0.42),
			height: at + r.between(-0.6, 0.6), bearing: first + float64(i)*360/float64(limbs), reach: tr.crown / 2 * r.between(0.35, 0.6),
			closure: 5 * float64(r.IntN(12)), decay: r.yes(0.28), shoots: 4 + r.IntN(12), regrowth: regrowth * r.between(0.85, 1), shootCM: r.between(3, 8),
		})
	}
	if year == t.year-10 && r.yes(0.5) {
		t.record(tr, cut{kind: inventory.CutTopping, year: t.year - 15, bearing: -1, count: 3 + r.IntN(5), diameter: tr.dbh * 0.3, height: at - 0.8})
	}
}

// underLine reports whether a tree of the avenue stands under its line.
func (t *town) underLine(tr *tree) bool {
	line := t.named("Station Avenue").line
	_, s, d := onto(tr.at, beside(line, overhead))
	return d < 2 && s < 490
}

// tellHeaded: the line's owner headed the near side 12 years ago.
func (t *town) tellHeaded(r *chance, tr *tree) {
	tr.height = min(tr.height, r.between(9.5, 12))
	if r.yes(0.3) {
		tr.headed = t.year - 12
		return
	}
	for range 1 + r.IntN(3) {
		d := tr.dbh * r.between(0.15, 0.3)
		tr.nested = append(tr.nested, cut{
			kind: inventory.CutHeading, year: t.year - 12, count: 1 + r.IntN(4), diameter: d, lateral: d * r.between(0.05, 0.3),
			height: r.between(6.5, 8.5), bearing: r.between(15, 165), reach: tr.crown / 2 * r.between(0.3, 0.7), closure: 5 * float64(r.IntN(14)),
			decay: r.yes(0.12), shoots: 3 + r.IntN(9), regrowth: r.between(1.5, 3.6), shootCM: r.between(2, 5),
		})
	}
}

// tellLionTailed: the hospital's oaks were stripped of their inner laterals.
func (t *town) tellLionTailed(r *chance, tr *tree) {
	if r.yes(0.2) {
		tr.tailed = t.year - 8
		return
	}
	for range 1 + r.IntN(3) {
		tr.nested = append(tr.nested, cut{
			kind: inventory.CutLionTailing, year: t.year - 8, count: 4 + r.IntN(9), diameter: r.between(3, 9), height: tr.height * r.between(0.3, 0.6),
			bearing: r.between(0, 360), reach: tr.crown / 2 * r.between(0.75, 1.05), decay: r.yes(0.05),
		})
	}
}

// tellRestored: topped 17 years ago, and since then led back in three visits
// by reduction cuts to good laterals.
func (t *town) tellRestored(r *chance, tr *tree) {
	at := topDown(r, tr, r.between(0.5, 0.6), r.between(5, 7))
	tr.nested = append(tr.nested, cut{
		kind: inventory.CutTopping, year: t.year - 17, count: 3 + r.IntN(4), diameter: tr.dbh * r.between(0.25, 0.35), height: at, bearing: -1,
		closure: 40 + 5*float64(r.IntN(9)), decay: r.yes(0.1), shoots: 2 + r.IntN(3), regrowth: r.between(2.2, 2.9), shootCM: r.between(6, 11),
	})
	for _, ago := range []int{7, 4, 2} {
		for range 1 + r.IntN(2) {
			d := r.between(4, 9)
			t.cuts = append(t.cuts, cutRow{tr.tag, cut{
				kind: inventory.CutReduction, year: t.year - ago, count: 1 + r.IntN(4), diameter: d, lateral: d * r.between(0.4, 0.7),
				height: at + r.between(0.5, 3), bearing: r.between(0, 360), reach: tr.crown / 2 * r.between(0.4, 0.8),
			}})
		}
	}
	t.visitRestored(r, tr)
}

// tellMarket: old planes with some wide cuts, looked at from a lift last year.
func (t *town) tellMarket(r *chance, tr *tree) {
	for range 1 + r.IntN(2) {
		t.record(tr, cut{
			kind: pick(r, inventory.CutFlush, inventory.CutStub, inventory.CutHeading), year: t.year - 20 - r.IntN(15), diameter: r.between(12, 26),
			height: r.between(4, 9), bearing: r.between(0, 360), reach: r.between(0.5, 4), closure: 10 * float64(r.IntN(9)), decay: r.yes(0.35),
			regrowth: r.between(1, 3),
		})
	}
	t.visitMarket(r, tr)
}

// toppedStreets are three side roads whose trees one contractor topped.
func (t *town) toppedStreets() map[string]bool {
	r := t.stream(8)
	out := map[string]bool{}
	trees := map[string]int{}
	for _, tr := range t.trees {
		if tr.group == groupStreet && t.year-tr.planted > 30 {
			trees[tr.place]++
		}
	}
	for tries := 0; tries < 500 && len(out) < 3; tries++ {
		if s := t.streets[r.IntN(len(t.streets))]; s.class == classSide && trees[s.name] >= 18 {
			out[s.name] = true
		}
	}
	return out
}

// tellContract: topped 13 years ago; only the year was written down.
func (t *town) tellContract(r *chance, tr *tree) {
	if tr.dbh < 14 || r.yes(0.1) {
		return
	}
	topDown(r, tr, r.between(0.55, 0.68), r.between(2.5, 4.2))
	tr.topped = t.year - 13
}
