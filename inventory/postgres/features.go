package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// FindFeatures hands on the features of a stored collection in the order asked
// for, as they come from the database.
func (db *DB) FindFeatures(ctx context.Context, q inventory.FeatureQuery, fn func(*inventory.Feature) error) error {
	if page, err := db.gatheredPageOf(ctx, &q); err != nil {
		return err
	} else if page != nil {
		return page.find(ctx, db, q, fn)
	}
	var reader *featureRow
	write := func(f *featureSQL) (err error) {
		if err = f.page(); err == nil {
			reader, err = db.newFeatureRow(ctx, f)
		}
		return err
	}
	return db.askFeatures(ctx, q, write, func(rows pgx.Rows) error { return readFeatures(rows, reader, fn) })
}

// CountFeatures counts the features that a query holds for, whatever its page,
// and stops at limit + 1; at all of them where limit is 0.
func (db *DB) CountFeatures(ctx context.Context, q inventory.FeatureQuery, limit int) (n int, err error) {
	q.Pick, q.Order = make([]bool, len(q.Collection.Properties)), nil
	err = db.askFeatures(ctx, q, func(f *featureSQL) error { return f.count(limit) }, scanOne(&n))
	return n, err
}

// FeatureExtent returns the box about all features of a stored collection.
func (db *DB) FeatureExtent(ctx context.Context, client inventory.ClientID, c *inventory.Collection) (b orb.Bound, ok bool, err error) {
	var side [4]*float64
	err = db.askFeatures(ctx, allOf(client, c), (*featureSQL).extent, scanOne(&side[0], &side[1], &side[2], &side[3]))
	if err != nil || side[0] == nil {
		return b, false, err
	}
	return orb.Bound{Min: orb.Point{*side[0], *side[1]}, Max: orb.Point{*side[2], *side[3]}}, true, nil
}

// FeatureSpan returns the time from the beginning of the earliest feature of a
// stored collection to the end of the latest; false where no feature has a time.
func (db *DB) FeatureSpan(ctx context.Context, client inventory.ClientID, c *inventory.Collection) (span inventory.Span, ok bool, err error) {
	var from, to *time.Time
	err = db.askFeatures(ctx, allOf(client, c), (*featureSQL).span, scanOne(&from, &to))
	if err != nil || from == nil || to == nil {
		return span, false, err
	}
	return inventory.Span{From: *from, To: *to}, true, nil
}

// allOf asks for all of a collection and none of its properties.
func allOf(client inventory.ClientID, c *inventory.Collection) inventory.FeatureQuery {
	return inventory.FeatureQuery{Client: client, Collection: c, Pick: make([]bool, len(c.Properties))}
}

// askFeatures asks for what a query selects, in a statement that write writes with
// what is in force at the sites.
func (db *DB) askFeatures(ctx context.Context, q inventory.FeatureQuery, write func(*featureSQL) error, read func(pgx.Rows) error) error {
	return db.withSites(ctx, q.Client, q.ID.OK, func(sites siteStates) error {
		f, err := newFeatureSQL(ctx, q, sites)
		if err != nil {
			return err
		}
		if err := write(f); err != nil {
			return err
		}
		return db.ask(ctx, f.adHoc(), f.text.String(), f.args, read)
	})
}

// scanOne reads an answer of one row.
func scanOne(dest ...any) func(pgx.Rows) error {
	return func(rows pgx.Rows) error {
		for rows.Next() {
			if err := rows.Scan(dest...); err != nil {
				return err
			}
		}
		return rows.Err()
	}
}

// FeatureState tells states of the inventory apart. Each statement that
// changes something leaves a row in touched until a run takes it into account
// and raises the generation; a sum and a count, unlike a maximum, also see a
// row whose transaction began earlier and ended later.
func (db *DB) FeatureState(ctx context.Context, client inventory.ClientID) (state string, err error) {
	var sites siteStates
	var columns [4][]int64
	var touched []string
	err = db.pool.QueryRow(ctx, `
		SELECT md5(coalesce((SELECT string_agg(concat_ws(e'\x01', s.site_id, s.xmin, s.name, s.time_zone, s.generation), e'\x02' ORDER BY s.site_id)
		                     FROM sites s WHERE s.client_id = $1), '')
		   || e'\x03' || (SELECT concat_ws(e'\x01', count(*), sum(touched_id)) FROM touched WHERE client_id = $1)
		   || e'\x03' || (SELECT concat_ws(e'\x01', count(*), max(changed_at)) FROM questions WHERE client_id = $1)), i.*, u.*
		FROM (SELECT coalesce(array_agg(site_id ORDER BY site_id), '{}'), coalesce(array_agg(generation ORDER BY site_id), '{}'), coalesce(array_agg(revision ORDER BY site_id), '{}')
		      FROM sites WHERE client_id = $1) i,
		     (SELECT coalesce(array_agg(site_id), '{}'), coalesce(array_agg(said), '{}')
		      FROM (SELECT site_id, count(*) || '/' || sum(touched_id) AS said FROM touched WHERE client_id = $1 GROUP BY site_id) t) u`, client).
		Scan(&state, &columns[0], &columns[1], &columns[2], &columns[3], &touched)
	if err != nil {
		return "", translate(err)
	}
	keys := make(siteKeys)
	for i, id := range columns[0] {
		sites = append(sites, siteState{id, columns[1][i], columns[2][i]})
		keys[id] = siteKey{columns[1][i], columns[2][i], noTouchings}
	}
	for i, id := range columns[3] {
		keys[id] = siteKey{keys[id].generation, keys[id].revision, touched[i]}
	}
	db.gathered.noteState(client, state, keys)
	db.sites.note(client, sites)
	return state, nil
}

// ask runs a question that has one statement and hands its rows on: in the
// snapshot of the context where there is one, else on its own. A statement that
// is ad hoc is planned for its parameters.
func (db *DB) ask(ctx context.Context, adHoc bool, sql string, args []any, fn func(pgx.Rows) error) error {
	// One format for all columns: geometry has a binary form too, which pgx
	// would not ask for of a type it does not know.
	options := []any{pgx.QueryResultFormats{pgx.BinaryFormatCode}}
	if adHoc {
		options = append(options, pgx.QueryExecModeCacheDescribe)
	}
	args = append(options, args...)
	run := func(rows pgx.Rows, err error) error {
		if err != nil {
			return err
		}
		defer rows.Close()
		return fn(rows)
	}
	if _, ok := snapshotOf(ctx); ok {
		return db.reading(ctx, func(tx pgx.Tx) error { return run(tx.Query(ctx, sql, args...)) })
	}
	return translate(run(db.pool.Query(ctx, sql, args...)))
}

func tableOf(c *inventory.Collection) (*featureTable, error) {
	table, ok := featureTables[c.Base()]
	if !ok {
		return nil, inventory.Errorf(inventory.Internal, "collection %q is not stored", c.ID)
	}
	return table, nil
}
