package allometry

import (
	"math"
	"slices"
	"testing"
)

// TestTableIsTheSource compares every species row with RDS-2016-0005, table TS6, and the published largest and smallest
// values with what the equation gives at the ends of the published diameters.
func TestTableIsTheSource(t *testing.T) {
	published := openTable(t, "TS6_Growth_coefficients_20180326.csv")
	if len(published) != 2402 {
		t.Fatalf("%d equations in TS6, want 2402", len(published))
	}
	var loglog, loglogExact, others, othersExact, minima, minimaExact int
	for _, row := range tableRows(t) {
		if row[colLevel] != "species" {
			continue
		}
		src := publishedRow(published, row)
		if src == nil {
			t.Errorf("%s %s: not in TS6", row[colName], row[colComponent])
			continue
		}
		for col, name := range map[int]string{colA: "a", colB: "b", colC: "c", colD: "d", colMin: "Apps min", colMax: "Apps max", colTrees: "n"} {
			if got, want := number(t, row[col]), number(t, src[name]); got != want {
				t.Errorf("%s %s: %s %g, want %g", row[colName], row[colComponent], name, got, want)
			}
		}
		if !publishedDiameters(t, published, src, number(t, row[colDBHMin]), number(t, row[colDBHMax])) {
			t.Errorf("%s %s: %s to %s cm is no published range", row[colName], row[colComponent], row[colDBHMin], row[colDBHMax])
		}
		if row[colForm] == "cub" {
			continue // made to reach the published value
		}
		q, err := readCurve(row)
		if err != nil {
			t.Fatal(err)
		}
		atMax := math.Abs(q.raw(q.hi)-q.valueMax) < 0.1
		if row[colForm] == "loglogw1" {
			loglog, loglogExact = loglog+1, loglogExact+count(math.Abs(q.raw(q.hi)-q.valueMax) < 0.011)
		} else {
			others, othersExact = others+1, othersExact+count(atMax)
		}
		minima, minimaExact = minima+1, minimaExact+count(math.Abs(q.raw(q.lo)-q.valueMin) < 0.1)
	}
	t.Logf("largest values: loglogw1 %d of %d within 1 cm, others %d of %d within 10 cm; smallest: %d of %d within 10 cm",
		loglogExact, loglog, othersExact, others, minimaExact, minima)
	if loglog < 60 || float64(loglogExact) < 0.9*float64(loglog) || float64(othersExact) < 0.9*float64(others) || float64(minimaExact) < 0.9*float64(minima) {
		t.Errorf("too few published values come out")
	}
}

// TestSigma: what TS6 means by Sigma, against the trees of the same region in TS3. For polynomials weighted by
// 1/dbh^p it is the mean squared error, in square metres per cm^p; for the logarithmic forms the root of the mean
// squared error of ln(metres), per cm^(p/2).
func TestSigma(t *testing.T) {
	published := openTable(t, "TS6_Growth_coefficients_20180326.csv")
	trees := measuredTrees(t)
	powers := map[string]float64{"1": 0, "1/sqrt(dbh)": 0.5, "1/dbh": 1, "1/dbh^2": 2, "1/(dbh)^2": 2}
	var polynomial, logarithmic []float64
	for _, row := range tableRows(t) {
		if row[colLevel] != "species" || row[colForm] == "cub" {
			continue
		}
		src := publishedRow(published, row)
		q, err := readCurve(row)
		if err != nil || src == nil || number(t, src["Sigma"]) == 0 {
			continue
		}
		component := slices.Index(componentNames[:], row[colComponent])
		logs := q.form != lin && q.form != quad
		taxon := parseName(row[colName]).key()
		var sum, n float64
		for _, tree := range trees {
			if tree.taxon != taxon || tree.region != row[colRegion] || tree.cm <= 0 || tree.metres[component] <= 0 {
				continue
			}
			residual := tree.metres[component] - q.raw(tree.cm)
			if logs {
				residual = math.Log(tree.metres[component] / q.raw(tree.cm))
			}
			sum, n = sum+residual*residual/math.Pow(tree.cm, powers[src["Model weight"]]), n+1
		}
		switch sigma := number(t, src["Sigma"]); {
		case n < 15:
		case logs:
			logarithmic = append(logarithmic, math.Sqrt(sum/n)/sigma)
		default:
			polynomial = append(polynomial, sum/n/sigma)
		}
	}
	for kind, ratios := range map[string][]float64{"polynomial": polynomial, "logarithmic": logarithmic} {
		slices.Sort(ratios)
		n := len(ratios)
		t.Logf("%s: measured over published: median %.3f, quartiles %.3f and %.3f of %d", kind, ratios[n/2], ratios[n/4], ratios[3*n/4], n)
		if n < 80 || math.Abs(ratios[n/2]-1) > 0.02 || ratios[n/4] < 0.9 || ratios[3*n/4] > 1.1 {
			t.Errorf("%s: Sigma is not what it was taken for", kind)
		}
	}
}

func count(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

func publishedRow(published []map[string]string, row []string) map[string]string {
	name := row[colName]
	if row[colSourceName] != "" {
		name = row[colSourceName]
	}
	component := map[string]string{"height": "tree ht", "crown": "crown dia"}[row[colComponent]]
	for _, p := range published {
		if p["Independent variable"] == "dbh" && p["Predicts component"] == component && p["Region"] == row[colRegion] &&
			p["Scientific Name"] == name && p["EqName"] == row[colForm] {
			return p
		}
	}
	return nil
}

// publishedDiameters: TS6 prints the range of diameters with the equations that predict the diameter.
func publishedDiameters(t *testing.T, published []map[string]string, src map[string]string, from, to float64) bool {
	var lower, upper bool
	for _, p := range published {
		if p["Region"] == src["Region"] && p["SpCode"] == src["SpCode"] && p["Predicts component"] == "dbh" {
			lower = lower || math.Abs(number(t, p["Apps min"])-from) < 0.006
			upper = upper || math.Abs(number(t, p["Apps max"])-to) < 0.006
		}
	}
	return lower && upper
}
