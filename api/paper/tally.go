package paper

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/risk"
)

// counted is a line of a table of counts.
type counted struct {
	Name  string
	Trees string
	Share string
	More  string
	n     int
}

// tally is what a site's trees come to.
type tally struct {
	trees                                             int
	bad, over, overBusy                               int // with a weakening cut; over anything recorded; and with people there
	heights, crowns, diameters, inferred, stale, tops int
	species, sizes, conditions, cuts, places, ratings []counted
	harm                                              float64
}

// sizeClasses are upper bounds of stem diameter in metres, for the table of sizes.
var sizeClasses = []float64{0.15, 0.30, 0.45, 0.60, 0.90}

// mostSpecies are listed by name.
const mostSpecies = 12

func newTally(trees []ReportTree) *tally {
	t := &tally{trees: len(trees)}
	species, conditions, cuts, ratings := map[string]int{}, map[string]int{}, map[inventory.CutKind]int{}, map[risk.Grade]int{}
	sizes := make([]int, len(sizeClasses)+2)
	over, area, length := map[inventory.TargetKind]int{}, map[inventory.TargetKind]float64{}, map[inventory.TargetKind]float64{}
	for i := range trees {
		tree := &trees[i]
		species[orNone(tree.Species, "not recorded")]++
		conditions[strings.TrimPrefix(conditionWords(&tree.Tree.Tree), "as recorded: ")]++
		sizes[sizeClass(tree.DBH)]++
		seen, bad := map[inventory.CutKind]bool{}, false
		for k := range tree.Cuts {
			kind := tree.Cuts[k].Kind
			if !seen[kind] {
				seen[kind] = true
				cuts[kind]++
			}
			bad = bad || exposure.Weakens(kind)
		}
		add(&t.bad, bad)
		add(&t.tops, seen[inventory.CutTopping])
		add(&t.over, len(tree.Row.Over) > 0)
		add(&t.overBusy, len(tree.Row.Over) > 0 && tree.Row.Count.Persons() > 0)
		add(&t.heights, tree.Size.HeightEstimated())
		add(&t.crowns, tree.Size.CrownRadiusEstimated())
		add(&t.diameters, !tree.DBH.OK)
		add(&t.inferred, tree.Row.Inferred())
		add(&t.stale, tree.Row.Stale)
		for _, u := range tree.Row.Over {
			over[u.Kind]++
			area[u.Kind] += u.AreaM2
			length[u.Kind] += u.LengthM
		}
		ratings[tree.Row.Score.Rating]++
		t.harm += tree.Row.HarmIndex()
	}
	t.species = t.top(species, mostSpecies, "other species")
	t.conditions = t.top(conditions, 9, "other words")
	t.tables(sizes, cuts, over, area, length, ratings)
	return t
}

func add(n *int, yes bool) {
	if yes {
		*n++
	}
}

// sizeClass is the place of a diameter among the classes; the last is for none.
func sizeClass(dbh inventory.Opt[float64]) int {
	if !dbh.OK {
		return len(sizeClasses) + 1
	}
	i, _ := slices.BinarySearch(sizeClasses, dbh.V)
	return i
}

func (t *tally) line(name string, n int) counted {
	share := 0.0
	if t.trees > 0 {
		share = float64(n) / float64(t.trees)
	}
	return counted{Name: name, Trees: grouped(float64(n)), Share: percent(share), n: n}
}

// top lists counts from the largest, those with equal counts by name, and sums up
// what has no place.
func (t *tally) top(counts map[string]int, most int, others string) []counted {
	var list []counted
	for name, n := range counts {
		list = append(list, t.line(name, n))
	}
	slices.SortFunc(list, func(a, b counted) int { return cmp.Or(cmp.Compare(b.n, a.n), cmp.Compare(a.Name, b.Name)) })
	if len(list) > most+1 {
		rest := 0
		for _, c := range list[most:] {
			rest += c.n
		}
		list = append(list[:most], t.line(fmt.Sprintf("%d %s", len(list)-most, others), rest))
	}
	return list
}

func (t *tally) tables(sizes []int, cuts map[inventory.CutKind]int, over map[inventory.TargetKind]int, area, length map[inventory.TargetKind]float64, ratings map[risk.Grade]int) {
	for i, n := range sizes {
		name := "not recorded"
		switch {
		case i == 0:
			name = "up to " + fixed(sizeClasses[0]*100, 0) + " cm"
		case i < len(sizeClasses):
			name = "over " + fixed(sizeClasses[i-1]*100, 0) + " to " + fixed(sizeClasses[i]*100, 0) + " cm"
		case i == len(sizeClasses):
			name = "over " + fixed(sizeClasses[i-1]*100, 0) + " cm"
		}
		if n > 0 || i <= len(sizeClasses) {
			t.sizes = append(t.sizes, t.line(name, n))
		}
	}
	for _, k := range inventory.CutKinds {
		if cuts[k] > 0 {
			t.cuts = append(t.cuts, t.line(string(k), cuts[k]))
		}
	}
	for _, k := range inventory.TargetKinds {
		if over[k] == 0 {
			continue
		}
		line := t.line(kindWord(k), over[k])
		if area[k] > 0 {
			line.More = grouped(area[k]) + " m²"
		}
		if length[k] > 0 {
			line.More += map[bool]string{true: ", "}[line.More != ""] + grouped(length[k]) + " m"
		}
		t.places = append(t.places, line)
	}
	for _, r := range slices.Backward(slices.Sorted(maps.Keys(ratings))) {
		t.ratings = append(t.ratings, t.line(r.String(), ratings[r]))
	}
}
