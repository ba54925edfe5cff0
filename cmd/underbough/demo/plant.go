package demo

import (
	"math"

	"github.com/paulmach/orb"
)

// plant puts the trees in: the rows that have a story first, then the streets
// and the park around them.
func (t *town) plant() {
	r := t.stream(5)
	t.plantRetailPark(r)
	t.plantRows(r)
	t.plantMarket(r)
	for _, b := range t.blocks {
		if b.tree > 0 {
			t.plantBlock(r, b)
		}
	}
	t.plantPark(r)
	t.plantSouthBank(r)
	t.fate(t.stream(6))
}

// row plants along a line every so many metres, skipping some.
func (t *town) row(r *chance, l orb.LineString, every, skip float64, kind *species, planted int, group, place string) {
	for s := every / 2; s < length(l); s += every {
		if r.yes(skip) {
			continue
		}
		p, dir := along(l, s+r.between(-0.4, 0.4))
		t.stand(r, aside(p, dir, r.between(-0.25, 0.25)), kind, planted+r.IntN(3), group, place)
	}
}

func (t *town) plantRetailPark(r *chance) {
	f := retailPark
	for i, v := range retailIslandV {
		for _, u := range retailIslandU {
			t.row(r, f.line(u+1, v, u+49, v), 8, 0.03, carParkKinds[i%len(carParkKinds)], t.year-36, groupRetail, "Retail park, planting islands")
		}
	}
	t.row(r, f.line(-136, -70, 66, -70), 8.5, 0.05, silverMaple, t.year-38, groupRetail, "Retail park, south edge")
	t.row(r, f.line(-138.5, -62, -138.5, 46), 8.5, 0.05, redMaple, t.year-36, groupRetail, "Retail park, west edge")
	t.row(r, f.line(-130, 45.5, 60, 45.5), 9, 0.05, honeylocust, t.year-34, groupRetail, "Retail park, along the shops")
	t.row(r, f.line(68, -60, 68, 40), 9, 0.08, calleryPear, t.year-30, groupRetail, "Retail park, along the store")
}

func (t *town) plantRows(r *chance) {
	avenue := t.named("Station Avenue").line
	for _, side := range []float64{1, -1} {
		t.row(r, beside(between(avenue, 14, length(avenue)-8), side*classAvenue.tree), 9, 0.04, linden, t.year-62, groupStation, "Station Avenue")
	}
	f := station
	for _, v := range []float64{-45, 45, -76, 76} {
		t.row(r, f.line(-74, v, -20, v), 8.5, 0.05, honeylocust, t.year-22, groupStreet, "Station, park and ride")
	}
	f = hospital
	t.row(r, f.line(-100, -14, 104, -14), 9, 0.03, redOak, t.year-58, groupHospital, "Hospital, long walk")
	t.row(r, f.line(-100, -3.5, -66, -3.5), 9, 0, pinOak, t.year-55, groupHospital, "Hospital, long walk")
	for _, u := range []float64{-92, -26} {
		t.row(r, f.line(u+1, -46, u+55, -46), 8.5, 0.04, pinOak, t.year-40, groupHospital, "Hospital, car park")
	}
	t.row(r, f.line(-20, 30, 20, 30), 11, 0, ginkgo, t.year-30, groupPark, "Hospital, garden in front")
	f = school
	for _, v := range []float64{-30, -19.5} {
		t.row(r, f.line(-92, v, 54, v), 9, 0.03, silverMaple, t.year-48, groupSchool, "School walk")
	}
	t.row(r, f.line(-54, 63, 14, 63), 10, 0, linden, t.year-40, groupPark, "School yard")
	f = green
	for range 26 {
		t.stand(r, f.point(r.between(-33, 33), r.between(-21, 21)), pick(r, parkKinds...), t.year-90+r.IntN(60), groupPark, "Old green")
	}
}

func (t *town) plantMarket(r *chance) {
	for _, v := range []float64{22, 48, 74} {
		if v == 48 { // the stalls' side stays free
			t.row(r, market.line(-40, v, -16, v), 10, 0, londonPlane, t.year-95, groupMarket, "Market square")
			continue
		}
		t.row(r, market.line(-40, v, 42, v), 10.5, 0, londonPlane, t.year-95, groupMarket, "Market square")
	}
}

// plantBlock plants both sides of a street. Each street has its own main kind
// and its own decade.
func (t *town) plantBlock(r *chance, b block) {
	l, ok := b.trimmed(b.walk + 3)
	if !ok || b.class == classAvenue {
		return
	}
	kinds, group := streetKinds, groupStreet
	switch b.class {
	case classBank:
		kinds, group = bankKinds, groupBank
	case classMain, classRing:
		kinds = []*species{londonPlane, linden, pinOak, honeylocust}
	}
	own := t.streamFor(b.name)
	main, planted := pick(own, kinds...), t.year-12-own.IntN(68)
	every, share := own.between(8, 12), own.between(0.62, 0.98)
	if b.class == classLane {
		share *= 0.55
	}
	for _, side := range []float64{1, -1} {
		for s := r.between(0, 5); s < length(l); s += every * r.between(0.93, 1.07) {
			if !r.yes(share) {
				continue
			}
			kind, year := main, planted+r.IntN(6)
			if r.yes(0.22) {
				kind = pick(r, streetKinds...)
			}
			if r.yes(0.12) { // replaced
				year = t.year - 2 - r.IntN(14)
			}
			p, dir := along(l, s)
			t.stand(r, aside(p, dir, side*(b.tree+r.between(-0.2, 0.3))), kind, year, group, b.name)
		}
	}
}

// streamFor is a source of chance that belongs to a street.
func (t *town) streamFor(name string) *chance {
	h := uint64(1469598103934665603) // FNV-1a
	for i := range len(name) {
		h = (h ^ uint64(name[i])) * 1099511628211
	}
	return t.stream(h)
}

// plantPark plants clumps between the walks, and a row inside the park's edge.
func (t *town) plantPark(r *chance) {
	walks := parkWalks()
	free := func(p orb.Point) bool {
		for _, w := range walks {
			if _, _, d := onto(p, w); d < 1.8 {
				return false
			}
		}
		return !(dist(p, parkPlayground.at) < 19)
	}
	for i := range 84 {
		a := float64(i) * math.Pi / 42
		if p := parkAt(a, -4+r.between(-0.6, 0.6)); free(p) && r.yes(0.9) {
			t.stand(r, p, parkKinds[i/14%len(parkKinds)], t.year-70+r.IntN(8), groupPark, "Town park, edge")
		}
	}
	for range 34 {
		a, share := r.between(0, 2*math.Pi), math.Sqrt(r.between(0.02, 0.86))
		middle := lerp(orb.Point{-690, 235}, parkAt(a, 0), share)
		kind, born, wide := pick(r, parkKinds...), t.year-15-r.IntN(95), r.between(7, 16)
		for range 5 + r.IntN(12) {
			p := orb.Point{middle[0] + wide*r.NormFloat64(), middle[1] + wide*r.NormFloat64()}
			own := kind
			if r.yes(0.25) {
				own = pick(r, parkKinds...)
			}
			if inside(p, parkRing(-5)) && free(p) && t.clear(p, 4.2) {
				t.stand(r, p, own, born+r.IntN(10), groupPark, "Town park")
			}
		}
	}
}

// plantSouthBank plants the meadow walk on the far side of the river.
func (t *town) plantSouthBank(r *chance) {
	for x := -500.0; x < 560; x += r.between(7, 16) {
		p := orb.Point{x, riverY(x) - riverHalf - 13 - math.Abs(r.NormFloat64())*9}
		t.stand(r, p, pick(r, southKinds...), t.year-30-r.IntN(60), groupPark, "South bank meadow")
	}
}
