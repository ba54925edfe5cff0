package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"
)

// The rows that a full run reads, in the order in which it reads them.
var readByARun = []string{
	`SELECT target_id, geometry, kind, people_per_hour, people_present, dwell_minutes, vehicles_per_day, speed_mps,
		stalls, share_occupied, turnover_per_day, hours, sheltered FROM targets ORDER BY client_id, target_id`,
	`SELECT tree_id, geometry, status, dbh_m, height_m, crown_radius_m, species, lean_deg, lean_bearing_deg, brittle,
		crown_north_m, crown_east_m, crown_south_m, crown_west_m, crown
		FROM trees WHERE status IN ('alive', 'dead') ORDER BY client_id, tree_id`,
}

// floor reads the rows that a full run reads and writes the rows that it writes,
// with their key and statistics, and computes nothing: what is left of the time
// if the engine took none. Reading and writing go on side by side, as in a run.
func (b *bench) floor() (time.Duration, error) {
	var generation int64
	if err := b.conn.QueryRow(b.ctx, `SELECT max(generation) FROM sites`).Scan(&generation); err != nil {
		return 0, err
	}
	kept := filepath.Join(b.dir, "rows")
	defer os.Remove(kept)
	if err := b.keepRows(generation, kept); err != nil {
		return 0, err
	}
	read, err := pgx.Connect(b.ctx, b.url)
	if err != nil {
		return 0, err
	}
	defer read.Close(b.ctx)
	if err := b.exec(`CHECKPOINT`); err != nil {
		return 0, err
	}
	rows, err := os.Open(kept)
	if err != nil {
		return 0, err
	}
	defer rows.Close()

	start := time.Now()
	if err := b.exec(`BEGIN`, `SET LOCAL maintenance_work_mem = '256MB'`, `CREATE TABLE floor (LIKE exposures INCLUDING DEFAULTS)`); err != nil {
		return 0, err
	}
	var g errgroup.Group
	// The targets must be in memory before the first tree can be computed.
	if err := copyOut(b, read, readByARun[0]); err != nil {
		return 0, err
	}
	g.Go(func() error { return copyOut(b, read, readByARun[1]) })
	g.Go(func() error {
		_, err := b.conn.PgConn().CopyFrom(b.ctx, rows, `COPY floor FROM STDIN BINARY`)
		return err
	})
	if err := g.Wait(); err != nil {
		return 0, err
	}
	if err := b.exec(`ALTER TABLE floor ADD PRIMARY KEY (client_id, tree_id)`, `SET LOCAL default_statistics_target = 10`, `ANALYZE floor`, `COMMIT`); err != nil {
		return 0, err
	}
	wall := time.Since(start)
	return wall, b.exec(`DROP TABLE floor`)
}

func copyOut(b *bench, conn *pgx.Conn, query string) error {
	_, err := conn.PgConn().CopyTo(b.ctx, io.Discard, `COPY (`+query+`) TO STDOUT BINARY`)
	return err
}

// keepRows writes the rows in force to a file, from which the floor writes them
// back.
func (b *bench) keepRows(generation int64, path string) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer f.Close()
	if _, err := b.conn.PgConn().CopyTo(b.ctx, f, fmt.Sprintf(`COPY exposures_g%d TO STDOUT BINARY`, generation)); err != nil {
		return err
	}
	return f.Close()
}
