package allometry

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"testing"
)

// TestRealNames resolves the names of a real inventory: 31,297 street trees of Cambridge, Massachusetts, of which
// 2,648 have no name (City of Cambridge, PDDL).
func TestRealNames(t *testing.T) {
	r, err := gzip.NewReader(bytes.NewReader(openData(t, "cambridge/trees.geojson.gz")))
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Features []struct {
			Properties struct{ SiteType, Scientific string }
		}
	}
	if err := json.NewDecoder(r).Decode(&file); err != nil {
		t.Fatal(err)
	}
	levels, unknown, trees, nameless := map[Source]float64{}, map[string]int{}, 0.0, 0
	for _, f := range file.Features {
		switch p := f.Properties; {
		case p.SiteType != "Tree":
		case p.Scientific == "":
			nameless++
		default:
			from := Find(p.Scientific).Height(0.3).From
			levels[from]++
			trees++
			if from == General {
				unknown[p.Scientific]++
			}
		}
	}
	t.Logf("%.0f named trees: species %.3f, genus %.3f, group %.3f, general %.4f; unknown: %v", trees,
		levels[Species]/trees, levels[Genus]/trees, levels[Group]/trees, levels[General]/trees, unknown)
	if trees != 28649 || nameless != 2648 || levels[Species] < 0.65*trees || levels[General] > 0.01*trees {
		t.Errorf("%.0f named trees and %d without a name by level: %v", trees, nameless, levels)
	}
}
