package pgtest

import (
	"context"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Exec runs SQL on the database at url, for tests of rooms that keep to the
// store otherwise: an edit as another program would make it.
func Exec(t testing.TB, url, sql string, args ...any) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(ctx)
	if _, err := conn.Exec(ctx, sql, args...); err != nil {
		t.Fatal(err)
	}
}
