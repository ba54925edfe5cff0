package postgres

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"github.com/underbough/underbough/inventory"
)

// FindVersions returns versions of a feature, the latest first: the row in force
// and every row that the triggers put into the history.
func (db *DB) FindVersions(ctx context.Context, q inventory.HistoryQuery) (list []inventory.Version, err error) {
	f, err := newVersionSQL(q)
	if err != nil {
		return nil, err
	}
	reader, err := db.newFeatureRow(ctx, f)
	if err != nil {
		return nil, err
	}
	at := f.keys // the columns about the version follow
	err = db.ask(ctx, false, f.text.String(), f.args, func(rows pgx.Rows) error {
		for rows.Next() {
			raw := rows.RawValues()
			feature, err := reader.read(raw)
			if err != nil {
				return err
			}
			v := inventory.Version{Number: integer(raw[at]), By: string(raw[at+2]), Feature: keptFeature(feature)}
			var moment inventory.Value
			if err := decodeValue(&moment, inventory.Timestamp, raw[at+1]); err != nil {
				return err
			}
			v.From = moment.Time
			if raw[at+3] != nil {
				if err := decodeValue(&moment, inventory.Timestamp, raw[at+3]); err != nil {
					return err
				}
				v.Gone = inventory.Some(inventory.Ending{At: moment.Time, By: string(raw[at+4])})
			}
			list = append(list, v)
		}
		return rows.Err()
	})
	return list, err
}

// keptFeature is a copy that outlives the row it was read from.
func keptFeature(f *inventory.Feature) inventory.Feature {
	out := *f
	out.EWKB = bytes.Clone(f.EWKB)
	out.Values = slices.Clone(f.Values)
	for i := range out.Values {
		v := &out.Values[i]
		v.Bytes = bytes.Clone(v.Bytes)
		v.List = slices.Clone(v.List)
		for k := range v.List {
			v.List[k] = bytes.Clone(v.List[k])
		}
	}
	return out
}

// newVersionSQL writes the statement for versions of a feature.
func newVersionSQL(q inventory.HistoryQuery) (*featureSQL, error) {
	t, err := tableOf(q.Collection)
	if err != nil {
		return nil, err
	}
	s := &featureSQL{query: inventory.FeatureQuery{Client: q.Client, Collection: q.Collection}, table: t}
	s.client = s.arg(q.Client)
	id := s.arg(q.ID)
	columns := []string{t.key + "::bigint", "NULL"}
	if e := editTables[q.Collection.Base()]; e != nil && e.own {
		columns[1] = t.geometry
	}
	for i := range q.Collection.Properties {
		p := &q.Collection.Properties[i]
		o := t.origin(p.Name)
		if isStored(t, p, o) {
			s.read = append(s.read, reading{at: i, column: len(columns), origin: o})
			columns = append(columns, o.sql)
		}
	}
	s.keys = len(columns)
	for _, c := range []string{"version", "changed_at", "changed_by", "ended_at", "ended_by"} {
		columns = append(columns, t.alias+"."+c)
	}
	column := strings.TrimPrefix(t.key, t.alias+".")
	from := fmt.Sprintf(`(
		SELECT w.*, NULL::timestamptz AS ended_at, NULL::text AS ended_by FROM %[1]s w WHERE w.client_id = %[3]s AND w.%[2]s = %[4]s
		UNION ALL
		SELECT b.*, CASE h.change WHEN 'delete' THEN h.valid_to END, CASE h.change WHEN 'delete' THEN h.actor END
		FROM history h CROSS JOIN LATERAL jsonb_populate_record(NULL::%[1]s, h.before) b
		WHERE h.client_id = %[3]s AND h.collection = '%[1]s' AND h.feature_id = %[4]s) %[5]s`, t.table, column, s.client, id, t.alias)
	if t.alias != "s" {
		from += " LEFT JOIN sites s ON " + fmt.Sprintf(siteJoin.on, t.alias)
	}
	s.text.WriteString("SELECT " + strings.Join(columns, ", ") + " FROM " + from)
	if q.Below.OK {
		s.text.WriteString(" WHERE " + t.alias + ".version < " + s.arg(q.Below.V))
	}
	s.text.WriteString(" ORDER BY " + t.alias + ".version DESC")
	if q.Limit > 0 {
		s.text.WriteString(" LIMIT " + s.arg(q.Limit))
	}
	return s, nil
}

// isStored reports whether a property is of the feature's own row, or the name of
// its site: what else is served of it is not its own history.
func isStored(t *featureTable, p *inventory.Property, o origin) bool {
	switch p.Name {
	case "version", "changed_at", "generation":
		return false
	}
	return !p.Derived && (o.needs == "" || o.needs == "s" && t.alias != "s")
}

// putColumns are what PutBack writes of a table whose feature is there: all that
// edits write. What the inventory keeps itself stays.
var putColumns = map[string]string{
	"trees":   "site_id, match_key, source_id, tag, species, common_name, status, dbh_m, stems, height_m, crown_radius_m, crown_north_m, crown_east_m, crown_south_m, crown_west_m, condition, planted_year, lean_deg, lean_bearing_deg, brittle, crown, extra, geometry",
	"cuts":    "site_id, tree_id, match_key, source_id, kind, given_kind, made_year, made_on, count, diameter_m, lateral_diameter_m, height_m, bearing_deg, reach_m, stub_length_m, closure, decay, regrowth_length_m, regrowth_count, regrowth_diameter_m, bare_share, extra",
	"visits":  "site_id, tree_id, match_key, source_id, visited_on, visited_by, condition, whole_tree, crown, limb, note, next_visit_on, dbh_m, height_m, crown_radius_m, stem_diameter_m, decay_diameter_m, sound_wall_m, opening_share, other_points, extra",
	"targets": "site_id, match_key, layer, source_id, name, kind, people_per_hour, people_present, dwell_minutes, vehicles_per_day, speed_mps, stalls, share_occupied, turnover_per_day, hours, sheltered, repair, geometry_as_read, extra, geometry",
	"counts":  "site_id, target_id, counted_at, people, vehicles, extra",
}

// records are what is deleted with a feature, and comes back with it.
var records = map[string][]string{"trees": {"cuts", "visits"}, "targets": {"counts"}}

// putBack puts a feature back to an earlier version, to the digit. One that was
// deleted gets its number back, and what was deleted with it comes back too.
func (t *editTable) putBack(ctx context.Context, tx pgx.Tx, e *inventory.Edit) (sites []int64, err error) {
	columns, ok := putColumns[t.table]
	if !ok {
		return nil, inventory.Errorf(inventory.Invalid, "%s are not put back: change them", e.Collection.ID)
	}
	sites, err = t.lock(ctx, tx, e)
	// A version that must be in force is none of a feature that is deleted.
	gone := inventory.KindOf(err) == inventory.NotFound && len(e.Versions) == 0
	if err != nil && !gone {
		return nil, err
	}
	if gone {
		if sites, err = t.bringBack(ctx, tx, e); err != nil {
			return nil, t.putFault(e, err)
		}
		return sites, nil
	}
	// The row in force has no row of history yet: putting it back to itself changes
	// nothing.
	tag, err := tx.Exec(ctx, `
		UPDATE `+t.table+` w SET (`+columns+`) = (SELECT `+columns+` FROM jsonb_populate_record(NULL::`+t.table+`, h.before))
		FROM history h
		WHERE w.client_id = $1 AND w.`+t.key+` = $2 AND h.client_id = $1 AND h.collection = $3 AND h.feature_id = $2 AND h.version = $4`,
		e.Client, e.ID, t.table, e.To)
	if err != nil {
		return nil, t.putFault(e, err)
	}
	var site, version int64
	if err := tx.QueryRow(ctx, `SELECT site_id, version FROM `+t.table+` WHERE client_id = $1 AND `+t.key+` = $2`, e.Client, e.ID).Scan(&site, &version); err != nil {
		return nil, err
	}
	if tag.RowsAffected() == 0 && version != e.To {
		return nil, noVersion(e)
	}
	if slices.Contains(sites, site) {
		return sites, nil
	}
	for _, of := range records[t.table] { // its records go with it
		if _, err := tx.Exec(ctx, `UPDATE `+of+` SET site_id = $3 WHERE client_id = $1 AND `+t.key+` = $2`, e.Client, e.ID, site); err != nil {
			return nil, err
		}
	}
	return append(sites, site), nil
}

func noVersion(e *inventory.Edit) error {
	return inventory.Errorf(inventory.Invalid, "feature %d of %s has no version %d: its history lists those there are", e.ID, e.Collection.ID, e.To)
}

// putFault says in words why a row of the history no longer fits in.
func (t *editTable) putFault(e *inventory.Edit, err error) error {
	var server *pgconn.PgError
	if !errors.As(err, &server) {
		return err
	}
	switch server.Code {
	case "23503":
		return inventory.Errorf(inventory.Conflict, "version %d of feature %d of %s is of something that is deleted: bring that back first", e.To, e.ID, e.Collection.ID)
	case "23505":
		return inventory.Errorf(inventory.Conflict, "feature %d of %s cannot be put back to version %d: another has its source_id by now", e.ID, e.Collection.ID, e.To)
	}
	return err
}

// bringBack makes a deleted feature again from its history, at the version after
// its last, and what was deleted with it.
func (t *editTable) bringBack(ctx context.Context, tx pgx.Tx, e *inventory.Edit) (sites []int64, err error) {
	var last, deletion int64 // the last version, and the row of history that says it was deleted
	err = tx.QueryRow(ctx, `SELECT version, history_id FROM history WHERE client_id = $1 AND collection = $2 AND feature_id = $3 AND change = 'delete' ORDER BY version DESC LIMIT 1`,
		e.Client, t.table, e.ID).Scan(&last, &deletion)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, inventory.Errorf(inventory.NotFound, "there never was a feature %d in %s", e.ID, e.Collection.ID)
	}
	if err != nil {
		return nil, err
	}
	var site int64
	err = tx.QueryRow(ctx, `
		INSERT INTO `+t.table+` SELECT b.*
		FROM history h CROSS JOIN LATERAL jsonb_populate_record(NULL::`+t.table+`, h.before || jsonb_build_object('version', $5::bigint, 'changed_at', clock_timestamp(), 'changed_by', actor())) b
		WHERE h.client_id = $1 AND h.collection = $2 AND h.feature_id = $3 AND h.version = $4
		RETURNING site_id`, e.Client, t.table, e.ID, e.To, last+1).Scan(&site)
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, noVersion(e)
	}
	if err != nil {
		return nil, err
	}
	for _, of := range records[t.table] {
		key := editTables[of].key
		// What the deletion took along was superseded by the same transaction. Rows of
		// before those were noted are told by the time.
		_, err := tx.Exec(ctx, `
			INSERT INTO `+of+` SELECT b.*
			FROM history d JOIN history h ON h.client_id = d.client_id AND h.collection = $3 AND h.change = 'delete' AND h.made_in IS NOT DISTINCT FROM d.made_in
				AND h.valid_to BETWEEN d.valid_to - CASE WHEN d.made_in IS NULL THEN interval '10 s' ELSE interval '1 day' END AND d.valid_to + interval '1 day'
				AND (h.before ->> '`+t.key+`')::bigint = d.feature_id
			CROSS JOIN LATERAL jsonb_populate_record(NULL::`+of+`, h.before || jsonb_build_object('site_id', $4::bigint, 'version', h.version + 1, 'changed_at', clock_timestamp(), 'changed_by', actor())) b
			WHERE d.client_id = $1 AND d.history_id = $2 AND NOT EXISTS (SELECT FROM `+of+` o WHERE o.client_id = $1 AND o.`+key+` = h.feature_id)`,
			e.Client, deletion, of, site)
		if err != nil {
			return nil, err
		}
	}
	return []int64{site}, nil
}
