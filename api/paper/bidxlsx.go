package paper

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// The sheets of a bid workbook.
const (
	sheetQuantities = "quantities"
	sheetTrees      = "trees"
	sheetConditions = "conditions"
	sheetLooks      = "looks, not in this bid"
	sheetEstimate   = "own estimate"
)

// workbook is an XLSX under way. The first error is kept.
type workbook struct {
	*excelize.File
	head, text, whole, decimal, money, percent, degrees, title int
	err                                                        error
}

// BidXLSX writes the bid sheet as a workbook: quantities with empty prices and
// sums that follow them, the list of trees, and the conditions. Texts are texts,
// whatever they begin with. The same sheet gives the same bytes.
func BidXLSX(s *BidSheet) ([]byte, error) {
	w := &workbook{File: excelize.NewFile()}
	defer w.Close()
	w.styles()
	w.keep(w.SetSheetName("Sheet1", sheetQuantities))
	for _, name := range []string{sheetTrees, sheetConditions} {
		_, err := w.NewSheet(name)
		w.keep(err)
	}
	w.quantities(s, s.quantities(), len(s.priced()))
	w.trees(s)
	w.conditions(s)
	if len(s.looks()) > 0 {
		_, err := w.NewSheet(sheetLooks)
		w.keep(err)
		w.looks(s)
	}
	if s.Estimate {
		_, err := w.NewSheet(sheetEstimate)
		w.keep(err)
		w.estimate(s)
	}
	everyTime := true
	w.keep(w.SetCalcProps(&excelize.CalcPropsOptions{FullCalcOnLoad: &everyTime})) // the file holds formulas without their results
	made := "2000-01-01T00:00:00Z"
	if !s.IssuedAt.IsZero() {
		made = s.IssuedAt.UTC().Format(time.RFC3339)
	}
	w.keep(w.SetDocProps(&excelize.DocProperties{Title: s.title(), Creator: orNone(s.IssuedBy, "not named"), LastModifiedBy: orNone(s.IssuedBy, "not named"), Created: made, Modified: made, Language: "en"}))
	if w.err != nil {
		return nil, w.err
	}
	var b bytes.Buffer
	if err := w.Write(&b); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}

func (s *BidSheet) title() string {
	return strings.Trim(plain(s.Title)+", "+plain(s.Site.Name), ", ")
}

func (w *workbook) keep(err error) {
	if w.err == nil {
		w.err = err
	}
}

func (w *workbook) styles() {
	style := func(s excelize.Style) int {
		id, err := w.NewStyle(&s)
		w.keep(err)
		return id
	}
	custom := func(format string) excelize.Style { return excelize.Style{CustomNumFmt: &format} }
	wrap := &excelize.Alignment{WrapText: true, Vertical: "top"}
	w.head = style(excelize.Style{Font: &excelize.Font{Bold: true}, Border: []excelize.Border{{Type: "bottom", Color: "1D2733", Style: 1}}, Alignment: wrap})
	w.title = style(excelize.Style{Font: &excelize.Font{Bold: true, Size: 14}})
	w.text = style(excelize.Style{Alignment: wrap, NumFmt: 49})
	w.whole, w.decimal, w.money = style(custom("0")), style(custom("0.0")), style(custom("#,##0.00"))
	w.percent, w.degrees = style(custom("0.0")), style(custom("0.000000"))
}

// cell writes a value with a style; a nil leaves an empty cell.
func (w *workbook) cell(sheet string, col, row, style int, v any) {
	name, err := excelize.CoordinatesToCellName(col, row)
	w.keep(err)
	switch v := v.(type) {
	case nil:
	case string:
		w.keep(w.SetCellStr(sheet, name, cut(v)))
	case int:
		w.keep(w.SetCellInt(sheet, name, int64(v)))
	case float64:
		w.keep(w.SetCellFloat(sheet, name, v, -1, 64))
	default:
		w.keep(fmt.Errorf("sheet %s, cell %s: a %T is no value of a cell", sheet, name, v))
	}
	w.keep(w.SetCellStyle(sheet, name, name, style))
}

// cut keeps a text within what a cell holds.
func cut(s string) string {
	if r := []rune(s); len(r) > excelize.TotalCellChars {
		return string(r[:excelize.TotalCellChars-1]) + "…"
	}
	return s
}

func (w *workbook) formula(sheet string, col, row int, text string) {
	name, err := excelize.CoordinatesToCellName(col, row)
	w.keep(err)
	w.keep(w.SetCellFormula(sheet, name, text))
	w.keep(w.SetCellStyle(sheet, name, name, w.money))
}

// header writes the heading of columns, sets their widths and keeps them in
// sight.
func (w *workbook) header(sheet string, row int, names []string, widths []float64) {
	for i, name := range names {
		w.cell(sheet, i+1, row, w.head, name)
		col, err := excelize.ColumnNumberToName(i + 1)
		w.keep(err)
		w.keep(w.SetColWidth(sheet, col, col, widths[i]))
	}
	w.keep(w.SetPanes(sheet, &excelize.Panes{Freeze: true, YSplit: row, TopLeftCell: fmt.Sprintf("A%d", row+1), ActivePane: "bottomLeft"}))
	landscape, a4, fit := "landscape", 9, 1
	w.keep(w.SetPageLayout(sheet, &excelize.PageLayoutOptions{Orientation: &landscape, Size: &a4, FitToWidth: &fit}))
	w.keep(w.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Titles", RefersTo: fmt.Sprintf("'%s'!$%d:$%d", sheet, row, row), Scope: sheet}))
}

// quantities writes the pruning, then setting up, each with an empty price.
func (w *workbook) quantities(s *BidSheet, pruning []quantity, all int) {
	const head = 1
	price := "unit price, " + unitOf(s.Currency)
	w.header(sheetQuantities, head, []string{"year", "work", "class of stem diameter", "line within reach", "quantity", price, "sum"}, []float64{8, 18, 30, 12, 10, 18, 18})
	for i, q := range s.priced() {
		row := head + 1 + i
		w.line(sheetQuantities, row, &q)
		w.cell(sheetQuantities, 6, row, w.money, nil)
		w.formula(sheetQuantities, 7, row, fmt.Sprintf("E%[1]d*F%[1]d", row))
	}
	last := head + all
	w.cell(sheetQuantities, 2, last+1, w.head, "all")
	w.cell(sheetQuantities, 3, last+1, w.head, "quantity: visits, without mobilisation")
	if len(pruning) > 0 {
		w.formula(sheetQuantities, 5, last+1, fmt.Sprintf("SUM(E%d:E%d)", head+1, head+len(pruning)))
		w.keep(w.SetCellStyle(sheetQuantities, fmt.Sprintf("E%d", last+1), fmt.Sprintf("E%d", last+1), w.whole))
		w.formula(sheetQuantities, 7, last+1, fmt.Sprintf("SUM(G%d:G%d)", head+1, last))
	}
}

// line writes the cells that every list of quantities begins with.
func (w *workbook) line(sheet string, row int, q *quantity) {
	for col, v := range []any{q.year, q.work, q.label, q.lineCell(), q.visits} {
		style := w.text
		if _, whole := v.(int); whole {
			style = w.whole
		}
		w.cell(sheet, col+1, row, style, v)
	}
}

func (w *workbook) trees(s *BidSheet) {
	w.header(sheetTrees, 1, treeColumns, treeWidths)
	row := w.treeRows(sheetTrees, 2, s, func(r *BidRow) bool { return !r.isLook() })
	if row > 2 {
		w.keep(w.AutoFilter(sheetTrees, fmt.Sprintf("A1:P%d", row-1), nil))
	}
}

// treeRows writes the trees of some rows, and returns the next row.
func (w *workbook) treeRows(sheet string, row int, s *BidSheet, of func(*BidRow) bool) int {
	styles := []int{w.whole, w.text, w.text, w.text, w.text, w.decimal, w.text, w.decimal, w.text, w.text, w.whole, w.percent, w.text, w.degrees, w.degrees, w.text}
	for i := range s.Rows {
		if !of(&s.Rows[i]) {
			continue
		}
		for col, v := range treeCells(&s.Rows[i]) {
			w.cell(sheet, col+1, row, styles[col], v)
		}
		row++
	}
	return row
}

// treeWidths are the widths of treeColumns.
var treeWidths = []float64{8, 18, 14, 24, 20, 9, 30, 9, 10, 16, 7, 10, 10, 12, 12, 70}

// looks lists the trees that an assessor looks at: no work for bidders.
func (w *workbook) looks(s *BidSheet) {
	w.header(sheetLooks, 1, treeColumns, treeWidths)
	row := w.treeRows(sheetLooks, 2, s, (*BidRow).isLook)
	w.cell(sheetLooks, 2, row+1, w.head, notPartOfBid)
}

func (w *workbook) conditions(s *BidSheet) {
	w.keep(w.SetColWidth(sheetConditions, "A", "A", 26))
	w.keep(w.SetColWidth(sheetConditions, "B", "B", 110))
	w.cell(sheetConditions, 1, 1, w.title, s.title())
	row := 2
	line := func(name, text string) {
		w.cell(sheetConditions, 1, row, w.text, name)
		w.cell(sheetConditions, 2, row, w.text, text)
		row++
	}
	for _, f := range s.facts() {
		line(f.Name, f.Text)
	}
	for i, c := range s.Conditions {
		line(fmt.Sprintf("Condition %d", i+1), plain(c))
	}
	for i, c := range Cautions {
		line(fmt.Sprintf("Caution %d", i+1), c)
	}
	if n := len(s.looks()); n > 0 {
		line("Not in this bid", "Looks by an assessor, before anything is cut on those trees: they stand on the sheet “"+sheetLooks+"” and are no work for those who bid for pruning.")
	}
	line("How to price", "Fill in the unit price for each line of the sheet “quantities”: for one visit to one tree of that class, all included. Mobilisation is setting up in a package, once in each year that there is work in it. Classes hold what is over their lower edge up to and including their upper one. Height and diameter marked as estimated or not recorded are the bidder's to check on site.")
}

// estimate writes the client's own hours and cost, setting up and looks included:
// all together is what a programme of these jobs comes to.
func (w *workbook) estimate(s *BidSheet) {
	w.header(sheetEstimate, 1, []string{"year", "work", "class of stem diameter", "line within reach", "quantity", "crew-hours", "cost, " + unitOf(s.Currency), "bid"}, []float64{8, 26, 30, 12, 10, 14, 18, 34})
	_, looksOnly := s.mobilisations()
	row := 2
	for _, part := range []struct {
		list []quantity
		bid  string
	}{{s.priced(), "in this bid"}, {append(s.looks(), looksOnly...), notPartOfBid}} {
		for _, q := range part.list {
			w.line(sheetEstimate, row, &q)
			w.cell(sheetEstimate, 6, row, w.decimal, cents(q.hours))
			w.cell(sheetEstimate, 7, row, w.money, cents(q.cost))
			w.cell(sheetEstimate, 8, row, w.text, part.bid)
			row++
		}
	}
	w.cell(sheetEstimate, 2, row, w.head, "all")
	if row > 2 {
		w.formula(sheetEstimate, 6, row, fmt.Sprintf("SUM(F2:F%d)", row-1))
		w.formula(sheetEstimate, 7, row, fmt.Sprintf("SUM(G2:G%d)", row-1))
		w.cell(sheetEstimate, 8, row, w.text, "jobs that are done or withdrawn are not in it; the programme counts them")
	}
}

// cents rounds to a hundredth, so that the last bits of a sum do not show.
func cents(v float64) float64 { return math.Round(v*100) / 100 }

// degrees rounds a coordinate to about a decimetre.
func degrees(v float64) float64 { return math.Round(v*1e6) / 1e6 }
