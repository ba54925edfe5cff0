package demo

import (
	"encoding/json"
	"fmt"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// The dirty rows of the package comment.

// dirtyTrees are six records that no tree can be made of.
func (w *writer) dirtyTrees(t *town) [][]byte {
	at := t.named("Main Street").line[40]
	spot := w.lonlat(at)
	point := func(lon, lat float64) json.RawMessage {
		return mustJSON(props{"type": "Point", "coordinates": []float64{lon, lat}})
	}
	dirty := func(n int, id string, geometry json.RawMessage, dbh float64) []byte {
		return feature(id, geometry, props{
			"tag": fmt.Sprintf("QX%d", n), "species": norwayMaple.name, "common_name": norwayMaple.common,
			"status": "alive", "dbh": dbh, "location": "Main Street", "note": "invented, and dirty on purpose",
		})
	}
	var first *tree
	for _, tr := range t.trees {
		if tr.group != groupRetail {
			first = tr
			break
		}
	}
	return [][]byte{
		dirty(1, "tree-QX1", point(spot[1], spot[0]), 30),
		dirty(2, "tree-QX2", point(0, 0), 31),
		dirty(3, "tree-QX3", json.RawMessage("null"), 32),
		dirty(4, "tree-QX4", w.geometry(orb.Polygon{frame{at, 0}.rect(-2, -2, 2, 2)}), 33),
		dirty(5, "tree-QX5", point(spot[0], spot[1]), 640), // 64 was meant
		dirty(6, "tree-"+first.tag, point(spot[0], spot[1]), 35),
	}
}

// dirtyTableTrees are two rows of the retail park's table.
func (w *writer) dirtyTableTrees() [][]string {
	p := w.lonlat(retailPark.point(-140, 60))
	row := func(tag, diameter, lon, lat string) []string {
		return []string{tag, redMaple.name, redMaple.common, diameter, "40", "25", "standing", "fair", "", "", "Retail park", "", "invented, and dirty on purpose", lon, lat}
	}
	return [][]string{
		row("RP-X1", "about a foot", fmt.Sprintf("%.7f", p[0]), fmt.Sprintf("%.7f", p[1])),
		row("RP-X2", "12", "", ""),
	}
}

// openRing is a car park whose outline does not close.
func (w *writer) openRing() []byte {
	ring := w.positions(frame{orb.Point{-300, 60}, 0.2}.rect(0, 0, 20, 15))
	return feature("parking-X1", mustJSON(props{"type": "Polygon", "coordinates": [][]orb.Point{ring[:4]}}),
		props{"name": "Yard without an end", "stalls": 9, "note": "invented, and dirty on purpose"})
}

// dirtyCuts are a kind that there is not, and a tag that no tree has.
func (w *writer) dirtyCuts(t *town) [][]string {
	row := func(n int, tag, kind string) []string {
		return []string{fmt.Sprintf("cut-X%d", n), tag, kind, whole(w.year - 6), "1", "90", "", "6", "", "", "", "", "", "", "", "", "invented, and dirty on purpose"}
	}
	return [][]string{row(1, t.trees[0].tag, "hat-racked"), row(2, "Q9999", string(inventory.CutRemoval))}
}

// dirtyVisit is dated next year.
func (w *writer) dirtyVisit(t *town) []string {
	return []string{t.trees[0].tag, fmt.Sprintf("%d-04-01", w.year+1), "invented crew A", "fair", "improbable", "", "", "", "", "", "", "", "", "invented, and dirty on purpose"}
}

// dirtyCounts are a count below zero, and one at a road that there is not.
func (w *writer) dirtyCounts(road string) [][]string {
	day := w.firstMonday().AddDate(0, 0, countedDays).Format(time.DateOnly)
	return [][]string{
		{road, day, "0", "vehicles", "-12", "invented, and dirty on purpose"},
		{"road-X1", day, "1", "vehicles", "40", "invented, and dirty on purpose"},
	}
}

// dirtyCrown is a crown drawn beside another tree than it is said to be of.
func (w *writer) dirtyCrown(t *town) []byte {
	here, there := t.crowns[0], t.trees[len(t.trees)-1] // at the two ends of the town
	return feature("crown-X1", w.geometry(orb.Polygon{here.ring}), props{"tag": there.tag, "note": "invented, and dirty on purpose"})
}

// crossesItself says which shapes are written with two corners exchanged.
func crossesItself(kind inventory.TargetKind, i int) bool {
	return kind == inventory.Building && (i == 41 || i == 202) || kind == inventory.Parking && i == 12
}

// crossed exchanges two corners of an outline, so that it becomes a bow tie.
func crossed(g orb.Geometry) orb.Geometry {
	p := g.(orb.Polygon)
	ring := append(orb.Ring(nil), p[0]...)
	ring[1], ring[2] = ring[2], ring[1]
	return append(orb.Polygon{ring}, p[1:]...)
}
