package api

import (
	"bytes"
	"context"
	"encoding/csv"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/underbough/underbough/inventory"
)

// heldRow is a record that an import held back.
type heldRow struct {
	ID     int64          `json:"id"`
	Site   string         `json:"site"`
	Role   inventory.Role `json:"as"`
	File   string         `json:"file"`
	Record int64          `json:"record"`
	Field  string         `json:"field"` // empty where the whole record is at fault
	Reason string         `json:"reason"`
	Format string         `json:"format"`
	HeldAt time.Time      `json:"held_at"`
	Row    string         `json:"row"`
	// Cells are the row's values by name; none where it cannot be taken apart.
	Cells []ImportCell `json:"cells"`
}

type heldAnswer struct {
	Held          []heldRow `json:"held"`
	NumberMatched int64     `json:"numberMatched"`
	Links         []link    `json:"links"`
}

// mostHeldBytes is how much of held rows is listed at once: one alone may be an
// outline of a hundred thousand corners.
const mostHeldBytes = 8 << 20

// handleQuarantine lists what is held.
func (u *uploads) handleQuarantine(w http.ResponseWriter, r *http.Request) error {
	p, _, err := u.beginWork(w, r, "f", "site", "file", "limit")
	if err != nil {
		return err
	}
	form, err := negotiate(r, p, typeJSON, typeCSV)
	if err != nil {
		return err
	}
	q, err := u.heldOf(r.Context(), p["site"])
	if err != nil {
		return blame("site", err)
	}
	if q.FileName, err = p.words("file"); err != nil {
		return err
	}
	if q.Limit, err = p.limit(); err != nil {
		return err
	}
	if _, given := p["limit"]; form == typeCSV && !given {
		q.Limit = 0
	}
	rows, err := u.config.Store.FindQuarantined(r.Context(), u.config.Client, q)
	if err != nil {
		return err
	}
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("Vary", "Accept")
	if form == typeCSV {
		return writeHeldCSV(w, r, rows)
	}
	out := heldAnswer{Held: []heldRow{}, Links: []link{{Href: u.self(r), Rel: "self", Type: typeJSON}}}
	size := 0
	for i := range rows {
		q := &rows[i]
		if size += len(q.Text); size > mostHeldBytes && i > 0 {
			break // numberMatched tells that there are more
		}
		one := heldRow{q.ID, q.Site, q.Role, q.FileName, q.Record, q.Field, q.Reason, q.Format, q.HeldAt.UTC(), q.Text, []ImportCell{}}
		if cells, ok := u.config.Importer.Cells(q); ok {
			one.Cells = cells
		}
		out.Held = append(out.Held, one)
	}
	if out.NumberMatched, err = u.config.Store.CountQuarantined(r.Context(), u.config.Client, q); err != nil {
		return err
	}
	return writeJSON(w, r, out)
}

// heldOf asks for what is held of a site, or of all where none is named.
func (u *uploads) heldOf(ctx context.Context, site string) (inventory.QuarantineFilter, error) {
	if site == "" {
		return inventory.QuarantineFilter{}, nil
	}
	_, err := u.site(ctx, site)
	return inventory.QuarantineFilter{Site: site}, err
}

// writeHeldCSV writes held rows as a table, each with its row as it was read.
func writeHeldCSV(w http.ResponseWriter, r *http.Request, rows []inventory.QuarantineRow) error {
	var b bytes.Buffer
	c := csv.NewWriter(&b)
	c.UseCRLF = true // RFC 4180
	c.Write([]string{"id", "site", "as", "file", "record", "field", "reason", "held_at", "row"})
	for i := range rows {
		q := &rows[i]
		c.Write([]string{strconv.FormatInt(q.ID, 10), q.Site, string(q.Role), q.FileName, strconv.FormatInt(q.Record, 10), q.Field, q.Reason, q.HeldAt.UTC().Format(time.RFC3339), q.Text})
	}
	c.Flush()
	if err := c.Error(); err != nil {
		return err
	}
	w.Header().Set("Content-Type", typeCSV+"; charset=utf-8; header=present")
	w.Header().Set("Content-Disposition", `attachment; filename="held.csv"`)
	return writeBody(w, r, b.Bytes())
}

// mended is what a request says of one held row.
type mended struct {
	id     int64
	row    inventory.Opt[string]
	values map[string]string
}

// handleReadmit imports held rows again, mended or as they are.
func (u *uploads) handleReadmit(w http.ResponseWriter, r *http.Request) error {
	_, actor, err := u.beginWork(w, r)
	if err != nil {
		return err
	}
	f, err := readFields(w, r)
	if err != nil {
		return err
	}
	how := ImportReadmission{Actor: actor}
	site, file, all := f.text("site"), f.text("file"), f.truth("all").V
	if how.MaxKM = f.number("max_km", 1); how.MaxKM.OK && (how.MaxKM.V < 0 || how.MaxKM.V > mostDistance) {
		f.wrong("max_km", "is %v: expected a distance in kilometres, 0 for no limit", how.MaxKM.V)
	}
	list := readMended(f)
	switch {
	case all == (len(list) > 0):
		f.wrong("rows", "and all: expected one of the two: rows, or all of a site")
	case all && site.V == "":
		f.wrong("site", "is missing: expected the site whose held rows are read again")
	case !all && (site.OK || file.OK):
		f.wrong("site", "and file mean nothing without all")
	}
	if err := f.end(); err != nil {
		return err
	}
	q, err := u.heldOf(r.Context(), site.V)
	if err != nil {
		return err
	}
	q.FileName = file.V
	for _, m := range list {
		q.IDs = append(q.IDs, m.id)
	}
	rows, err := u.config.Store.FindQuarantined(r.Context(), u.config.Client, q)
	if err != nil {
		return err
	}
	if len(rows) == 0 || !all && len(rows) < len(list) {
		return inventory.Errorf(inventory.NotFound, "%d of the %d rows asked for are held: somebody else may have settled the others; look again", len(rows), len(list))
	}
	if err := u.mend(rows, list); err != nil {
		return err
	}
	done, err := u.takeAll(rows)
	if err != nil {
		return err
	}
	defer done()
	counts, err := u.config.Importer.Readmit(r.Context(), rows, how)
	if err != nil {
		return err
	}
	return writeJSON(w, r, importCounts{counts})
}

func readMended(f *fields) []mended {
	var list []mended
	f.each("rows", func(f *fields) {
		m := mended{values: map[string]string{}}
		id := f.whole("id")
		f.need("id", "the id of a held row")
		m.id, m.row = int64(id.V), f.text("row")
		f.each("values", func(f *fields) {
			f.need("name", "the name of a column")
			m.values[f.text("name").V] = f.text("value").V
		})
		if m.row.OK && len(m.values) > 0 {
			f.wrong("row", "and values: expected one of the two")
		}
		if slices.ContainsFunc(list, func(b mended) bool { return b.id == m.id }) {
			f.wrong("id", "%d is there twice", m.id)
		}
		list = append(list, m)
	})
	return list
}

// mend puts what a request says into the rows.
func (u *uploads) mend(rows []inventory.QuarantineRow, list []mended) (err error) {
	for i := range rows {
		at := slices.IndexFunc(list, func(m mended) bool { return m.id == rows[i].ID })
		switch {
		case at < 0:
		case list[at].row.OK:
			rows[i].Text = list[at].row.V
		case len(list[at].values) > 0:
			if rows[i].Text, err = u.config.Importer.Mend(&rows[i], list[at].values); err != nil {
				return err
			}
		}
	}
	return nil
}

// takeAll keeps others from loading into the sites of held rows.
func (u *uploads) takeAll(rows []inventory.QuarantineRow) (done func(), err error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	var taken []string
	done = func() {
		u.mu.Lock()
		defer u.mu.Unlock()
		for _, site := range taken {
			delete(u.sites, site)
		}
	}
	for i := range rows {
		if slices.Contains(taken, rows[i].Site) {
			continue
		}
		if err := u.take(rows[i].Site); err != nil {
			for _, site := range taken {
				delete(u.sites, site)
			}
			return nil, err
		}
		taken = append(taken, rows[i].Site)
	}
	return done, nil
}

// dropAnswer is how many rows were settled.
type dropAnswer struct {
	Dropped int64 `json:"dropped"`
}

// handleDrop settles held rows that nobody wants; the rows are kept.
func (u *uploads) handleDrop(w http.ResponseWriter, r *http.Request) error {
	if _, _, err := u.beginWork(w, r); err != nil {
		return err
	}
	f, err := readFields(w, r)
	if err != nil {
		return err
	}
	f.need("ids", "the ids of held rows")
	ids := numbersOf(f, "ids")
	if err := f.end(); err != nil {
		return err
	}
	n, err := u.config.Store.DropQuarantined(r.Context(), u.config.Client, ids)
	if err != nil {
		return err
	}
	return writeJSON(w, r, dropAnswer{n})
}
