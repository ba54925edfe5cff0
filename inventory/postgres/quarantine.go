package postgres

import (
	"bytes"
	"context"
	"strings"
	"unicode/utf8"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
)

// onHeldAlready lets a row that is held already stay, under the newest import
// that met it: its mapping is how the row will be read again.
const onHeldAlready = `ON CONFLICT (client_id, site_id, role, file_name, record, md5(row_text)) WHERE state = 'held'
	DO UPDATE SET import_id = excluded.import_id, field = excluded.field, reason = excluded.reason`

// Hold puts records into the quarantine.
func (l *loader) Hold(ctx context.Context, rows []inventory.Held) error {
	if l.stream == nil {
		return l.copyHeld(ctx, rows)
	}
	for _, h := range rows {
		h.Text = bytes.Clone(h.Text) // it is a piece of a larger block
		l.waitingHeld = append(l.waitingHeld, h)
		l.waitingText += len(h.Text)
	}
	return l.drainFull(ctx)
}

func (l *loader) copyHeld(ctx context.Context, rows []inventory.Held) error {
	if err := l.stage(ctx, "load_held", `record bigint, field text, reason text, row_text text`); err != nil {
		return translate(err)
	}
	w := &l.buf
	w.reset()
	for i := range rows {
		w.row(4)
		w.int64(rows[i].Record)
		w.text(storable(rows[i].Field))
		w.text(storable(rows[i].Reason))
		w.text(storable(string(rows[i].Text)))
	}
	if err := l.copyIn(ctx, "load_held"); err != nil {
		return err
	}
	_, err := l.tx.Exec(ctx, `
		WITH held AS (DELETE FROM load_held RETURNING *)
		INSERT INTO quarantine (client_id, site_id, import_id, role, file_name, record, field, reason, row_text, row_format)
		SELECT $1, $2, $3, $4, $5, record, field, reason, row_text, $6 FROM held ORDER BY record
		`+onHeldAlready,
		l.spec.Client, l.site, l.id, l.spec.Role, l.spec.FileName, l.spec.Format)
	l.held += int64(len(rows))
	return translate(err)
}

// firstHeld returns the first records that this import holds.
func (l *loader) firstHeld(ctx context.Context) ([]inventory.Held, error) {
	rows, err := l.tx.Query(ctx, `
		SELECT record, field, reason, row_text FROM quarantine
		WHERE client_id = $1 AND site_id = $2 AND import_id = $3 ORDER BY record, quarantine_id LIMIT $4`,
		l.spec.Client, l.site, l.id, inventory.MostFirstHeld)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (inventory.Held, error) {
		var h inventory.Held
		var text string
		err := row.Scan(&h.Record, &h.Field, &h.Reason, &text)
		h.Text = []byte(text)
		return h, err
	})
}

// storable makes any bytes fit a text column, which takes UTF-8 without NUL.
func storable(s string) string {
	if utf8.ValidString(s) && !strings.Contains(s, "\x00") {
		return s
	}
	return strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\x00", "\uFFFD")
}

// settle marks the rows that this import readmitted; those it had to hold again
// bear its number and stay.
func (l *loader) settle(ctx context.Context) error {
	_, err := l.tx.Exec(ctx, `
		UPDATE quarantine SET state = 'readmitted', settled_at = now()
		WHERE client_id = $1 AND quarantine_id = ANY($2) AND state = 'held' AND import_id <> $3`, l.spec.Client, l.spec.Readmit, l.id)
	return err
}

// quarantined is what a filter lets through.
const quarantined = `
	FROM quarantine q JOIN sites s USING (client_id, site_id) JOIN imports i USING (client_id, import_id)
	WHERE q.client_id = $1 AND q.state = 'held'
	  AND ($2 = '' OR s.name = $2) AND ($3 = '' OR q.file_name = $3)
	  AND ($4::bigint[] IS NULL OR q.quarantine_id = ANY($4))`

// CountQuarantined counts held records.
func (db *DB) CountQuarantined(ctx context.Context, client inventory.ClientID, f inventory.QuarantineFilter) (n int64, err error) {
	err = db.pool.QueryRow(ctx, `SELECT count(*)`+quarantined, client, f.Site, f.FileName, f.IDs).Scan(&n)
	return n, translate(err)
}

// FindQuarantined lists held records in the order of their files.
func (db *DB) FindQuarantined(ctx context.Context, client inventory.ClientID, f inventory.QuarantineFilter) ([]inventory.QuarantineRow, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT q.quarantine_id, s.name, q.role, q.file_name, q.record, q.field, q.reason, q.row_text, q.row_format, q.held_at, i.mapping
		`+quarantined+`
		ORDER BY s.name, q.file_name, q.record, q.quarantine_id LIMIT nullif($5, 0)`, client, f.Site, f.FileName, f.IDs, f.Limit)
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (inventory.QuarantineRow, error) {
		var q inventory.QuarantineRow
		err := row.Scan(&q.ID, &q.Site, &q.Role, &q.FileName, &q.Record, &q.Field, &q.Reason, &q.Text, &q.Format, &q.HeldAt, &q.Mapping)
		return q, err
	})
	return list, translate(err)
}

// DropQuarantined settles held records as unwanted.
func (db *DB) DropQuarantined(ctx context.Context, client inventory.ClientID, ids []int64) (int64, error) {
	tag, err := db.pool.Exec(ctx, `
		UPDATE quarantine SET state = 'dropped', settled_at = now()
		WHERE client_id = $1 AND quarantine_id = ANY($2) AND state = 'held'`, client, ids)
	return tag.RowsAffected(), translate(err)
}
