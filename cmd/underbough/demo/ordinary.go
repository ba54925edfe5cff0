package demo

import (
	"github.com/underbough/underbough/inventory"
)

// record puts a cut where the tree's record keeps its cuts: inside it, or in
// the file of cuts for trees that come as a table.
func (t *town) record(tr *tree, c cut) {
	if tr.group == groupRetail || tr.group == groupMarket {
		t.cuts = append(t.cuts, cutRow{tr.tag, c})
		return
	}
	tr.nested = append(tr.nested, c)
}

// tellOrdinary: most trees have proper cuts or none; some have a flush cut, a
// stub, a reduction to too small a lateral, or a topping nobody remembers.
func (t *town) tellOrdinary(r *chance, tr *tree) {
	year := t.year - 1 - r.IntN(18)
	limb := cut{year: year, height: tr.height * r.between(0.25, 0.6), bearing: r.between(0, 360), reach: tr.crown / 2 * r.between(0.05, 0.8)}
	switch f := r.Float64(); {
	case f < 0.13: // clearance over street and walk
		limb.kind, limb.count, limb.diameter, limb.reach = inventory.CutRemoval, 1+r.IntN(5), r.between(2, 8), 0
		limb.closure = min(float64(t.year-year)*9, 100)
		t.cuts = append(t.cuts, cutRow{tr.tag, limb})
	case f < 0.18:
		limb.kind, limb.diameter = inventory.CutReduction, r.between(3, 11)
		limb.lateral = limb.diameter * r.between(0.36, 0.75)
		t.cuts = append(t.cuts, cutRow{tr.tag, limb})
	case f < 0.195: // called a reduction, and none by the lateral rule
		limb.kind, limb.diameter = inventory.CutReduction, r.between(5, 13)
		limb.lateral = limb.diameter * r.between(0.08, 0.3)
		limb.regrowth = r.between(0.5, 2.5)
		t.cuts = append(t.cuts, cutRow{tr.tag, limb})
	case f < 0.205: // no kind written down: both diameters tell it
		limb.diameter = r.between(5, 13)
		limb.lateral = limb.diameter * r.between(0.1, 0.8)
		t.cuts = append(t.cuts, cutRow{tr.tag, limb})
	case f < 0.222:
		limb.kind, limb.diameter, limb.reach = inventory.CutFlush, r.between(5, 22), 0.2
		limb.closure, limb.decay = r.between(10, 95), r.yes(0.3)
		t.cuts = append(t.cuts, cutRow{tr.tag, limb})
	case f < 0.24:
		limb.kind, limb.diameter, limb.stub, limb.reach = inventory.CutStub, r.between(4, 18), r.between(0.08, 0.6), r.between(0.3, 0.9)
		limb.decay = r.yes(0.4)
		tr.nested = append(tr.nested, limb)
	case f < 0.252 && tr.dbh > 18: // topped by some neighbour
		regrowth := r.between(1.5, 4)
		at := topDown(r, tr, r.between(0.5, 0.65), regrowth)
		if r.yes(0.4) {
			tr.topped = year - 4
			break
		}
		tr.nested = append(tr.nested, cut{
			kind: inventory.CutTopping, year: year - 4, count: 2 + r.IntN(5), diameter: tr.dbh * r.between(0.2, 0.4), height: at, bearing: -1,
			decay: r.yes(0.25), shoots: 3 + r.IntN(8), regrowth: regrowth, shootCM: r.between(2, 6),
		})
	}
	t.visitOrdinary(r, tr)
}
