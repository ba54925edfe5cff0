package importers

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"strings"

	"github.com/underbough/underbough/importers/csv"
	"github.com/underbough/underbough/importers/geojson"
	"github.com/underbough/underbough/importers/source"
	"github.com/underbough/underbough/inventory"
)

// Readmit imports held rows again, mended or not, by the mapping of the import
// that held them unless o brings one. Rows that are still at fault stay held.
func Readmit(ctx context.Context, store inventory.ImportStore, rows []inventory.QuarantineRow, o Options) (inventory.Counts, error) {
	var total inventory.Counts
	for len(rows) > 0 {
		n := 1
		for n < len(rows) && alike(rows[n], rows[0]) {
			n++
		}
		c, err := readmitAlike(ctx, store, rows[:n], o)
		if err != nil {
			return total, err
		}
		total.Read += c.Read
		total.Added += c.Added
		total.Updated += c.Updated
		total.Unchanged += c.Unchanged
		total.LeftOut += c.LeftOut
		total.Quarantined += c.Quarantined
		total.Repaired += c.Repaired
		total.Summed += c.Summed
		total.CutsAdded += c.CutsAdded
		total.CutsUpdated += c.CutsUpdated
		total.CutsUnchanged += c.CutsUnchanged
		rows = rows[n:]
	}
	return total, nil
}

// alike reports whether two held rows can be read as one file.
func alike(a, b inventory.QuarantineRow) bool {
	return a.Site == b.Site && a.Role == b.Role && a.FileName == b.FileName && a.Format == b.Format && bytes.Equal(a.Mapping, b.Mapping)
}

func readmitAlike(ctx context.Context, store inventory.ImportStore, rows []inventory.QuarantineRow, o Options) (inventory.Counts, error) {
	var how kept
	if err := json.Unmarshal(rows[0].Mapping, &how); err != nil {
		return inventory.Counts{}, inventory.Errorf(inventory.Internal, "the mapping kept with %s cannot be read: %w", rows[0].FileName, err)
	}
	o.Site, o.Role, o.Readmit, o.taken = rows[0].Site, rows[0].Role, nil, make(map[string]int64)
	if o.Mapping == nil {
		o.Mapping = how.Fields
	}
	if o.MaxKM < 0 {
		o.MaxKM = how.MaxKM
	}
	o.Where, o.Layer = how.Where, how.Layer
	for i := range rows {
		o.Readmit = append(o.Readmit, rows[i].ID)
		if key, record, ok := takenBy(&rows[i], o.Layer); ok {
			o.taken[key] = record
		}
	}
	f, err := openHeld(rows, how)
	if err != nil {
		return inventory.Counts{}, err
	}
	return Run(ctx, store, f, o)
}

// openHeld makes a file of held rows.
func openHeld(rows []inventory.QuarantineRow, how kept) (*File, error) {
	f := &File{Name: rows[0].FileName, Format: rows[0].Format, Header: how.Header, open: how.Open}
	parsers := new(geojson.Source).NewParser
	if f.Format == FormatCSV {
		src, err := csv.New(strings.NewReader(how.Header+"\n"), how.Open.csv())
		if err != nil {
			return nil, inventory.Errorf(inventory.Internal, "the header kept with %s cannot be read: %w", f.Name, err)
		}
		f.Columns, parsers = columnsOf(src), src.NewParser
	}
	f.src = &heldSource{rows: rows, parsers: parsers}
	return f, f.look()
}

// heldSource hands out held rows one by one. They are cut already: read as one
// stream, a row with a quote left open would swallow those after it.
type heldSource struct {
	rows    []inventory.QuarantineRow
	parsers func() source.Parser
}

// Next returns the next row under the number it had in its file.
func (h *heldSource) Next() (source.Raw, error) {
	if len(h.rows) == 0 {
		return source.Raw{}, io.EOF
	}
	q := &h.rows[0]
	h.rows = h.rows[1:]
	return source.Raw{Number: q.Record, Text: []byte(strings.TrimRight(q.Text, "\r\n"))}, nil
}

// NewParser returns a parser of the rows' format.
func (h *heldSource) NewParser() source.Parser { return h.parsers() }
