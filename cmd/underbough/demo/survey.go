package demo

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// cavity is decay that was measured in a stem, centimetres and percent.
type cavity struct {
	stem, decay, wall, opening float64
	points                     string // what the visitor adds in a point rating; empty for nothing said
}

// survey adds what was looked at closer: leaning stems, brittle wood, crowns
// drawn from above, decay in stems, and how far limbs were stripped.
func (t *town) survey() {
	r := t.stream(9)
	for _, tr := range t.trees {
		if !tr.status.Standing() {
			continue
		}
		t.surveyLean(r, tr)
		// Common practice, no source: these two kinds shed limbs that shatter.
		tr.brittle = (tr.kind == silverMaple || tr.kind == calleryPear) && r.yes(0.3)
		for i := range tr.nested {
			if tr.nested[i].kind == inventory.CutLionTailing {
				tr.nested[i].bare = 5 * math.Round(r.between(45, 85)/5)
			}
		}
		if (tr.group == groupMarket || tr.group == groupHospital) && r.yes(0.6) {
			tr.outline = outline(r, tr)
		}
		if tr.group == groupPark && tr.dbh > 70 && r.yes(0.3) {
			t.crowns = append(t.crowns, crownRow{tr.tag, outline(r, tr)})
		}
	}
	t.surveyStems(r)
}

// surveyLean lets trees of the embankment lean over the river, and a few others
// anywhere.
func (t *town) surveyLean(r *chance, tr *tree) {
	switch {
	case tr.group == groupBank && r.yes(0.25):
		tr.lean, tr.leanTo = r.between(6, 24), r.between(140, 220)
	case tr.group == groupRetail || tr.dbh < 20 || !r.yes(0.02):
	default:
		tr.lean, tr.leanTo = r.between(4, 18), r.between(0, 360)
	}
}

// surveyStems gives some visits the measures of a drilled stem: all that see
// decay, and now and then another.
func (t *town) surveyStems(r *chance) {
	byTag := make(map[string]*tree, len(t.trees))
	for _, tr := range t.trees {
		byTag[tr.tag] = tr
	}
	for i := range t.visits {
		v := &t.visits[i]
		tr := byTag[v.tag]
		if tr.dbh < 30 || !(v.limb == "probable" || v.limb == "imminent" || r.yes(0.1)) {
			continue
		}
		stem := math.Round(tr.dbh * 0.92)
		decay := math.Round(stem * r.between(0.15, 0.85))
		v.cavity = cavity{stem: stem, decay: decay, wall: math.Round((stem-decay)/2*r.between(0.6, 1)*10) / 10, points: pick(r, "0", "0", "1", "2")}
		if r.yes(0.4) {
			v.opening = 5 * math.Round(r.between(5, 30)/5)
		}
	}
}

// crownRow is a crown of the file of crowns.
type crownRow struct {
	tag  string
	ring orb.Ring
}

// outline draws a crown from above: lopsided, with a wavy edge.
func outline(r *chance, tr *tree) orb.Ring {
	const corners = 18
	wide := tr.crown / 2
	middle := orb.Point{tr.at[0] + wide*r.between(-0.15, 0.15), tr.at[1] + wide*r.between(-0.15, 0.15)}
	long, turn := r.between(0.88, 1.12), r.between(0, math.Pi)
	var ring orb.Ring
	for i := range corners {
		a := float64(i) * 2 * math.Pi / corners
		u, v := wide*long*math.Cos(a), wide/long*math.Sin(a)
		edge := r.scatter(0.06)
		ring = append(ring, orb.Point{middle[0] + edge*(u*math.Cos(turn)-v*math.Sin(turn)), middle[1] + edge*(u*math.Sin(turn)+v*math.Cos(turn))})
	}
	return append(ring, ring[0])
}
