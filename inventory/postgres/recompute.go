package postgres

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// Recompute works out the exposure of every standing tree of a site and puts
// the result in force as a new generation, in one transaction.
//
// Targets are kept in memory stripe by stripe; trees, their cuts and visits
// stream past them in the order of their ids, from one snapshot, and the
// results stream back by COPY. Memory follows the targets of a stripe, not the
// number of trees.
func (db *DB) Recompute(ctx context.Context, site inventory.Site, p *profile.Profile, asOf time.Time) (inventory.Run, error) {
	select {
	case db.running <- struct{}{}:
		defer func() { <-db.running }()
	case <-ctx.Done():
		return inventory.Run{}, ctx.Err()
	}
	r := &recompute{db: db, site: site, profile: p, asOf: asOf}
	r.run = inventory.Run{ProfileName: p.Name, ProfileDigest: p.Digest, AsOf: asOf}
	err := db.inTx(ctx, pgx.TxOptions{}, func(write pgx.Tx) error {
		return r.do(ctx, write)
	})
	if err == nil {
		db.dropSuperseded(ctx)
	}
	return r.run, err
}

type recompute struct {
	db       *DB
	site     inventory.Site
	profile  *profile.Profile
	asOf     time.Time
	snapshot string
	run      inventory.Run
}

func (r *recompute) do(ctx context.Context, write pgx.Tx) error {
	if _, err := write.Exec(ctx, `SET LOCAL statement_timeout = 0; SET LOCAL maintenance_work_mem = '256MB'`); err != nil {
		return err
	}
	// One run of a site at a time: the second finds the first one's result.
	err := write.QueryRow(ctx, `SELECT nextval('generations') FROM sites WHERE client_id = $1 AND site_id = $2 FOR NO KEY UPDATE`,
		r.site.Client, r.site.ID).Scan(&r.run.Generation)
	if err != nil {
		return err
	}
	// A table made in this transaction is written without WAL where wal_level is
	// minimal, and its key is built once, at the end. The check spares it a scan
	// when it becomes a partition, whose bound says the same.
	_, err = write.Exec(ctx, fmt.Sprintf(`CREATE TABLE %s (LIKE exposures INCLUDING DEFAULTS, CONSTRAINT one_generation CHECK (generation = %d))`,
		r.partition(), r.run.Generation))
	if err != nil {
		return err
	}
	read, err := r.db.pool.BeginTx(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly})
	if err != nil {
		return err
	}
	defer read.Rollback(context.WithoutCancel(ctx))
	if err := read.QueryRow(ctx, `SELECT pg_export_snapshot()`).Scan(&r.snapshot); err != nil {
		return err
	}
	var touched []int64
	if err := read.QueryRow(ctx, `SELECT coalesce(array_agg(touched_id), '{}') FROM touched WHERE client_id = $1 AND site_id = $2`,
		r.site.Client, r.site.ID).Scan(&touched); err != nil {
		return err
	}
	stripes, err := r.stripes(ctx, read)
	if err != nil {
		return err
	}
	for _, s := range stripes {
		if err := r.stripe(ctx, read, write, s); err != nil {
			return err
		}
	}
	return r.swap(ctx, write, touched)
}

// partition is the table of the generation under way.
func (r *recompute) partition() string { return partitionOf(r.run.Generation) }

func partitionOf(generation int64) string { return fmt.Sprintf("exposures_g%d", generation) }

// swap puts the new generation in force.
func (r *recompute) swap(ctx context.Context, write pgx.Tx, touched []int64) error {
	table, generation := r.partition(), r.run.Generation
	for _, s := range []struct {
		sql  string
		args []any
	}{
		{`ALTER TABLE ` + table + ` ADD PRIMARY KEY (client_id, tree_id, generation)`, nil},
		{`SET LOCAL default_statistics_target = 10`, nil},
		{`ANALYZE ` + table, nil},
		{fmt.Sprintf(`ALTER TABLE exposures ATTACH PARTITION %s FOR VALUES IN (%d)`, table, generation), nil},
		{`ALTER TABLE ` + table + ` DROP CONSTRAINT one_generation`, nil},
		{`DELETE FROM touched WHERE client_id = $1 AND touched_id = ANY($2)`, []any{r.site.Client, touched}},
		{`UPDATE sites SET generation = $3 WHERE client_id = $1 AND site_id = $2`, []any{r.site.Client, r.site.ID, generation}},
	} {
		if _, err := write.Exec(ctx, s.sql, s.args...); err != nil {
			return err
		}
	}
	return write.QueryRow(ctx, `
		INSERT INTO runs (client_id, site_id, generation, profile_name, profile_digest, as_of, trees, targets, overlap_count)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) RETURNING computed_at`,
		r.site.Client, r.site.ID, generation, r.run.ProfileName, r.run.ProfileDigest, r.asOf,
		r.run.Trees, r.run.Targets, r.run.Overlaps).Scan(&r.run.ComputedAt)
}

// dropSuperseded drops the partitions before the last two of each site. The last
// but one stays for readers whose snapshot is from before the swap. Who is still
// at an older one is not waited for: the next run tries again.
func (db *DB) dropSuperseded(ctx context.Context) {
	rows, err := db.pool.Query(ctx, `
		SELECT c.relname FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid
		WHERE i.inhparent = 'exposures'::regclass
		  AND c.relname NOT IN (
			SELECT 'exposures_g' || generation
			FROM (SELECT generation, row_number() OVER (PARTITION BY client_id, site_id ORDER BY generation DESC) AS back FROM runs) r
			WHERE back <= 2)`)
	if err != nil {
		return
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return
	}
	for _, name := range names {
		_ = db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
			_, err := tx.Exec(ctx, `SET LOCAL lock_timeout = '500ms'; DROP TABLE IF EXISTS `+pgx.Identifier{name}.Sanitize())
			return err
		})
	}
}

// stripe computes the trees of one stripe.
func (r *recompute) stripe(ctx context.Context, read, write pgx.Tx, s stripe) error {
	targets := ranking.NewStripe(r.profile, r.asOf)
	if err := r.readTargets(ctx, read, s, targets); err != nil {
		return err
	}
	targets.Build()
	r.run.Targets += int64(targets.Targets())

	g, ctx := errgroup.WithContext(ctx)
	workers := max(1, runtime.GOMAXPROCS(0))
	toCompute := make(chan *work, workers)
	inOrder := make(chan *work, workers)
	results := make(chan []byte)
	used := make(chan []byte, 3*workers)
	facts := &factStream{recompute: r, stripe: s}
	g.Go(func() error {
		defer close(toCompute)
		defer close(inOrder)
		return facts.read(ctx, g, read, func(w *work) error { return send(ctx, w, toCompute, inOrder) })
	})
	for range workers {
		c := &computer{recompute: r, assessor: targets.NewAssessor(), used: used}
		g.Go(func() error {
			for w := range toCompute {
				out, err := c.compute(w)
				if err != nil {
					return err
				}
				w.result <- out
			}
			return nil
		})
	}
	g.Go(func() error {
		defer close(results)
		for w := range inOrder {
			select {
			case out := <-w.result:
				r.run.Trees += out.trees
				r.run.Overlaps += out.overlaps
				select {
				case results <- out.rows:
				case <-ctx.Done():
					return ctx.Err()
				}
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	g.Go(func() error {
		_, err := write.Conn().PgConn().CopyFrom(ctx, &chunkReader{ctx: ctx, chunks: results, free: used}, "COPY "+r.partition()+" ("+exposureColumns+") FROM STDIN BINARY")
		return err
	})
	return g.Wait()
}

// send hands work to whoever computes it and to whoever waits for it in order.
func send(ctx context.Context, w *work, to ...chan<- *work) error {
	for _, c := range to {
		select {
		case c <- w:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}

// chunkReader reads chunks as one stream between the header and the trailer of
// a COPY.
type chunkReader struct {
	ctx    context.Context
	chunks <-chan []byte
	free   chan<- []byte // takes back the chunks that were read; may be nil
	chunk  []byte
	rest   []byte
	state  int
}

func (c *chunkReader) Read(p []byte) (int, error) {
	for len(c.rest) == 0 {
		switch c.state {
		case 0:
			c.rest, c.state = copyHeader, 1
		case 1:
			chunk, ok := <-c.chunks
			if !ok {
				// A stream cut short by a failure elsewhere must not look complete.
				if err := c.ctx.Err(); err != nil {
					return 0, err
				}
				c.rest, c.state = copyTrailer, 2
				continue
			}
			if c.free != nil && c.chunk != nil {
				select {
				case c.free <- c.chunk:
				default:
				}
			}
			c.chunk, c.rest = chunk, chunk
		default:
			return 0, io.EOF
		}
	}
	n := copy(p, c.rest)
	c.rest = c.rest[n:]
	return n, nil
}

// attach opens a transaction that sees what the reading one sees.
func (r *recompute) attach(ctx context.Context) (pgx.Tx, error) {
	tx, err := r.db.pool.BeginTx(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly})
	if err != nil {
		return nil, err
	}
	if _, err := tx.Exec(ctx, fmt.Sprintf(`SET TRANSACTION SNAPSHOT '%s'`, r.snapshot)); err != nil {
		tx.Rollback(context.WithoutCancel(ctx))
		return nil, err
	}
	return tx, nil
}
