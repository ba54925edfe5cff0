package allometry

import (
	"bytes"
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// openData reads a file of the open data that lies beside the repository.
func openData(t *testing.T, file string) []byte {
	t.Helper()
	dir, err := filepath.Abs(".")
	for err == nil && dir != filepath.Dir(dir) {
		if _, missing := os.Stat(filepath.Join(dir, "go.mod")); missing == nil {
			break
		}
		dir = filepath.Dir(dir)
	}
	data, err := os.ReadFile(filepath.Join(dir, "..", "shared", "data", file))
	if os.IsNotExist(err) {
		t.Skipf("the open data is not here: no ../shared/data/%s beside the repository", file)
	}
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// openTable reads a table of RDS-2016-0005 that lies beside the repository, as one map a row, column names trimmed.
func openTable(t *testing.T, file string) []map[string]string {
	t.Helper()
	r := csv.NewReader(bytes.NewReader(openData(t, "usda-urban-trees/"+file)))
	r.LazyQuotes = true
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := make([]map[string]string, 0, len(rows)-1)
	for _, row := range rows[1:] {
		m := make(map[string]string, len(row))
		for i, v := range row {
			m[strings.TrimSpace(rows[0][i])] = strings.TrimSpace(v)
		}
		out = append(out, m)
	}
	return out
}

// number reads a cell; empty is 0.
func number(t *testing.T, cell string) float64 {
	t.Helper()
	if cell == "" {
		return 0
	}
	v, err := strconv.ParseFloat(cell, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// measuredTree is one tree of TS3; what was not measured is not positive.
type measuredTree struct {
	taxon, region, group string // taxon is the key the trees are pooled by
	name                 string
	cm                   float64
	metres               [2]float64 // height, crown diameter
}

func measuredTrees(t *testing.T) []measuredTree {
	t.Helper()
	rows := openTable(t, "TS3_Raw_tree_data.csv")
	if len(rows) != 14487 {
		t.Fatalf("%d trees in TS3, want 14487", len(rows))
	}
	out := make([]measuredTree, len(rows))
	for i, r := range rows {
		out[i] = measuredTree{
			taxon: parseName(r["ScientificName"]).accepted().key(), name: r["ScientificName"], region: r["Region"], group: r["TreeType"],
			cm:     number(t, r["DBH (cm)"]),
			metres: [2]float64{number(t, r["TreeHt (m)"]), number(t, r["AvgCdia (m)"])},
		}
	}
	return out
}

// tableRows is equations.csv without its heading.
func tableRows(t *testing.T) [][]string {
	t.Helper()
	r := csv.NewReader(strings.NewReader(equationsCSV))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

var componentNames = [2]string{"height", "crown"}

// curveOf is a Kind's curve for 0, height, or 1, crown diameter.
func curveOf(k *Kind, component int) *curve {
	return [2]*curve{&k.height, &k.crown}[component]
}
