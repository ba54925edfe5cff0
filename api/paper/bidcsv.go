package paper

import (
	"bytes"
	"encoding/csv"

	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// treeColumns are of the list of trees, in XLSX and in CSV.
var treeColumns = []string{"year", "package", "tag", "species", "common_name", "dbh_cm", "class", "height_m", "height_estimated", "work", "visit", "dose_most_percent", "line_within_reach", "longitude", "latitude", "instructions"}

// treeCells are the cells of a row: texts, ints, float64s or nil.
func treeCells(r *BidRow) []any {
	_, class := bidClass(r)
	cells := []any{r.Year, plain(r.Package), plain(r.Tree.Label()), plain(r.Tree.Species), plain(r.Tree.CommonName), nil, class, ranking.Rounded(r.Tree.Size.Height),
		yesNo(r.Tree.Size.HeightEstimated()), plain(string(r.Work)), r.Visit, ranking.Rounded(r.Dose * 100), yesNo(r.LineInReach), degrees(r.Tree.Point[0]), degrees(r.Tree.Point[1]), plain(r.Text)}
	if r.Tree.DBH.OK {
		cells[5] = ranking.Rounded(r.Tree.DBH.V * 100)
	}
	return cells
}

// BidTreesCSV writes the list of trees to be pruned as CSV (RFC 4180), a caution
// in each row.
// A text that a spreadsheet would take for a formula is quoted, as in every table
// of ours.
func BidTreesCSV(s *BidSheet) ([]byte, error) {
	columns := append(append([]string{}, treeColumns...), "caution")
	return table(columns, func(yield func([]any)) {
		for i := range s.Rows {
			if s.Rows[i].isLook() {
				continue
			}
			yield(append(treeCells(&s.Rows[i]), question.Caution))
		}
	})
}

// BidCSV writes the quantities as CSV, setting up in a package among them, with empty columns for the bidder's price
// and sum.
func BidCSV(s *BidSheet) ([]byte, error) {
	columns := []string{"year", "work", "class", "line_within_reach", "quantity", "unit_price", "sum", "caution"}
	return table(columns, func(yield func([]any)) {
		for _, q := range s.priced() {
			yield([]any{q.year, q.work, q.label, q.lineCell(), q.visits, nil, nil, question.Caution})
		}
	})
}

func table(columns []string, rows func(yield func([]any))) ([]byte, error) {
	var b bytes.Buffer
	out := csv.NewWriter(&b)
	out.UseCRLF = true
	err := out.Write(columns)
	rows(func(cells []any) {
		words := make([]string, len(cells))
		for i, c := range cells {
			words[i] = ranking.Property{Value: c}.Cell()
		}
		if err == nil {
			err = out.Write(words)
		}
	})
	out.Flush()
	if err == nil {
		err = out.Error()
	}
	return b.Bytes(), err
}
