package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

type asOfKey struct{}

// AsOf returns a context in which every question to the inventory is answered as
// it stood at an instant.
func (db *DB) AsOf(ctx context.Context, at time.Time) context.Context {
	return context.WithValue(ctx, asOfKey{}, at.UTC().Truncate(time.Microsecond))
}

// instantOf is the instant of AsOf.
func instantOf(ctx context.Context) (at inventory.Opt[time.Time]) {
	if t, ok := ctx.Value(asOfKey{}).(time.Time); ok {
		at = inventory.Some(t)
	}
	return at
}

// instantsKept is how many instants of a client the computations are kept of.
const instantsKept = 4

// pastRun returns what was computed of a site as it stood at an instant. It is
// always fresh: the past is not edited.
func (db *DB) pastRun(ctx context.Context, site inventory.Site, at time.Time) (run inventory.Run, fresh bool, err error) {
	err = db.pool.QueryRow(ctx, `
		SELECT r.generation, r.profile_name, r.profile_digest, r.as_of, r.computed_at, r.trees, r.targets, r.overlap_count, r.reach_m
		FROM past_runs p JOIN runs r USING (client_id, site_id, generation)
		WHERE p.client_id = $1 AND p.site_id = $2 AND p.at = $3 ORDER BY p.generation DESC LIMIT 1`, site.Client, site.ID, at).
		Scan(&run.Generation, &run.ProfileName, &run.ProfileDigest, &run.AsOf, &run.ComputedAt, &run.Trees, &run.Targets, &run.Overlaps, &run.Reach)
	return run, true, translate(err)
}

// computePast computes a site as it stood at an instant and keeps the result
// beside what is in force, for those who ask of the same instant again.
func (db *DB) computePast(ctx context.Context, s ranking.Sweep) (inventory.Run, error) {
	run, err := db.fullRun(ctx, s, (*fullRun).keepPast)
	if err == nil {
		db.dropSuperseded(ctx)
	}
	return run, err
}

// keepPast makes the table a partition that no site points at, and lets go of the
// instants that were computed longest ago.
func (r *fullRun) keepPast(ctx context.Context) error {
	if err := r.attach(ctx); err != nil {
		return err
	}
	if err := r.keepRun(ctx); err != nil {
		return err
	}
	site := r.sweep.Site
	b := &pgx.Batch{}
	b.Queue(`INSERT INTO past_runs (client_id, site_id, at, generation) VALUES ($1, $2, $3, $4)`, site.Client, site.ID, r.sweep.At.V, r.run.Generation)
	b.Queue(`
		DELETE FROM runs WHERE (client_id, site_id, generation) IN (
			SELECT client_id, site_id, generation FROM past_runs
			WHERE client_id = $1 AND at NOT IN (SELECT at FROM past_runs WHERE client_id = $1 GROUP BY at ORDER BY max(used_at) DESC LIMIT $2))`,
		site.Client, instantsKept)
	return r.write.SendBatch(ctx, b).Close()
}

// attach makes the table of the run a partition of the exposures.
func (r *fullRun) attach(ctx context.Context) error {
	for _, sql := range []string{
		`SET LOCAL default_statistics_target = 10`,
		`ANALYZE ` + r.partition(),
		fmt.Sprintf(`ALTER TABLE exposures ATTACH PARTITION %s FOR VALUES IN (%d)`, r.partition(), r.run.Generation),
		`ALTER TABLE ` + r.partition() + ` DROP CONSTRAINT one_generation`,
	} {
		if _, err := r.write.Exec(ctx, sql); err != nil {
			return err
		}
	}
	return nil
}

// keepRun keeps what a run was, and its profile.
func (r *fullRun) keepRun(ctx context.Context) error {
	site := r.sweep.Site
	if _, err := r.write.Exec(ctx, keepProfile, site.Client, r.sweep.Profile.Digest, r.sweep.Profile.Name, string(r.sweep.Profile.Text)); err != nil {
		return err
	}
	return r.write.QueryRow(ctx, `
		INSERT INTO runs (client_id, site_id, generation, profile_name, profile_digest, as_of, trees, targets, overlap_count, reach_m)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) RETURNING computed_at`,
		site.Client, site.ID, r.run.Generation, r.run.ProfileName, r.run.ProfileDigest, r.run.AsOf,
		r.run.Trees, r.run.Targets, r.run.Overlaps, r.run.Reach).Scan(&r.run.ComputedAt)
}
