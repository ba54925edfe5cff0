package postgres

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
)

// loader is one import in one transaction.
//
// Rows are first copied into temporary tables and merged at the end, set by
// set. The first trees of an inventory go straight into their table, whose
// indexes, foreign key and triggers are set aside meanwhile: nobody can be
// reading an empty table, and building an index once is several times faster
// than keeping it up to date.
type loader struct {
	db     *DB
	tx     pgx.Tx
	spec   inventory.ImportSpec
	site   inventory.SiteID
	id     inventory.ImportID
	direct bool // trees go straight in
	buf    copyBuffer
	staged map[string]bool // temporary tables made so far
	added  int64           // rows copied straight in
	held   int64

	// While trees stream straight in, the connection is taken: cuts and held
	// records wait here until there are enough of them to interrupt it for.
	stream       *copyStream
	life         context.Context // of the import: the stream outlives the calls that feed it
	waitingCuts  []inventory.CutRow
	waitingDrawn []inventory.TreeRow // trees with a crown, which may need repair first
	waitingHeld  []inventory.Held
	waitingText  int
}

// BeginImport starts an import; it makes the site where there is none of that
// name.
func (db *DB) BeginImport(ctx context.Context, spec inventory.ImportSpec) (inventory.Loader, error) {
	if err := inventory.CheckSiteName(spec.Site); err != nil {
		return nil, err
	}
	tx, err := db.pool.Begin(ctx)
	if err != nil {
		return nil, translate(err)
	}
	l := &loader{db: db, tx: tx, spec: spec, life: ctx, staged: make(map[string]bool)}
	if err := l.begin(ctx); err != nil {
		l.Abort()
		return nil, translate(err)
	}
	return l, nil
}

func (l *loader) begin(ctx context.Context) error {
	if err := setActor(ctx, l.tx, l.spec.Actor); err != nil {
		return err
	}
	if _, err := l.tx.Exec(ctx, `SET LOCAL work_mem = '128MB'; SET LOCAL maintenance_work_mem = '512MB'; SET LOCAL statement_timeout = 0`); err != nil {
		return err
	}
	// One import at a time into one site: two that match rows against the same
	// state would both add them.
	if err := l.findSite(ctx); err != nil {
		return err
	}
	if _, err := l.tx.Exec(ctx, `SELECT pg_advisory_xact_lock(hashtextextended('underbough import ' || $1 || ' ' || $2, 0))`,
		fmt.Sprint(l.spec.Client), fmt.Sprint(l.site)); err != nil {
		return err
	}
	err := l.tx.QueryRow(ctx, `
		INSERT INTO imports (client_id, site_id, role, file_name, mapping, actor)
		VALUES ($1, $2, $3, $4, $5, actor()) RETURNING import_id, actor`,
		l.spec.Client, l.site, l.spec.Role, l.spec.FileName, l.spec.Mapping).Scan(&l.id, &l.spec.Actor)
	if err != nil {
		return err
	}
	switch l.spec.Role {
	case inventory.RoleTrees:
		return l.beginTrees(ctx)
	case inventory.RoleTargets:
		return l.beginTargets(ctx)
	}
	return nil
}

// findSite finds the site or makes it. It asks first: an INSERT locks the table
// of sites, even where the site is there, against the import that is filling an
// empty inventory just now. It asks again afterwards, in a statement that sees
// what another import made meanwhile.
func (l *loader) findSite(ctx context.Context) error {
	find := func() error {
		return l.tx.QueryRow(ctx, `SELECT site_id FROM sites WHERE client_id = $1 AND name = $2`, l.spec.Client, l.spec.Site).Scan(&l.site)
	}
	if err := find(); !errors.Is(err, pgx.ErrNoRows) {
		return err
	}
	if l.spec.Role != inventory.RoleTrees && l.spec.Role != inventory.RoleTargets {
		return inventory.Errorf(inventory.NotFound, "there is no site %q yet: load its trees and targets before its %s", l.spec.Site, l.spec.Role)
	}
	_, err := l.tx.Exec(ctx, `
		INSERT INTO sites (client_id, name, time_zone) VALUES ($1, $2, coalesce(nullif($3, ''), 'UTC'))
		ON CONFLICT (client_id, name) DO NOTHING`, l.spec.Client, l.spec.Site, l.spec.TimeZone)
	if err != nil {
		return err
	}
	return find()
}

// Reference returns the median position of what the site has.
func (l *loader) Reference(ctx context.Context) (lon, lat float64, ok bool, err error) {
	table := "trees"
	if l.spec.Role == inventory.RoleTargets {
		table = "targets"
	}
	var x, y *float64
	err = l.tx.QueryRow(ctx, `
		SELECT percentile_cont(0.5) WITHIN GROUP (ORDER BY ST_X(p)), percentile_cont(0.5) WITHIN GROUP (ORDER BY ST_Y(p))
		FROM (SELECT ST_Centroid(geometry::box2d::geometry) p FROM `+table+` WHERE client_id = $1 AND site_id = $2 LIMIT 10000) s`,
		l.spec.Client, l.site).Scan(&x, &y)
	if err != nil || x == nil || y == nil {
		return 0, 0, false, translate(err)
	}
	return *x, *y, true, nil
}

// stage makes the temporary table of that name, once.
func (l *loader) stage(ctx context.Context, name, columns string) error {
	if l.staged[name] {
		return nil
	}
	l.staged[name] = true
	_, err := l.tx.Exec(ctx, `CREATE TEMP TABLE `+name+` (`+columns+`) ON COMMIT DROP`)
	return err
}

// copyIn sends what the buffer holds into table (columns).
func (l *loader) copyIn(ctx context.Context, target string) error {
	_, err := l.tx.Conn().PgConn().CopyFrom(ctx, bytes.NewReader(l.buf.end()), "COPY "+target+" FROM STDIN BINARY")
	return translate(err)
}

// Finish merges and commits.
func (l *loader) Finish(ctx context.Context, c inventory.Counts) (inventory.Counts, error) {
	defer l.Abort()
	if err := l.merge(ctx, &c); err != nil {
		return c, translate(err)
	}
	c.Quarantined += l.held
	if !c.AddUp() {
		return c, inventory.Errorf(inventory.Internal, "the counts of the import do not add up: %+v", c)
	}
	_, err := l.tx.Exec(ctx, `
		UPDATE imports SET read = $3, added = $4, updated = $5, unchanged = $6, left_out = $7, quarantined = $8, repaired = $9
		WHERE client_id = $1 AND import_id = $2`,
		l.spec.Client, l.id, c.Read, c.Added, c.Updated, c.Unchanged, c.LeftOut, c.Quarantined, c.Repaired)
	if err != nil {
		return c, translate(err)
	}
	if len(l.spec.Readmit) > 0 {
		if err := l.settle(ctx); err != nil {
			return c, translate(err)
		}
	}
	if l.spec.FirstHeld != nil {
		held, err := l.firstHeld(ctx)
		if err != nil {
			return c, translate(err)
		}
		l.spec.FirstHeld(held)
	}
	if l.spec.DryRun {
		return c, nil
	}
	return c, translate(l.tx.Commit(ctx))
}

func (l *loader) merge(ctx context.Context, c *inventory.Counts) error {
	if err := l.drain(ctx); err != nil {
		return err
	}
	switch l.spec.Role {
	case inventory.RoleTrees:
		return l.mergeTrees(ctx, c)
	case inventory.RoleTargets:
		return l.mergeTargets(ctx, c)
	case inventory.RoleCuts:
		return l.mergeCuts(ctx, &c.Added, &c.Updated, &c.Unchanged)
	case inventory.RoleCounts:
		return l.mergeCounts(ctx, c)
	case inventory.RoleCrowns:
		return l.mergeCrowns(ctx, c)
	default:
		return l.mergeVisits(ctx, c)
	}
}

// The most that waits for the connection.
const (
	waitingRows  = 20_000
	waitingBytes = 8 << 20
)

// drainFull drains where enough is waiting.
func (l *loader) drainFull(ctx context.Context) error {
	if len(l.waitingDrawn) < waitingRows && len(l.waitingCuts) < waitingRows && len(l.waitingHeld) < waitingRows && l.waitingText < waitingBytes {
		return nil
	}
	return translate(l.drain(ctx))
}

// drain ends the stream and writes what waited for the connection.
func (l *loader) drain(ctx context.Context) error {
	if l.stream != nil {
		s := l.stream
		l.stream = nil
		if err := s.end(); err != nil {
			return err
		}
	}
	drawn, cuts, held := l.waitingDrawn, l.waitingCuts, l.waitingHeld
	l.waitingDrawn, l.waitingCuts, l.waitingHeld, l.waitingText = nil, nil, nil, 0
	if len(drawn) > 0 {
		if err := l.stageTrees(ctx, drawn); err != nil {
			return err
		}
	}
	if len(cuts) > 0 {
		if err := l.copyCuts(ctx, cuts); err != nil {
			return err
		}
	}
	if len(held) > 0 {
		return l.copyHeld(ctx, held)
	}
	return nil
}

// holdStaged moves the staged rows that meet a condition to the quarantine. The
// condition, the field and the reason are SQL over the staged table; $1 and $2
// are the client and the site.
func (l *loader) holdStaged(ctx context.Context, table, condition, field, reason string) error {
	_, err := l.tx.Exec(ctx, `
		INSERT INTO quarantine (client_id, site_id, import_id, role, file_name, record, field, reason, row_text, row_format)
		SELECT $1, $2, $3, $4, $5, record, `+field+`, `+reason+`, coalesce(row_text, ''), $6
		FROM `+table+` WHERE `+condition+`
		`+onHeldAlready,
		l.spec.Client, l.site, l.id, l.spec.Role, l.spec.FileName, l.spec.Format)
	if err != nil {
		return err
	}
	args := []any{l.spec.Client}
	if !strings.Contains(condition, "$1") {
		args = nil
	}
	gone, err := l.tx.Exec(ctx, `DELETE FROM `+table+` WHERE `+condition, args...)
	l.held += gone.RowsAffected()
	return err
}

// Abort rolls back.
func (l *loader) Abort() {
	if l.stream != nil {
		s := l.stream
		l.stream = nil
		// The rows are not wanted; the transaction goes back whether or not the
		// COPY ends well.
		_ = s.end()
	}
	// The caller's context may be what ended the import; the rollback must
	// still reach the server.
	_ = l.tx.Rollback(context.WithoutCancel(context.Background()))
}
