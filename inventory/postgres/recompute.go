package postgres

import (
	"context"
	"fmt"
	"io"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// Recompute works out the exposure of every standing tree of a site and puts
// the result in force as a new generation, in one transaction: trees stream
// past the targets and the results stream back by COPY.
func (db *DB) Recompute(ctx context.Context, site inventory.Site, p *profile.Profile, asOf time.Time) (inventory.Run, error) {
	if at := instantOf(ctx); at.OK {
		return db.computePast(ctx, ranking.Sweep{Site: site, Profile: p, AsOf: asOf, At: at})
	}
	run, err := db.fullRun(ctx, ranking.Sweep{Site: site, Profile: p, AsOf: asOf}, (*fullRun).putInForce)
	if err == nil {
		db.dropSuperseded(ctx)
	}
	return run, err
}

// fullRun computes every tree of a sweep into a table of its own, in one
// transaction that ends with what conclude does.
func (db *DB) fullRun(ctx context.Context, s ranking.Sweep, conclude func(*fullRun, context.Context) error) (inventory.Run, error) {
	select {
	case db.running <- struct{}{}:
		defer func() { <-db.running }()
	case <-ctx.Done():
		return inventory.Run{}, ctx.Err()
	}
	r := &fullRun{db: db, sweep: s}
	r.run = inventory.Run{ProfileName: s.Profile.Name, ProfileDigest: s.Profile.Digest, AsOf: s.AsOf}
	err := db.inTx(ctx, pgx.TxOptions{}, func(write pgx.Tx) error {
		r.write = write
		if err := r.compute(ctx); err != nil {
			return err
		}
		return conclude(r, ctx)
	})
	db.sites.forget(s.Site.Client)
	return r.run, err
}

type fullRun struct {
	db      *DB
	sweep   ranking.Sweep
	write   pgx.Tx
	run     inventory.Run
	touched []int64 // what the run takes into account
}

func (r *fullRun) compute(ctx context.Context) error {
	site := r.sweep.Site
	if _, err := r.write.Exec(ctx, `SET LOCAL statement_timeout = 0; SET LOCAL maintenance_work_mem = '256MB'`); err != nil {
		return err
	}
	// One run of a site at a time: the second finds the first one's result.
	err := r.write.QueryRow(ctx, `SELECT nextval('generations') FROM sites WHERE client_id = $1 AND site_id = $2 FOR NO KEY UPDATE`,
		site.Client, site.ID).Scan(&r.run.Generation)
	if err != nil {
		return err
	}
	// A table made in this transaction is written without WAL where wal_level is
	// minimal, and its key is built once, at the end. The check spares it a scan
	// when it becomes a partition, whose bound says the same.
	_, err = r.write.Exec(ctx, fmt.Sprintf(`CREATE TABLE %s (LIKE exposures INCLUDING DEFAULTS, CONSTRAINT one_generation CHECK (generation = %d))`,
		r.partition(), r.run.Generation))
	if err != nil {
		return err
	}
	err = r.db.reading(ctx, func(read pgx.Tx) error {
		err := read.QueryRow(ctx, `SELECT coalesce(array_agg(touched_id), '{}') FROM touched WHERE client_id = $1 AND site_id = $2`,
			site.Client, site.ID).Scan(&r.touched)
		if err != nil {
			return err
		}
		w, err := r.db.newSweeper(ctx, read, r.sweep)
		if err != nil {
			return err
		}
		if err := r.fill(ctx, w); err != nil {
			return err
		}
		r.run.Trees, r.run.Targets = w.trees, w.targets
		return nil
	})
	if err != nil {
		return err
	}
	_, err = r.write.Exec(ctx, `ALTER TABLE `+r.partition()+` ADD PRIMARY KEY (client_id, tree_id)`)
	return err
}

// partition is the table of the generation under way.
func (r *fullRun) partition() string { return partitionOf(r.run.Generation) }

func partitionOf(generation int64) string { return fmt.Sprintf("exposures_g%d", generation) }

// rows is what a worker makes of a lot.
type rows struct {
	copy     []byte
	overlaps int64
	reach    float64
}

// fill streams the results of a sweep into the table.
func (r *fullRun) fill(ctx context.Context, w *sweeper) error {
	g, ctx := errgroup.WithContext(ctx)
	chunks := make(chan []byte)
	used := make(chan []byte, 8)
	g.Go(func() (err error) {
		defer inventory.Recover(&err)
		_, err = r.write.Conn().PgConn().CopyFrom(ctx, &chunkReader{ctx: ctx, chunks: chunks, free: used}, "COPY "+r.partition()+" ("+exposureColumns+") FROM STDIN (FORMAT binary, FREEZE)")
		return err
	})
	g.Go(func() (err error) {
		defer inventory.Recover(&err)
		defer close(chunks)
		return sweep(ctx, w, func() func(ranking.Lot) (rows, error) {
			c := &computer{run: r, used: used}
			return c.compute
		}, func(out rows) error {
			r.run.Overlaps += out.overlaps
			r.run.Reach = max(r.run.Reach, out.reach)
			select {
			case chunks <- out.copy:
				return nil
			case <-ctx.Done():
				return ctx.Err()
			}
		})
	})
	return g.Wait()
}

// computer assesses lots of trees; it belongs to one goroutine.
type computer struct {
	run    *fullRun
	used   <-chan []byte // chunks that were written, for reuse
	result ranking.Result
}

func (c *computer) compute(lot ranking.Lot) (rows, error) {
	var out rows
	var buf copyBuffer
	select {
	case b := <-c.used:
		buf.b = b[:0]
	default:
		buf.b = make([]byte, 0, 320*len(lot.Trees))
	}
	for i := range lot.Trees {
		f := &lot.Trees[i]
		a := lot.Assessor.Assess(f)
		c.result.Summarize(a, f)
		buf.exposure(c.run.sweep.Site.Client, c.run.run.Generation, &c.result)
		out.overlaps += int64(a.Overlaps)
		out.reach = max(out.reach, a.Reach())
	}
	out.copy = buf.b
	return out, nil
}

// putInForce makes the table the partition that the site points at.
func (r *fullRun) putInForce(ctx context.Context) error {
	if err := r.attach(ctx); err != nil {
		return err
	}
	site := r.sweep.Site
	b := &pgx.Batch{}
	b.Queue(`DELETE FROM touched WHERE client_id = $1 AND touched_id = ANY($2)`, site.Client, r.touched)
	b.Queue(`UPDATE sites SET generation = $3, revision = revision + 1 WHERE client_id = $1 AND site_id = $2`, site.Client, site.ID, r.run.Generation)
	if err := r.write.SendBatch(ctx, b).Close(); err != nil {
		return err
	}
	return r.keepRun(ctx)
}

// keepProfile keeps a profile's text under its digest.
const keepProfile = `INSERT INTO profiles (client_id, digest, name, body) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`

// dropSuperseded drops the partitions before the last two of each site. The last
// but one stays for readers whose snapshot is from before the swap. Who is still
// at an older one is not waited for: the next run tries again.
func (db *DB) dropSuperseded(ctx context.Context) {
	rows, err := db.pool.Query(ctx, `
		SELECT c.relname FROM pg_inherits i JOIN pg_class c ON c.oid = i.inhrelid
		WHERE i.inhparent = 'exposures'::regclass
		  AND c.relname NOT IN (
			SELECT 'exposures_g' || generation
			FROM (SELECT generation, row_number() OVER (PARTITION BY client_id, site_id ORDER BY generation DESC) AS back
			      FROM runs WHERE generation NOT IN (SELECT generation FROM past_runs)) r
			WHERE back <= 2
			UNION ALL SELECT 'exposures_g' || generation FROM past_runs)`)
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
