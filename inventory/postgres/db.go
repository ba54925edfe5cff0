// Package postgres keeps the inventory in PostgreSQL with PostGIS. It is the
// only place with SQL: bulk loading and reading by binary COPY, transactions,
// the change log, and the translation of database errors into inventory
// errors.
package postgres

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/migrations"
)

// The oldest versions that the SQL here is written for.
const (
	minServerMajor  = 15
	minPostGISMajor = 3
	minPostGISMinor = 3
)

// DB is an inventory in one database. It is safe for concurrent use.
type DB struct {
	pool           *pgxpool.Pool
	stripeVertices int64 // target vertices that a run keeps in memory at a time
	// running lets one full run at a time through: each takes all cores and four
	// connections, and several that wait for one another's would wait for ever.
	running chan struct{}
	// sites is what was last seen in force at each client's sites.
	sites     knownSites
	harmLists harmLists
	gathered  gatheredTrees
}

// A full run needs five connections, another sweep four beside it, and requests
// want theirs meanwhile.
const (
	leastConns   = 12
	defaultConns = 16
)

// Open connects to the database at url, checks that it can hold an inventory,
// and brings its schema up to date. Several processes may do so at once.
func Open(ctx context.Context, url string) (*DB, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		// The parser's own message can repeat the password.
		return nil, inventory.Errorf(inventory.Invalid, "the database URL does not parse: expected postgres://user@host:port/name")
	}
	config.ConnConfig.RuntimeParams["application_name"] = "underbough"
	config.ConnConfig.RuntimeParams["jit"] = "off"
	config.ConnConfig.RuntimeParams["timezone"] = "UTC"
	// Many ask at a time: one that takes several processes makes the others wait.
	config.ConnConfig.RuntimeParams["max_parallel_workers_per_gather"] = "0"
	if !strings.Contains(url, "pool_max_conns") {
		config.MaxConns = defaultConns
	}
	config.MaxConns = max(config.MaxConns, leastConns)
	pool, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, translate(err)
	}
	db := &DB{pool: pool, stripeVertices: defaultStripeVertices, running: make(chan struct{}, 1)}
	if err := db.prepare(ctx); err != nil {
		pool.Close()
		return nil, err
	}
	return db, nil
}

// Close ends all connections.
func (db *DB) Close() { db.pool.Close() }

// Ping reports whether the database answers.
func (db *DB) Ping(ctx context.Context) error { return translate(db.pool.Ping(ctx)) }

func (db *DB) prepare(ctx context.Context) error {
	if err := db.checkServer(ctx); err != nil {
		return err
	}
	if err := db.migrate(ctx); err != nil {
		return err
	}
	return db.checkPostGIS(ctx)
}

func (db *DB) checkServer(ctx context.Context) error {
	var number, postgis string
	err := db.pool.QueryRow(ctx, `
		SELECT current_setting('server_version_num'),
		       coalesce((SELECT default_version FROM pg_available_extensions WHERE name = 'postgis'), '')`).Scan(&number, &postgis)
	if err != nil {
		return translate(err)
	}
	if n, _ := strconv.Atoi(number); n < minServerMajor*10000 {
		return inventory.Errorf(inventory.Invalid, "the database runs PostgreSQL %d.%d: version %d or newer is needed", n/10000, n%10000, minServerMajor)
	}
	if postgis == "" {
		return inventory.Errorf(inventory.Invalid, "PostGIS is not installed on the database server: install PostGIS %d.%d or newer there (on Debian: apt-get install postgresql-%s-postgis-3)", minPostGISMajor, minPostGISMinor, number[:2])
	}
	return nil
}

func (db *DB) checkPostGIS(ctx context.Context) error {
	var version string
	if err := db.pool.QueryRow(ctx, `SELECT postgis_lib_version()`).Scan(&version); err != nil {
		return translate(err)
	}
	var major, minor int
	if _, err := fmt.Sscanf(version, "%d.%d", &major, &minor); err != nil {
		return inventory.Errorf(inventory.Internal, "PostGIS version %q does not parse: %w", version, err)
	}
	if major < minPostGISMajor || major == minPostGISMajor && minor < minPostGISMinor {
		return inventory.Errorf(inventory.Invalid, "the database has PostGIS %s: version %d.%d or newer is needed (ALTER EXTENSION postgis UPDATE, after installing it)", version, minPostGISMajor, minPostGISMinor)
	}
	return nil
}

// migrate brings the schema up to date under an advisory lock, so that of
// several processes that start at once one migrates and the others wait.
func (db *DB) migrate(ctx context.Context) error {
	locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 600))
	if err != nil {
		return err
	}
	sqlDB := stdlib.OpenDBFromPool(db.pool)
	defer sqlDB.Close()
	provider, err := goose.NewProvider(goose.DialectPostgres, sqlDB, migrations.FS, goose.WithSessionLocker(locker))
	if err != nil {
		return err
	}
	// Most starts find nothing to do; asking first spares them the lock.
	if pending, err := provider.HasPending(ctx); err == nil && !pending {
		return db.checkNotNewer(ctx, provider)
	}
	if _, err := provider.Up(ctx); err != nil {
		var partial *goose.PartialError
		if errors.As(err, &partial) {
			err = partial.Err
		}
		return migrateError(err)
	}
	return nil
}

// migrateError says what an administrator has to do where this role may not.
func migrateError(err error) error {
	var server *pgconn.PgError
	if errors.As(err, &server) && (server.Code == "42501" || server.Code == "25006") {
		return &inventory.Error{Kind: inventory.Invalid, Err: err, Message: "this role may not make PostGIS or tables in the database (" + server.Message +
			"): have an administrator run CREATE EXTENSION postgis there and GRANT CREATE ON SCHEMA public to the role"}
	}
	err = translate(err)
	return inventory.Errorf(inventory.KindOf(err), "bringing the database up to date: %w", err)
}

// checkNotNewer refuses a database that a newer program has migrated: this one
// would not know its columns.
func (db *DB) checkNotNewer(ctx context.Context, provider *goose.Provider) error {
	current, target, err := provider.GetVersions(ctx)
	if err != nil {
		return translate(err)
	}
	if current > target {
		return inventory.Errorf(inventory.Invalid, "the database is at schema version %d and this program knows %d: use a newer underbough", current, target)
	}
	return nil
}

// inTx runs fn in one transaction; whatever fn or the commit fails with leaves
// the database as it was.
func (db *DB) inTx(ctx context.Context, options pgx.TxOptions, fn func(pgx.Tx) error) error {
	err := pgx.BeginTxFunc(ctx, db.pool, options, fn)
	return translate(err)
}

// reading runs fn in one read-only snapshot: that of OneSnapshot, where ctx comes
// from there. The snapshot comes before anything is planned: a query planned
// first could miss the partition of a run that comes into force in between, and
// yet see its site point at it.
func (db *DB) reading(ctx context.Context, fn func(pgx.Tx) error) error {
	return db.inTx(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error {
		first := `SELECT 1`
		if snapshot, ok := snapshotOf(ctx); ok {
			first = `SET TRANSACTION SNAPSHOT '` + snapshot + `'`
		}
		if _, err := tx.Exec(ctx, first); err != nil {
			return err
		}
		return fn(tx)
	})
}

type snapshotKey struct{}

// OneSnapshot runs fn with a context in which every question to the inventory is
// answered from one and the same state of it. It holds a connection of its own
// meanwhile: what many ask at once should not need it.
func (db *DB) OneSnapshot(ctx context.Context, fn func(context.Context) error) error {
	if _, ok := snapshotOf(ctx); ok {
		return fn(ctx)
	}
	return db.reading(ctx, func(tx pgx.Tx) error {
		snapshot, err := exportSnapshot(ctx, tx)
		if err != nil {
			return err
		}
		return fn(inSnapshot(ctx, snapshot))
	})
}

// exportSnapshot names what a transaction sees, for others to see the same while
// it lasts.
func exportSnapshot(ctx context.Context, tx pgx.Tx) (snapshot string, err error) {
	err = tx.QueryRow(ctx, `SELECT pg_export_snapshot()`).Scan(&snapshot)
	return snapshot, err
}

// snapshotOf is the snapshot that a context comes from; false for none.
func snapshotOf(ctx context.Context) (snapshot string, ok bool) {
	snapshot, ok = ctx.Value(snapshotKey{}).(string)
	return snapshot, ok
}

// inSnapshot makes reading see what an exported snapshot saw.
func inSnapshot(ctx context.Context, snapshot string) context.Context {
	return context.WithValue(ctx, snapshotKey{}, snapshot)
}

// setActor names who makes the changes of a transaction in its history.
func setActor(ctx context.Context, tx pgx.Tx, actor string) error {
	_, err := tx.Exec(ctx, `SELECT set_config('underbough.actor', $1, true)`, actor)
	return err
}

// translate gives a database error its kind. Errors that have one keep it.
func translate(err error) error {
	var known *inventory.Error
	var server *pgconn.PgError
	var connect *pgconn.ConnectError
	var network *net.OpError
	switch {
	case err == nil, errors.As(err, &known), errors.Is(err, context.Canceled):
		return err
	case errors.Is(err, pgx.ErrNoRows):
		return &inventory.Error{Kind: inventory.NotFound, Message: "not found", Err: err}
	case errors.As(err, &connect):
		return &inventory.Error{Kind: inventory.Unavailable, Message: "the database at " + connect.Config.Host + " cannot be reached: " + lastCause(connect), Err: err}
	case errors.As(err, &network), errors.Is(err, io.ErrUnexpectedEOF):
		return &inventory.Error{Kind: inventory.Unavailable, Message: "the connection to the database was lost", Err: err}
	case errors.Is(err, context.DeadlineExceeded):
		return &inventory.Error{Kind: inventory.Unavailable, Message: "the database did not answer in time", Err: err}
	case isOutside(err):
		return &inventory.Error{Kind: inventory.Invalid, Message: "coordinates lie outside of what the reference system can express", Err: err}
	case errors.As(err, &server) && notComputable(server):
		return &inventory.Error{Kind: inventory.Invalid, Message: "a value that was asked for cannot be computed: " + server.Message, Err: err}
	case errors.As(err, &server):
		return &inventory.Error{Kind: kindOfState(server.Code), Message: "database: " + strings.TrimSpace(server.Message+" "+server.Detail), Err: err}
	}
	return &inventory.Error{Kind: inventory.Internal, Message: err.Error(), Err: err}
}

// lastCause returns why the last attempt to connect failed: a server is tried
// with and without TLS and at each of its addresses, and all attempts together
// say nothing that the last does not.
func lastCause(err error) string {
	lines := strings.Split(strings.TrimSpace(errors.Unwrap(err).Error()), "\n")
	last := lines[len(lines)-1]
	if i := strings.LastIndex(last, ": "); i >= 0 {
		last = last[i+2:]
	}
	return strings.TrimSpace(last)
}

// notComputable reports an error of arithmetic: a number too large, or one that
// does not exist.
func notComputable(err *pgconn.PgError) bool {
	switch err.Code {
	case "22003", "22012", "2201E", "2201F":
		return true
	}
	return false
}

// kindOfState maps an SQLSTATE to a kind.
func kindOfState(code string) inventory.ErrorKind {
	switch {
	case code == "23505", code == "40001", code == "40P01":
		return inventory.Conflict
	case strings.HasPrefix(code, "22"), strings.HasPrefix(code, "23"):
		return inventory.Invalid
	case strings.HasPrefix(code, "08"), strings.HasPrefix(code, "53"), strings.HasPrefix(code, "57"), code == "55P03":
		return inventory.Unavailable
	}
	return inventory.Internal
}
