package pgtest_test

import (
	"context"
	"errors"
	"os"
	"os/exec"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

func TestMain(m *testing.M) {
	pgtest.SetTemplate(func(ctx context.Context, url string) error {
		conn, err := pgx.Connect(ctx, url)
		if err != nil {
			return err
		}
		defer conn.Close(ctx)
		_, err = conn.Exec(ctx, "CREATE TABLE prepared (id int PRIMARY KEY)")
		return err
	})
	pgtest.Main(m)
}

func TestURL(t *testing.T) {
	ctx := t.Context()
	var first string
	t.Run("a fresh database has postgis and the prepared tables", func(t *testing.T) {
		first = pgtest.URL(t)
		conn := connect(t, first)
		// ST_Area of a 2 by 3 rectangle is 6.
		var area float64
		if err := conn.QueryRow(ctx, "SELECT ST_Area('POLYGON((0 0,2 0,2 3,0 3,0 0))'::geometry)").Scan(&area); err != nil || area != 6 {
			t.Fatalf("area %v, error %v", area, err)
		}
		if _, err := conn.Exec(ctx, "INSERT INTO prepared VALUES (1)"); err != nil {
			t.Fatal(err)
		}
	})
	t.Run("the next one shares nothing with it", func(t *testing.T) {
		conn := connect(t, pgtest.URL(t))
		var n int
		if err := conn.QueryRow(ctx, "SELECT count(*) FROM prepared").Scan(&n); err != nil || n != 0 {
			t.Fatalf("%d rows, error %v", n, err)
		}
	})
	t.Run("it is gone after its test", func(t *testing.T) {
		conn, err := pgx.Connect(ctx, first)
		if err == nil {
			conn.Close(ctx)
		}
		if err == nil || !strings.Contains(err.Error(), "3D000") { // invalid_catalog_name
			t.Fatalf("connected to a dropped database: %v", err)
		}
	})
}

// Without a database a test must fail, not skip: this test program runs itself
// with a database address that nobody answers at.
func TestURLFails(t *testing.T) {
	cmd := exec.Command("/proc/self/exe", "-test.run=^TestURL$", "-test.v")
	cmd.Env = append(os.Environ(), pgtest.Variable+"=postgres://nobody@/none?host=/nonexistent")
	out, err := cmd.CombinedOutput()
	var exit *exec.ExitError
	if !errors.As(err, &exit) || !strings.Contains(string(out), "make test") || strings.Contains(string(out), "SKIP") {
		t.Fatalf("want a failure that names make test, got %v: %s", err, out)
	}
}

func connect(t *testing.T, url string) *pgx.Conn {
	t.Helper()
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close(context.Background()) })
	return conn
}
