package allometry

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

// TestTypesAreTheSource compares the tree types with RDS-2016-0005, table TS2: the most frequent over regions, then by
// trees.
func TestTypesAreTheSource(t *testing.T) {
	type weight struct{ regions, trees float64 }
	types := map[string]map[treeType]weight{}
	for _, r := range openTable(t, "TS2_Regional_species_and_counts.csv") {
		key := parseName(r["Scientific Name"]).accepted().key()
		if types[key] == nil {
			types[key] = map[treeType]weight{}
		}
		w := types[key][treeType(r["Tree Type"])]
		types[key][treeType(r["Tree Type"])] = weight{w.regions + 1, w.trees + number(t, r["Grand Total"])}
	}
	checked := 0
	for key, k := range theCatalog().species {
		of := types[key]
		if of == nil || key == "celtis laevigata" { // printed as a conifer there
			continue
		}
		checked++
		mine := of[k.kind]
		for _, w := range of {
			if w.regions > mine.regions || w.regions == mine.regions && w.trees > mine.trees {
				t.Errorf("%s is %s, but TS2 says %v", k.Name(), k.kind, of)
			}
		}
	}
	if checked < 140 {
		t.Errorf("%d species compared, want at least 140", checked)
	}
}

// TestPlacements: every placed name has a group that is there, and none hides what the source has.
func TestPlacements(t *testing.T) {
	c := theCatalog()
	for g, kind := range genusTypes {
		if c.groups[kind] == nil || c.genera[g] != nil || strings.ToLower(g) != g {
			t.Errorf("genus %s: %q", g, kind)
		}
	}
	for s, kind := range speciesTypes {
		if c.groups[kind] == nil || c.species[s] != nil || parseName(s).key() != s {
			t.Errorf("species %s: %q", s, kind)
		}
	}
	for from, to := range synonyms {
		if n := parseName(from).accepted(); n.key() != to {
			t.Errorf("%s leads to %s, want %s", from, n.key(), to)
		}
		if c.species[from] != nil && c.species[from] != c.species[to] {
			t.Errorf("%s is in the table itself", from)
		}
		if k := Find(to); k == c.general || c.species[to] == nil && genusTypes[parseName(to).genus] == "" {
			t.Errorf("%s leads to %s, which is not known", from, to)
		}
	}
}

func TestReadCatalogRefuses(t *testing.T) {
	const head = "level,name,type,component,form,a,b,c,d,dbh_min_cm,dbh_max_cm,min_m,max_m,relative_se,trees,region,source_name,spread_over\n"
	tests := map[string]string{
		"level":             "tribe,Acer,BDL,height,lin,1,0.2,,,2,50,1.4,11,0.2,30,,,1",
		"tree type":         "genus,Acer,BDX,height,lin,1,0.2,,,2,50,1.4,11,0.2,30,,,1",
		"component":         "genus,Acer,BDL,girth,lin,1,0.2,,,2,50,1.4,11,0.2,30,,,1",
		"form":              "genus,Acer,BDL,height,sin,1,0.2,,,2,50,1.4,11,0.2,30,,,1",
		"invalid syntax":    "genus,Acer,BDL,height,lin,1,0.2,,,2,many,1.4,11,0.2,30,,,1",
		"positive and rise": "genus,Acer,BDL,height,lin,1,0.2,,,50,2,1.4,11,0.2,30,,,1",
		"must rise":         "genus,Acer,BDL,height,lin,1,-0.2,,,2,50,1.4,11,0.2,30,,,1",
		"more than round":   "genus,Acer,BDL,height,cub,1,0.2,0,0.00001,2,50,1.4,31,0.2,30,,,1",
		"no general":        "genus,Acer,BDL,height,lin,1,0.2,,,2,50,1.4,11,0.2,30,,,1",
		"number of fields":  "genus,Acer",
	}
	for want, row := range tests {
		if _, err := readCatalog(head + row + "\n"); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want an error with %q", row, err, want)
		}
	}
}

// TestKnots: reading between the knots differs from the equation by less than 3 mm.
func TestKnots(t *testing.T) {
	c, worst, n := theCatalog(), 0.0, 0
	for _, kinds := range []map[string]*Kind{c.species, c.genera} {
		for _, k := range kinds {
			for component := range componentNames {
				q := curveOf(k, component)
				for x := q.lo; x < q.hi && q.knots != nil; x += 0.17 {
					worst, n = max(worst, math.Abs(q.value(x)-q.raw(x))), n+1
				}
			}
		}
	}
	t.Logf("%.2f mm at most in %d places", 1000*worst, n)
	if worst > 0.003 || n < 100000 {
		t.Errorf("%.4f m off between knots in %d places", worst, n)
	}
}

// TestNamesStayBounded: odd input cannot fill the memory, and what is remembered stays right.
func TestNamesStayBounded(t *testing.T) {
	var n names
	for i := range 3 * mostNames {
		n.find(fmt.Sprintf("genus%d species", i))
	}
	read := n.read.Load()
	if got := len(*read) + len(n.added); got > mostNames {
		t.Errorf("%d names kept, want at most %d", got, mostNames)
	}
	if n.find("Acer rubrum").Name() != "Acer rubrum" || n.find("genus1 species").Name() != "any species" {
		t.Errorf("a full memory changed the answers")
	}
}
