package importers

import (
	"bytes"
	"context"
	"encoding/json"

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
	o.Site, o.Role, o.Readmit, o.Numbers = rows[0].Site, rows[0].Role, nil, nil
	if o.Mapping == nil {
		o.Mapping = how.Fields
	}
	if o.MaxKM < 0 {
		o.MaxKM = how.MaxKM
	}
	o.Where, o.Layer = how.Where, how.Layer
	var text bytes.Buffer
	if rows[0].Format == FormatCSV {
		text.WriteString(how.Header + "\n")
	}
	for _, q := range rows {
		o.Readmit = append(o.Readmit, q.ID)
		o.Numbers = append(o.Numbers, q.Record)
		if q.Format == FormatGeoJSON {
			text.WriteByte(0x1e) // a record of RFC 8142 may span lines
		}
		text.WriteString(q.Text + "\n")
	}
	f, err := Open(&text, rows[0].FileName, how.Open)
	if err != nil {
		return inventory.Counts{}, err
	}
	return Run(ctx, store, f, o)
}
