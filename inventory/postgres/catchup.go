package postgres

import (
	"bytes"
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// CatchUp brings the exposures in force up to date with the edits since, by
// computing anew only the trees that an edit touched: those edited themselves
// and those that may reach a target which was. The cost follows the edits, not
// the inventory. It reports false, and changes nothing, where a full run is
// needed: there has been none under this profile and day, or the edits are too
// many to have been listed one by one.
func (db *DB) CatchUp(ctx context.Context, site inventory.Site, p *profile.Profile, asOf time.Time) (run inventory.Run, done bool, err error) {
	if instantOf(ctx).OK {
		return run, false, nil // what stood at an instant is not edited
	}
	// Statement by statement, not from one snapshot: an edit that commits
	// meanwhile leaves its own mark, which stays for the next time.
	err = db.editing(ctx, func(ctx context.Context, tx pgx.Tx) error {
		run, done, err = catchUp(ctx, tx, site, p, asOf)
		return err
	})
	db.sites.forget(site.Client)
	return run, done && err == nil, err
}

// Edit makes an edit and brings the exposures up to date with it in the same
// transaction: nobody sees the one without the other. It reports false where the
// edit was made and a full run is needed to take it into account.
func (db *DB) Edit(ctx context.Context, site inventory.Site, p *profile.Profile, asOf time.Time, edit func(context.Context, pgx.Tx) error) (run inventory.Run, done bool, err error) {
	err = db.editing(ctx, func(ctx context.Context, tx pgx.Tx) error {
		if err := edit(ctx, tx); err != nil {
			return err
		}
		run, done, err = catchUp(ctx, tx, site, p, asOf)
		return err
	})
	db.sites.forget(site.Client)
	return run, done && err == nil, err
}

// fewTrees are caught up with however small the inventory: about a target as
// long as a town, a full run is cheaper.
const fewTrees = 2000

func catchUp(ctx context.Context, tx pgx.Tx, site inventory.Site, p *profile.Profile, asOf time.Time) (run inventory.Run, done bool, err error) {
	c := &catching{tx: tx, site: site, profile: p, asOf: asOf}
	if ok, err := c.begin(ctx); err != nil || !ok {
		return c.run, false, err
	}
	if len(c.touched) == 0 {
		return c.run, true, nil
	}
	list, err := c.facts(ctx)
	if err != nil || int64(len(list)) > max(fewTrees, c.run.Trees/5) {
		return c.run, false, err
	}
	results, err := c.compute(ctx, list)
	if err != nil {
		return c.run, false, err
	}
	return c.run, true, c.write(ctx, results)
}

type catching struct {
	tx      pgx.Tx
	site    inventory.Site
	profile *profile.Profile
	asOf    time.Time
	run     inventory.Run

	touched []int64
	trees   []int64  // that were edited
	places  [][]byte // of targets that were edited, EWKB
	targets int64    // how many more there are
}

// begin takes the site's lock, so that of two who catch up the second finds
// nothing left to do, and reads what was touched.
func (c *catching) begin(ctx context.Context) (bool, error) {
	r := &c.run
	found, listed := false, true
	b := &pgx.Batch{}
	// The same few statements for every edit: planning each anew would cost more
	// than running it.
	b.Queue(`SET LOCAL plan_cache_mode = force_generic_plan`)
	// The lock first, in a statement of its own: what the next ones read is then
	// what its last holder left.
	b.Queue(`SELECT FROM sites WHERE client_id = $1 AND site_id = $2 FOR NO KEY UPDATE`, c.site.Client, c.site.ID)
	b.Queue(`
		SELECT r.generation, r.profile_name, r.profile_digest, r.as_of, r.computed_at, r.trees, r.targets, r.overlap_count, r.reach_m
		FROM sites s JOIN runs r USING (client_id, site_id, generation)
		WHERE s.client_id = $1 AND s.site_id = $2`, c.site.Client, c.site.ID).Query(func(rows pgx.Rows) error {
		for rows.Next() {
			found = true
			if err := rows.Scan(&r.Generation, &r.ProfileName, &r.ProfileDigest, &r.AsOf, &r.ComputedAt, &r.Trees, &r.Targets, &r.Overlaps, &r.Reach); err != nil {
				return err
			}
		}
		return rows.Err()
	})
	b.Queue(`SELECT touched_id, tree_id, ST_AsEWKB(place), targets FROM touched WHERE client_id = $1 AND site_id = $2`, c.site.Client, c.site.ID).Query(func(rows pgx.Rows) error {
		for rows.Next() {
			var id int64
			var tree *int64
			var place []byte
			var targets int64
			if err := rows.Scan(&id, &tree, &place, &targets); err != nil {
				return err
			}
			c.touched = append(c.touched, id)
			c.targets += targets
			switch {
			case tree != nil:
				c.trees = append(c.trees, *tree)
			case place != nil:
				c.places = append(c.places, place)
			default:
				listed = false
			}
		}
		return rows.Err()
	})
	if err := c.tx.SendBatch(ctx, b).Close(); err != nil {
		return false, err
	}
	if !found || !listed || !r.RestsOn(c.profile.Digest, c.asOf) {
		return false, nil
	}
	// Beyond a tenth of the trees a full run is cheaper.
	return int64(len(c.trees)+len(c.places)) <= max(100, r.Trees/10), nil
}

// facts reads the standing trees to compute anew. c.trees then lists every tree
// whose row is to be replaced.
func (c *catching) facts(ctx context.Context) ([]ranking.Facts, error) {
	if len(c.places) > 0 {
		// Distances in degrees: a degree of longitude is never longer than one of
		// latitude, so that what is near in metres is near by this measure. What has
		// many corners is simplified first, by six metres or so and then by a hundred:
		// no point of its edge moves by more, and so much farther off is looked.
		rows, err := c.tx.Query(ctx, `
			WITH whole AS MATERIALIZED (SELECT ST_GeomFromEWKB(ewkb) AS place FROM unnest($3::bytea[]) w(ewkb)),
			fine AS MATERIALIZED (SELECT CASE WHEN many THEN coalesce(ST_Simplify(place, 0.00005, true), place) ELSE place END AS place, CASE WHEN many THEN 0.00005 ELSE 0 END AS off
				FROM whole CROSS JOIN LATERAL (SELECT ST_NPoints(place) > 500 AS many) n),
			coarse AS MATERIALIZED (SELECT CASE WHEN many THEN coalesce(ST_Simplify(place, 0.001, true), place) ELSE place END AS place, CASE WHEN many THEN off + 0.001 ELSE off END AS off
				FROM fine CROSS JOIN LATERAL (SELECT ST_NPoints(place) > 2000 AS many) n),
			near AS MATERIALIZED (
				SELECT ST_Translate(place, turn.lon, 0) AS place, d.lon + off AS within, box.box
				FROM coarse
				CROSS JOIN LATERAL (SELECT $4::float8 / 110500 AS lat, $4::float8 / (110500 * cos(radians(least(89, greatest(abs(ST_YMin(place)), abs(ST_YMax(place))) + 0.01)))) AS lon) d
				CROSS JOIN LATERAL (VALUES (0), (-360), (360)) turn(lon)
				CROSS JOIN LATERAL (SELECT ST_Translate(ST_Expand(ST_Envelope(place), d.lon + off, d.lat + off), turn.lon, 0) AS box) box
				WHERE turn.lon = 0 OR ST_XMin(box.box) <= 180 AND ST_XMax(box.box) >= -180)
			SELECT DISTINCT t.tree_id FROM near n
			JOIN trees t ON t.client_id = $1 AND t.site_id = $2 AND t.geometry && n.box AND ST_DWithin(t.geometry, n.place, n.within)`,
			c.site.Client, c.site.ID, c.places, c.run.Reach)
		if err != nil {
			return nil, err
		}
		near, err := pgx.CollectRows(rows, pgx.RowTo[int64])
		if err != nil {
			return nil, err
		}
		c.trees = append(c.trees, near...)
	}
	if len(c.trees) == 0 {
		return nil, nil
	}
	return standingFacts(ctx, c.tx, c.site, c.trees)
}

// compute assesses the trees listed.
func (c *catching) compute(ctx context.Context, list []ranking.Facts) ([]ranking.Result, error) {
	if len(list) == 0 {
		return nil, nil
	}
	stripe, err := c.targetsUnder(ctx, list)
	if err != nil {
		return nil, err
	}
	results := make([]ranking.Result, len(list))
	assessor := stripe.NewAssessor()
	for i := range list {
		a := assessor.Assess(&list[i])
		results[i].Summarize(a, &list[i])
		c.run.Reach = max(c.run.Reach, a.Reach())
	}
	return results, nil
}

// fewRows is how many rows are inserted one by one, all in one round trip; more
// go by COPY.
const fewRows = 100

// write puts the results in the place of the rows of c.trees and notes that what
// was touched is taken into account.
func (c *catching) write(ctx context.Context, results []ranking.Result) error {
	r, table := &c.run, partitionOf(c.run.Generation)
	var overlaps int64
	moved := noteMove(ctx, r.Generation)
	moved.trees = c.trees
	for i := range results {
		overlaps += int64(results[i].Overlaps)
		moved.come = append(moved.come, results[i].Harm)
	}
	b := &pgx.Batch{}
	b.Queue(`
		WITH gone AS (DELETE FROM `+table+` WHERE client_id = $1 AND tree_id = ANY($4) RETURNING overlap_count, harm),
		less AS (SELECT count(*) AS trees, coalesce(sum(overlap_count), 0) AS overlaps, coalesce(array_agg(harm), '{}') AS harms FROM gone)
		UPDATE runs SET trees = runs.trees - less.trees + $5, targets = targets + $6, overlap_count = overlap_count - less.overlaps + $7, reach_m = greatest(reach_m, $8), computed_at = clock_timestamp()
		FROM less WHERE client_id = $1 AND site_id = $2 AND generation = $3 RETURNING runs.trees, targets, overlap_count, computed_at, less.harms`,
		c.site.Client, c.site.ID, r.Generation, c.trees, len(results), c.targets, overlaps, r.Reach).
		QueryRow(func(row pgx.Row) error {
			return row.Scan(&r.Trees, &r.Targets, &r.Overlaps, &r.ComputedAt, &moved.gone)
		})
	b.Queue(`DELETE FROM touched WHERE client_id = $1 AND touched_id = ANY($2)`, c.site.Client, c.touched)
	b.Queue(`UPDATE sites SET revision = revision + 1 WHERE client_id = $1 AND site_id = $2 RETURNING revision`, c.site.Client, c.site.ID).
		QueryRow(func(row pgx.Row) error { return row.Scan(&moved.revision) })
	if len(results) <= fewRows {
		for i := range results {
			b.Queue(`INSERT INTO `+table+` (`+exposureColumns+`) VALUES (`+exposureParameters+`)`, exposureValues(c.site.Client, r.Generation, &results[i])...)
		}
		return c.tx.SendBatch(ctx, b).Close()
	}
	if err := c.tx.SendBatch(ctx, b).Close(); err != nil {
		return err
	}
	var buf copyBuffer
	buf.reset()
	for i := range results {
		buf.exposure(c.site.Client, r.Generation, &results[i])
	}
	_, err := c.tx.Conn().PgConn().CopyFrom(ctx, bytes.NewReader(buf.end()), "COPY "+table+" ("+exposureColumns+") FROM STDIN BINARY")
	return err
}

// targetsUnder loads the targets that any zone of the trees may meet.
func (c *catching) targetsUnder(ctx context.Context, list []ranking.Facts) (*ranking.Stripe, error) {
	var boxes []ranking.SiteBox
	var zones []exposure.TreeZone
	sizer := ranking.NewSizer(c.profile, c.asOf)
	for i := range list {
		_, zones = sizer.Zones(zones[:0], &list[i])
		boxes = append(boxes, ranking.ZoneBoxes(c.site.ID, list[i].Tree.Point, zones)...)
	}
	targets, err := targetsIn(ctx, c.tx, source{client: c.site.Client}, boxes)
	if err != nil {
		return nil, err
	}
	stripe := ranking.NewStripe(c.profile, c.asOf)
	for _, t := range targets {
		if err := stripe.Add(t); err != nil {
			return nil, err
		}
	}
	stripe.Build()
	return stripe, nil
}
