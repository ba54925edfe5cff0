package postgres

import (
	"context"
	"strings"

	"github.com/underbough/underbough/inventory"
)

var targetColumns = []string{
	"layer", "source_id", "name", "kind", "people_per_hour", "people_present", "dwell_minutes", "vehicles_per_day", "speed_mps",
	"stalls", "share_occupied", "turnover_per_day", "hours", "sheltered",
}

const targetStage = `
	record bigint, match_key text COLLATE "C", row_digest bigint, extra jsonb, geometry geometry(Geometry, 4326), row_text text,
	layer text COLLATE "C", source_id text COLLATE "C", name text, kind text, people_per_hour double precision, people_present double precision,
	dwell_minutes double precision, vehicles_per_day double precision, speed_mps double precision, stalls double precision,
	share_occupied double precision, turnover_per_day double precision, hours text, sheltered boolean,
	repair text, geometry_as_read geometry`

// Targets stages a batch of targets.
func (l *loader) Targets(ctx context.Context, rows []inventory.TargetRow) error {
	if err := l.stage(ctx, "load_targets", targetStage); err != nil {
		return translate(err)
	}
	w := &l.buf
	w.reset()
	for i := range rows {
		r := &rows[i]
		t := &r.Target
		w.row(7 + len(targetColumns))
		w.int64(r.Record)
		w.text(r.Key)
		w.int64(int64(r.Digest))
		w.json(r.Extra)
		if err := w.geometry(t.Geometry); err != nil {
			return err
		}
		w.text(string(r.Text))
		w.textOrNull(r.Repair)
		w.textOrNull(t.Layer)
		w.textOrNull(t.SourceID)
		w.textOrNull(t.Name)
		w.text(string(t.Kind))
		for _, v := range [...]inventory.Opt[float64]{
			t.PeoplePerHour, t.PeoplePresent, t.DwellMinutes, t.VehiclesPerDay, t.Speed, t.Stalls, t.ShareOccupied, t.TurnoverPerDay,
		} {
			w.float64OrNull(v)
		}
		w.textOrNull(t.Hours)
		w.boolOrNull(t.PeopleSheltered)
	}
	return l.copyIn(ctx, `load_targets (record, match_key, row_digest, extra, geometry, row_text, repair, `+strings.Join(targetColumns, ", ")+`)`)
}

func (l *loader) beginTargets(ctx context.Context) (err error) {
	l.direct, err = l.setAside(ctx, targets)
	return err
}

// mergeTargets repairs, holds what cannot be repaired, and merges on the key.
func (l *loader) mergeTargets(ctx context.Context, c *inventory.Counts) error {
	if !l.staged["load_targets"] {
		if l.direct {
			return l.putBack(ctx, targets, 0)
		}
		return nil
	}
	if _, err := l.tx.Exec(ctx, `ANALYZE load_targets`); err != nil {
		return err
	}
	if err := l.repair(ctx); err != nil {
		return err
	}
	if l.direct {
		return l.fillTargets(ctx, c)
	}
	given := append(l.given(targetColumns), "repair", "geometry")
	updated, err := l.tx.Exec(ctx, `
		UPDATE targets t SET `+assignments(given, nil)+`, geometry_as_read = l.geometry_as_read, row_digest = l.row_digest, import_id = $3
		FROM load_targets l
		WHERE t.client_id = $1 AND t.site_id = $2 AND t.match_key = l.match_key AND t.row_digest IS DISTINCT FROM l.row_digest
		  AND (`+differences(given, nil)+`)`,
		l.spec.Client, l.site, l.id)
	if err != nil {
		return err
	}
	added, err := l.insertTargets(ctx, `ON CONFLICT (client_id, site_id, match_key) DO NOTHING`)
	if err != nil {
		return err
	}
	var staged int64
	if err := l.tx.QueryRow(ctx, `SELECT count(*), count(repair) FROM load_targets`).Scan(&staged, &c.Repaired); err != nil {
		return err
	}
	c.Added, c.Updated = added, updated.RowsAffected()
	c.Unchanged = staged - c.Added - c.Updated
	return nil
}

// fillTargets moves the staged rows into the empty table.
func (l *loader) fillTargets(ctx context.Context, c *inventory.Counts) (err error) {
	if c.Added, err = l.insertTargets(ctx, ""); err != nil {
		return err
	}
	if err := l.tx.QueryRow(ctx, `SELECT count(repair) FROM load_targets`).Scan(&c.Repaired); err != nil {
		return err
	}
	return l.putBack(ctx, targets, c.Added)
}

func (l *loader) insertTargets(ctx context.Context, onConflict string) (int64, error) {
	all := `match_key, row_digest, extra, geometry, repair, geometry_as_read, ` + strings.Join(targetColumns, ", ")
	added, err := l.tx.Exec(ctx, `
		INSERT INTO targets (client_id, site_id, import_id, changed_by, `+all+`)
		SELECT $1, $2, $3, $4, `+all+` FROM load_targets ORDER BY record `+onConflict,
		l.spec.Client, l.site, l.id, l.spec.Actor)
	return added.RowsAffected(), err
}

// repair mends invalid geometry and holds what is left empty. The geometry as
// read is kept beside the mended one.
func (l *loader) repair(ctx context.Context) error {
	_, err := l.tx.Exec(ctx, `
		UPDATE load_targets SET repair = concat_ws('; ', repair, ST_IsValidReason(geometry)), geometry_as_read = geometry, geometry = `+makeValid("geometry")+`
		WHERE ST_Dimension(geometry) > 0 AND NOT ST_IsValid(geometry)`)
	if err != nil {
		return err
	}
	return l.holdStaged(ctx, "load_targets", `repair IS NOT NULL AND ST_IsEmpty(geometry)`, "'geometry'",
		`format('the shape covers no ground and cannot be repaired: %s', repair)`)
}
