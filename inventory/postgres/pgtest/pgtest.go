// Package pgtest gives tests a real PostgreSQL with PostGIS: a fresh database
// for each test, on the throw-away cluster of the whole run (`make test`) or
// of the test program. It never skips: without a database a test fails.
package pgtest

import (
	"context"
	"crypto/rand"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/cluster"
)

// Variable names the environment variable with the URL of a database on a
// throw-away cluster, from which databases may be created and dropped.
const Variable = "UNDERBOUGH_TEST_DATABASE"

const hint = "the tests need PostgreSQL with PostGIS: run `make test`, which installs and starts what is missing"

// kit is what one test program holds: an address to create databases from,
// its template, and the lease where the cluster is its own.
type kit struct {
	maintenance string
	template    string
	lease       *cluster.Lease
	dir         string
}

var (
	prepare = migrate
	shared  kit
	begin   sync.Once
	failure error
	count   atomic.Int64
)

// migrate gives the template the schema of an inventory.
func migrate(ctx context.Context, url string) error {
	db, err := postgres.Open(ctx, url)
	if err != nil {
		return err
	}
	db.Close()
	return nil
}

// SetTemplate sets what is done once to the template, after PostGIS has been
// created in it, in place of the migrations. Call it before the first [URL],
// from an init function or TestMain.
func SetTemplate(f func(ctx context.Context, url string) error) { prepare = f }

// Main is the body of TestMain. What is to be done after the tests comes as
// after, since Main ends the program.
func Main(m *testing.M, after ...func()) {
	cluster.MaybeKeep()
	code := m.Run()
	for _, f := range after {
		f()
	}
	if err := shared.close(); err != nil {
		fmt.Fprintln(os.Stderr, "pgtest:", err)
		code = max(code, 1)
	}
	os.Exit(code)
}

// URL returns the address of a fresh database with PostGIS, which is dropped
// at the end of the test.
func URL(t testing.TB) string {
	t.Helper()
	begin.Do(func() { failure = shared.open() })
	if failure != nil {
		t.Fatalf("%v\n%s", failure, hint)
	}
	name := fmt.Sprintf("%s_%d", strings.Replace(shared.template, "template", "test", 1), count.Add(1))
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if err := shared.exec(ctx, "CREATE DATABASE "+name+" TEMPLATE "+shared.template); err != nil {
		t.Fatalf("%v\n%s", err, hint)
	}
	t.Cleanup(func() {
		// The test's context has ended by now.
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		if err := shared.exec(ctx, "DROP DATABASE "+name+" WITH (FORCE)"); err != nil {
			t.Error(err)
		}
	})
	return withDatabase(shared.maintenance, name)
}

func (k *kit) open() error {
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Minute)
	defer cancel()
	k.maintenance = os.Getenv(Variable)
	if k.maintenance == "" {
		lease, dir, err := Throwaway(ctx)
		if err != nil {
			return err
		}
		k.lease, k.dir, k.maintenance = lease, dir, lease.URL()
	}
	// Several test programs share the run's cluster, so each has its own name.
	name := "ub_template_" + strings.ToLower(rand.Text()[:12])
	if err := k.exec(ctx, "CREATE DATABASE "+name+" TEMPLATE template0 ENCODING 'UTF8'"); err != nil {
		return err
	}
	k.template = name
	address := withDatabase(k.maintenance, name)
	if err := execAt(ctx, address, "CREATE EXTENSION postgis"); err != nil {
		return err
	}
	if prepare == nil {
		return nil
	}
	if err := prepare(ctx, address); err != nil {
		return fmt.Errorf("prepare the template: %w", err)
	}
	return nil
}

func (k *kit) close() error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	var err error
	if k.template != "" {
		err = k.exec(ctx, "DROP DATABASE IF EXISTS "+k.template+" WITH (FORCE)")
	}
	if k.lease == nil {
		return err
	}
	return Discard(ctx, k.lease, k.dir)
}

func (k *kit) exec(ctx context.Context, sql string) error { return execAt(ctx, k.maintenance, sql) }

// execAt runs a statement on a connection of its own: CREATE and DROP DATABASE
// take no transaction, and an open connection would block the template.
func execAt(ctx context.Context, address, sql string) error {
	conn, err := pgx.Connect(ctx, address)
	if err != nil {
		return fmt.Errorf("test database: %w", err)
	}
	defer conn.Close(ctx)
	if _, err := conn.Exec(ctx, sql); err != nil {
		return fmt.Errorf("test database: %s: %w", sql, err)
	}
	return nil
}

// withDatabase names another database on the same server.
func withDatabase(address, name string) string {
	u, err := url.Parse(address)
	if err != nil || u.Scheme == "" {
		// A keyword/value string: the last word of a kind wins.
		return address + " dbname=" + name
	}
	u.Path = "/" + name
	return u.String()
}

// Throwaway starts a cluster without durability in a temporary folder.
// End it with [Discard]; a program that dies is cleaned up after as well.
func Throwaway(ctx context.Context) (*cluster.Lease, string, error) {
	// Not made here: a folder of root's own would be closed to the server.
	dir := filepath.Join(os.TempDir(), "underbough-test-"+strings.ToLower(rand.Text()[:12]))
	lease, err := cluster.Acquire(ctx, cluster.Options{Data: dir, Throwaway: true, Remove: true})
	return lease, dir, err
}

// Discard ends a cluster of [Throwaway] and deletes its files.
func Discard(ctx context.Context, lease *cluster.Lease, dir string) error {
	if err := lease.Release(); err != nil {
		return err
	}
	if err := lease.WaitStopped(ctx); err != nil {
		return err
	}
	return os.RemoveAll(dir)
}
