package pgtest

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Exec runs SQL on the database at url, for tests of rooms that keep to the
// store otherwise: an edit as another program would make it.
func Exec(t testing.TB, url, sql string, args ...any) {
	t.Helper()
	on(t, url, func(ctx context.Context, conn *pgx.Conn) {
		if _, err := conn.Exec(ctx, sql, args...); err != nil {
			t.Fatal(err)
		}
	})
}

// Query returns what SQL answers on the database at url, a row a string: its
// values as the database writes them with | between, ∅ for null.
func Query(t testing.TB, url, sql string) (out []string) {
	t.Helper()
	on(t, url, func(ctx context.Context, conn *pgx.Conn) {
		results, err := conn.PgConn().Exec(ctx, sql).ReadAll()
		if err != nil {
			t.Fatalf("%v in %s", err, sql)
		}
		for _, result := range results {
			for _, row := range result.Rows {
				cells := make([]string, len(row))
				for i, cell := range row {
					cells[i] = string(cell)
					if cell == nil {
						cells[i] = "∅"
					}
				}
				out = append(out, strings.Join(cells, "|"))
			}
		}
	})
	return out
}

// on connects for the length of fn.
func on(t testing.TB, url string, fn func(context.Context, *pgx.Conn)) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(ctx)
	fn(ctx, conn)
}
