package postgres

import (
	"context"
	"time"

	"github.com/underbough/underbough/inventory"
)

const countStage = `
	record bigint, target_layer text COLLATE "C", target_source_id text COLLATE "C", target_name text COLLATE "C", row_text text,
	row_digest bigint, extra jsonb, at timestamp, zoned boolean, people double precision, vehicles double precision,
	target_id bigint, targets_found bigint, zone text, moment timestamptz, shown timestamp, counted_at timestamp, hour_begin timestamptz,
	repeats bigint, parts bigint, whole bigint`

// Counts stages a batch of counts.
func (l *loader) Counts(ctx context.Context, rows []inventory.CountRow) error {
	if err := l.stage(ctx, "load_counts", countStage); err != nil {
		return translate(err)
	}
	w := &l.buf
	w.reset()
	for i := range rows {
		r := &rows[i]
		w.row(11)
		w.int64(r.Record)
		w.textOrNull(r.TargetLayer)
		w.textOrNull(r.TargetSourceID)
		w.textOrNull(r.TargetName)
		w.text(string(r.Text))
		w.int64(int64(r.Digest))
		w.json(r.Extra)
		at := r.At
		if r.Zoned {
			at = at.UTC()
		}
		w.clock(at)
		w.bool(r.Zoned)
		w.float64OrNull(r.People)
		w.float64OrNull(r.Vehicles)
	}
	return l.copyIn(ctx, `load_counts (record, target_layer, target_source_id, target_name, row_text, row_digest, extra, at, zoned, people, vehicles)`)
}

// clock writes a timestamp without time zone: what the clock shows.
func (w *copyBuffer) clock(t time.Time) {
	shown := time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), 0, time.UTC)
	w.int64(shown.Sub(epoch2000).Microseconds())
}

// mergeCounts gives each count its target and its hour of the site's clock, sums
// the parts of an hour, and merges on target and hour. Of an hour that the clock
// goes through twice the mean is kept: the week has that hour once.
func (l *loader) mergeCounts(ctx context.Context, c *inventory.Counts) error {
	if !l.staged["load_counts"] {
		return nil
	}
	for _, step := range []func(context.Context) error{l.findTargets, l.findHours, l.holdRepeated, l.holdParts} {
		if err := step(ctx); err != nil {
			return err
		}
	}
	_, err := l.tx.Exec(ctx, `
		CREATE TEMP TABLE load_hours ON COMMIT DROP AS
		SELECT target_id, counted_at,
			sum(people) / nullif(count(DISTINCT hour_begin) FILTER (WHERE people IS NOT NULL), 0) people,
			sum(vehicles) / nullif(count(DISTINCT hour_begin) FILTER (WHERE vehicles IS NOT NULL), 0) vehicles,
			bit_xor(row_digest) row_digest, (array_agg(extra ORDER BY record))[1] extra, count(*) records,
			count(DISTINCT moment) - count(DISTINCT hour_begin) summed
		FROM load_counts GROUP BY target_id, counted_at`)
	if err != nil {
		return err
	}
	if _, err := l.tx.Exec(ctx, `ANALYZE load_hours`); err != nil {
		return err
	}
	kept := []string{"people", "vehicles"}
	err = l.tx.QueryRow(ctx, `
		WITH changed AS (
			UPDATE counts t SET `+assignments(nil, kept)+`, row_digest = l.row_digest, import_id = $2
			FROM load_hours l
			WHERE t.client_id = $1 AND t.target_id = l.target_id AND t.counted_at = l.counted_at AND t.row_digest IS DISTINCT FROM l.row_digest
			  AND (`+differences(nil, kept)+`)
			RETURNING l.records)
		SELECT coalesce(sum(records), 0)::bigint FROM changed`, l.spec.Client, l.id).Scan(&c.Updated)
	if err != nil {
		return err
	}
	err = l.tx.QueryRow(ctx, `
		WITH made AS (
			INSERT INTO counts (client_id, site_id, import_id, changed_by, target_id, counted_at, people, vehicles, extra, row_digest)
			SELECT $1, $2, $3, actor(), target_id, counted_at, people, vehicles, extra, row_digest FROM load_hours ORDER BY target_id, counted_at
			ON CONFLICT (client_id, target_id, counted_at) DO NOTHING RETURNING target_id, counted_at)
		SELECT coalesce(sum(records), 0)::bigint FROM made JOIN load_hours USING (target_id, counted_at)`, l.spec.Client, l.site, l.id).Scan(&c.Added)
	if err != nil {
		return err
	}
	var all int64
	if err := l.tx.QueryRow(ctx, `SELECT coalesce(sum(records), 0)::bigint, coalesce(sum(summed), 0)::bigint FROM load_hours`).Scan(&all, &c.Summed); err != nil {
		return err
	}
	c.Unchanged = all - c.Added - c.Updated
	return nil
}

// findTargets gives each staged count its target, by id and then by name, and
// holds those that name none or several.
func (l *loader) findTargets(ctx context.Context) error {
	if _, err := l.tx.Exec(ctx, `ANALYZE load_counts`); err != nil {
		return err
	}
	for _, by := range []struct{ ours, theirs string }{{"source_id", "target_source_id"}, {"name", "coalesce(target_name, target_source_id)"}} {
		_, err := l.tx.Exec(ctx, `
			UPDATE load_counts l SET target_id = f.target_id, targets_found = f.n
			FROM (SELECT r.called, r.layer, min(g.target_id) target_id, count(*) n
			      FROM (SELECT DISTINCT `+by.theirs+` called, target_layer layer FROM load_counts WHERE target_id IS NULL) r
			      JOIN targets g ON g.client_id = $1 AND g.site_id = $2 AND g.`+by.ours+` = r.called AND (r.layer IS NULL OR g.layer = r.layer)
			      GROUP BY r.called, r.layer) f
			WHERE l.target_id IS NULL AND f.called = `+by.theirs+` AND f.layer IS NOT DISTINCT FROM l.target_layer`, l.spec.Client, l.site)
		if err != nil {
			return err
		}
	}
	return l.holdStaged(ctx, "load_counts", `targets_found IS DISTINCT FROM 1`, "'target'", `
		CASE WHEN targets_found > 1 THEN format('%s targets of this site go by %s: name the target by its source id, and the layer with --layer', targets_found, coalesce(target_source_id, target_name))
		     WHEN coalesce(target_source_id, target_name) IS NULL THEN 'the record names no target: map target_source_id or target_name'
		     ELSE format('no target of this site has the source id or name %s%s: load the targets first, or correct it', coalesce(target_source_id, target_name), ' in layer ' || target_layer) END`)
}

// findHours turns times into hours of the site's clock, and holds those that
// this clock never shows.
func (l *loader) findHours(ctx context.Context) error {
	var zone string
	if err := l.tx.QueryRow(ctx, `SELECT time_zone FROM sites WHERE client_id = $1 AND site_id = $2`, l.spec.Client, l.site).Scan(&zone); err != nil {
		return err
	}
	const (
		moment = `(at AT TIME ZONE CASE WHEN zoned THEN 'UTC' ELSE $1 END)`
		shown  = `(` + moment + ` AT TIME ZONE $1)`
		hour   = `date_trunc('hour', ` + shown + `)`
	)
	_, err := l.tx.Exec(ctx, `UPDATE load_counts SET zone = $1, moment = `+moment+`, shown = `+shown+`, counted_at = `+hour+`,
		hour_begin = `+moment+` - (`+shown+` - `+hour+`)`, zone)
	if err != nil {
		return err
	}
	return l.holdStaged(ctx, "load_counts", `NOT zoned AND shown <> at`, "'time'", `
		format('there is no %s in %s, the time zone of this site: the clock goes forward there; give the offset from UTC, or the local time', to_char(at, 'YYYY-MM-DD HH24:MI'), zone)`)
}

// holdRepeated holds what was counted at one place and time by an earlier record
// that names the target in another way.
func (l *loader) holdRepeated(ctx context.Context) error {
	for _, what := range []string{"people", "vehicles"} {
		_, err := l.tx.Exec(ctx, `
			UPDATE load_counts l SET repeats = f.first
			FROM (SELECT record, min(record) OVER (PARTITION BY target_id, moment) first FROM load_counts WHERE `+what+` IS NOT NULL) f
			WHERE f.record = l.record AND f.first < l.record`)
		if err != nil {
			return err
		}
	}
	return l.holdStaged(ctx, "load_counts", `repeats IS NOT NULL`, "'time'",
		`format('what was counted at this target and time is that of record %s already: keep one of the two', repeats)`)
}

// holdParts holds the hours that lack a part: where a target is counted in
// quarters of an hour, three of them are no hour. How many parts there should be
// is the most that any hour of the target has, here or, where held records are
// read again, in the import that held them.
func (l *loader) holdParts(ctx context.Context) error {
	for _, what := range []string{"people", "vehicles"} {
		_, err := l.tx.Exec(ctx, `
			UPDATE load_counts l SET parts = h.parts, whole = h.whole
			FROM (SELECT target_id, hour_begin, count(DISTINCT moment) parts,
			             greatest(max(count(DISTINCT moment)) OVER (PARTITION BY target_id), (
			                 SELECT max((regexp_match(reason, 'of its (\d+) parts'))[1]::bigint) FROM quarantine q WHERE q.client_id = $1 AND q.import_id IN (
			                     SELECT import_id FROM quarantine WHERE client_id = $1 AND quarantine_id = ANY ($2)))) whole
			      FROM load_counts WHERE `+what+` IS NOT NULL GROUP BY target_id, hour_begin) h
			WHERE h.target_id = l.target_id AND h.hour_begin = l.hour_begin AND h.parts < h.whole AND l.whole IS NULL`, l.spec.Client, l.spec.Readmit)
		if err != nil {
			return err
		}
	}
	return l.holdStaged(ctx, "load_counts", `whole IS NOT NULL`, "'time'", `
		format('the hour from %s has %s of its %s parts: add what is missing and read them all again', to_char(counted_at, 'YYYY-MM-DD HH24:MI'), parts, whole)`)
}
