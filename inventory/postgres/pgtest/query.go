package pgtest

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Query returns what SQL answers on the database at url, a row a string: its
// values as the database writes them with | between, ∅ for null.
func Query(t testing.TB, url, sql string) []string {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	conn, err := pgx.Connect(ctx, url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(ctx)
	results, err := conn.PgConn().Exec(ctx, sql).ReadAll()
	if err != nil {
		t.Fatalf("%v in %s", err, sql)
	}
	var out []string
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
	return out
}
