package paper

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"
)

// The classes of METHOD section 7: 6.0, 6.5 and 12.5 in lie in the first three;
// 12.0 in with 6.5.
func TestQuantities(t *testing.T) {
	var got []string
	for _, q := range bidSheet().quantities() {
		got = append(got, strings.Join([]string{q.work, q.label, yesNo(q.line), num(float64(q.visits)), num(q.hours)}, "|"))
	}
	want := []string{"cleaning|to 15.2 cm (to 6 in)|no|1|1.1", "cleaning|over 15.2 to 30.5 cm (7-12 in)|no|2|2.2", "cleaning|over 30.5 to 45.7 cm (13-18 in)|no|1|1.1",
		"cleaning|over 61.0 to 76.2 cm (25-30 in)|no|1|1.1", "cleaning|over 106.7 cm (over 42 in)|no|1|1.1", "restoration|not recorded|yes|1|0"}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// GDAL's XLSX driver, another reader, finds the sheets, the types of the columns
// and the texts as they were given.
func TestXLSXAgainstGDAL(t *testing.T) {
	ogrinfo, err := exec.LookPath("ogrinfo")
	if err != nil {
		t.Fatal("ogrinfo is missing: run `make test`, which installs gdal-bin")
	}
	file := writeXLSX(t, bidSheet())
	read := func(layer string) string {
		cmd := exec.Command(ogrinfo, "-ro", "-al", file, layer)
		cmd.Env = append(os.Environ(), "OGR_XLSX_HEADERS=FORCE")
		out, err := cmd.CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		return string(out)
	}
	trees := read("trees")
	for _, want := range []string{"Feature Count: 7", "year: Integer", "tag: String", "dbh_cm: Real", "height_m: Real", "visit: Integer", "longitude: Real", "dbh_cm (Real) = 15.24",
		"tag (String) = =1+1", "species (String) = @SUM(A1)", "common_name (String) = -2+3", "package (String) = +cmd|' /C calc'!A0", `instructions (String) = <b> =HYPERLINK("x")`} {
		if !strings.Contains(trees, want) {
			t.Errorf("GDAL does not find %q in the trees:\n%.1500s", want, trees)
		}
	}
	quantities := read("quantities")
	for _, want := range []string{"year: Integer", "quantity: Integer", "quantity (Integer) = 2", "work (String) = mobilisation", "class of stem diameter (String) = over 15.2 to 30.5 cm (7-12 in)"} {
		if !strings.Contains(quantities, want) {
			t.Errorf("GDAL does not find %q in the quantities:\n%.1500s", want, quantities)
		}
	}
	conditions := strings.Join(strings.Fields(read("conditions")), " ")
	for _, want := range append([]string{"Bids close on 1 April 2026.", "1 March 2026"}, Cautions...) {
		if !strings.Contains(conditions, want) {
			t.Errorf("the conditions lack %q", want)
		}
	}
}

// A bidder's prices make sums: the library's own calculation follows the formulas
// that are in the file.
func TestXLSXSums(t *testing.T) {
	f, err := excelize.OpenFile(writeXLSX(t, bidSheet()))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if got := f.GetSheetList(); !slices.Equal(got, []string{sheetQuantities, sheetTrees, sheetConditions}) {
		t.Errorf("sheets %v: the client's own estimate must not go to bidders", got)
	}
	for row, price := range map[string]float64{"F2": 10, "F3": 20.5, "F7": 100} {
		if err := f.SetCellFloat(sheetQuantities, row, price, -1, 64); err != nil {
			t.Fatal(err)
		}
	}
	for cell, want := range map[string]string{"G2": "10.00", "G3": "41.00", "G4": "0.00", "E10": "7", "G10": "151.00", "B8": "mobilisation", "A8": "2026", "E8": "1", "A9": "2027"} {
		if got, err := f.CalcCellValue(sheetQuantities, cell); err != nil || got != want {
			t.Errorf("%s is %q, %v; want %q", cell, got, err, want)
		}
	}
	s := bidSheet()
	s.Estimate = true
	own, err := excelize.OpenFile(writeXLSX(t, s))
	if err != nil {
		t.Fatal(err)
	}
	defer own.Close()
	if got, err := own.GetCellValue(sheetEstimate, "G3"); err != nil || got != "220.00" {
		t.Errorf("the estimate of the second line is %q, %v", got, err)
	}
}

// In the file itself: the only formulas are ours, the heading stays in sight, and
// no time of day of the making is in it.
func TestXLSXParts(t *testing.T) {
	z, err := zip.OpenReader(writeXLSX(t, bidSheet()))
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	formulas, frozen := 0, 0
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		b, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		wellFormed(t, b)
		if y := f.Modified.Year(); y > 1980 && !f.Modified.IsZero() {
			t.Errorf("%s is dated %s", f.Name, f.Modified)
		}
		if strings.HasPrefix(f.Name, "xl/worksheets/") {
			for _, m := range regexp.MustCompile(`<f[^>]*>(.*?)</f>`).FindAllSubmatch(b, -1) {
				formulas++
				if !regexp.MustCompile(`^(E\d+\*F\d+|SUM\(E2:E7\)|SUM\(G2:G9\))$`).Match(m[1]) {
					t.Errorf("%s has the formula %s", f.Name, m[1])
				}
			}
			if bytes.Contains(b, []byte(`state="frozen"`)) {
				frozen++
			}
		}
		if f.Name == "docProps/core.xml" && !bytes.Contains(b, []byte("2026-03-05T14:30:00Z")) {
			t.Errorf("the properties are %s", b)
		}
	}
	if formulas != 10 || frozen != 2 {
		t.Errorf("%d formulas, %d sheets with a frozen heading", formulas, frozen)
	}
}

func writeXLSX(t *testing.T, s *BidSheet) string {
	t.Helper()
	b, err := BidXLSX(s)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "bid.xlsx")
	if err := os.WriteFile(file, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

func TestBidCSV(t *testing.T) {
	for name, write := range map[string]func(*BidSheet) ([]byte, error){"quantities": BidCSV, "trees": BidTreesCSV} {
		b, err := write(bidSheet())
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if len(rows) != map[string]int{"quantities": 9, "trees": 8}[name] || bytes.Count(b, []byte("\r\n")) != len(rows) {
			t.Errorf("%s: %d rows", name, len(rows))
		}
		for _, row := range rows[1:] {
			if !strings.Contains(row[len(row)-1], "screening only") {
				t.Errorf("%s: a row without the caution: %v", name, row)
			}
			for _, cell := range row {
				// A longitude in the west is a number, which no spreadsheet runs.
				if cell != "" && strings.ContainsRune("=+-@", rune(cell[0])) && !regexp.MustCompile(`^-?\d+(\.\d+)?$`).MatchString(cell) {
					t.Errorf("%s: %q would be a formula", name, cell)
				}
			}
		}
	}
}
