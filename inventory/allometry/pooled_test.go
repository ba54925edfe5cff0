package allometry

import (
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
)

// pooled are the trees of one or more taxa, and the sums of least squares for ln(metres) = a + bu + cu² with
// u = ln(ln(cm+1)), each taxon with the same total weight.
type pooled struct {
	sums [3][4]float64
	taxa [][]measuredTree
}

// poolOne gathers one taxon's trees.
func poolOne(trees []measuredTree, component int) pooled {
	p := pooled{taxa: [][]measuredTree{trees}}
	for _, tree := range trees {
		u, y := math.Log(math.Log(tree.cm+1)), math.Log(tree.metres[component])
		basis, right := [3]float64{1, u, u * u}, [4]float64{1, u, u * u, y}
		for i := range basis {
			for j := range right {
				p.sums[i][j] += basis[i] * right[j] / float64(len(trees))
			}
		}
	}
	return p
}

// fit solves the least squares by elimination and scales the curve so that the mean relative residual, each taxon
// with equal weight, is zero.
func (p pooled) fit(component int) curve {
	m := p.sums
	for i := range 3 {
		for j := i + 1; j < 3; j++ {
			f := m[j][i] / m[i][i]
			for k := range 4 {
				m[j][k] -= f * m[i][k]
			}
		}
	}
	q := curve{form: loglogq}
	q.c = m[2][3] / m[2][2]
	q.b = (m[1][3] - m[1][2]*q.c) / m[1][1]
	q.a = (m[0][3] - m[0][2]*q.c - m[0][1]*q.b) / m[0][0]
	var scale float64
	for _, trees := range p.taxa {
		var sum float64
		for _, tree := range trees {
			sum += tree.metres[component] / q.raw(tree.cm)
		}
		scale += sum / float64(len(trees)) / float64(len(p.taxa))
	}
	q.a += math.Log(scale)
	return q
}

// taxa are one component's usable trees of every taxon but palms. Trees that are named by genus alone are a taxon.
type taxa struct {
	component int
	names     []string // sorted
	one       map[string]pooled
	types     map[string]treeType
}

func measuredTaxa(t *testing.T, component int) taxa {
	t.Helper()
	trees, types := map[string][]measuredTree{}, map[string]treeType{}
	for _, tree := range measuredTrees(t) {
		if strings.HasPrefix(tree.group, "P") || tree.cm < 1 || tree.metres[component] <= 0 {
			continue
		}
		k := Find(tree.name)
		trees[k.Name()], types[k.Name()] = append(trees[k.Name()], tree), k.kind
	}
	x := taxa{component: component, names: slices.Sorted(maps.Keys(trees)), one: map[string]pooled{}, types: types}
	for n, own := range trees {
		x.one[n] = poolOne(own, component)
	}
	return x
}

// pool gathers the taxa that are wanted.
func (x taxa) pool(wanted func(taxon string) bool) pooled {
	var p pooled
	for _, n := range x.names {
		if !wanted(n) {
			continue
		}
		p.taxa = append(p.taxa, x.one[n].taxa...)
		for i := range p.sums {
			for j := range p.sums[i] {
				p.sums[i][j] += x.one[n].sums[i][j]
			}
		}
	}
	return p
}

// drawn is the fit to a genus's m taxa drawn towards the group's: m parts its own, one part the group's.
func (x taxa) drawn(genus, group pooled) curve {
	q, g, m := genus.fit(x.component), group.fit(x.component), float64(len(genus.taxa))
	q.a, q.b, q.c = (m*q.a+g.a)/(m+1), (m*q.b+g.b)/(m+1), (m*q.c+g.c)/(m+1)
	return q
}

func genusOf(taxon string) string { return strings.ToLower(strings.Fields(taxon)[0]) }

// TestPooledFits fits the genus, group and general equations again to the trees of TS3 and finds the table's.
func TestPooledFits(t *testing.T) {
	c := theCatalog()
	for component, what := range componentNames {
		x := measuredTaxa(t, component)
		if len(x.names) != 154 {
			t.Fatalf("%d taxa, want 154", len(x.names))
		}
		same := func(k *Kind, got curve) {
			t.Helper()
			for _, cm := range []float64{5, 10, 20, 40, 80, 120} {
				if a, b := got.raw(cm), curveOf(k, component).raw(cm); math.Abs(a-b) > 0.0005*b {
					t.Errorf("%s of %s at %g cm: fitted %.3f m, table %.3f m", what, k.Name(), cm, a, b)
				}
			}
		}
		same(c.general, x.pool(func(string) bool { return true }).fit(component))
		groups := map[treeType]pooled{}
		for g, k := range c.groups {
			if g != "P" && g.curves() == g {
				groups[g] = x.pool(func(n string) bool { return x.types[n] == g })
				same(k, groups[g].fit(component))
			}
		}
		for genus, k := range c.genera {
			same(k, x.drawn(x.pool(func(n string) bool { return genusOf(n) == genus }), groups[k.kind]))
		}
	}
}

// TestUnseenTaxa: the error of an estimate by genus, group or nothing is that for a taxon the equation never saw.
// Every taxon's trees are estimated from an equation fitted without it (for the group: without its genus).
func TestUnseenTaxa(t *testing.T) {
	c := theCatalog()
	for component, what := range componentNames {
		x := measuredTaxa(t, component)
		var byGenus, byGroup, byNothing tally
		for _, taxon := range x.names {
			spread := func(into *tally, q curve, relSE float64) {
				for _, tree := range x.one[taxon].taxa[0] {
					v := q.raw(tree.cm)
					into.add(tree.metres[component], v, math.Hypot(relSE*v, floorM))
				}
			}
			g, genus := x.types[taxon], genusOf(taxon)
			others := x.pool(func(n string) bool { return x.types[n] == g && genusOf(n) != genus })
			spread(&byGroup, others.fit(component), curveOf(c.groups[g], component).relSE)
			others = x.pool(func(n string) bool { return n != taxon })
			spread(&byNothing, others.fit(component), curveOf(c.general, component).relSE)
			if kin := x.pool(func(n string) bool { return n != taxon && genusOf(n) == genus }); len(kin.taxa) > 0 {
				k := c.genera[genus]
				others = x.pool(func(n string) bool { return n != taxon && x.types[n] == k.kind })
				spread(&byGenus, x.drawn(kin, others), curveOf(k, component).relSE)
			}
		}
		byGenus.honest(t, what+", unseen taxon by genus")
		byGroup.honest(t, what+", unseen genus by group")
		byNothing.honest(t, what+", unseen taxon by nothing")
	}
}
