package postgres_test

import (
	"context"
	"testing"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

func TestMain(m *testing.M) {
	pgtest.Main(m)
}

// emptyURL returns the address of a database without our schema.
func emptyURL(t testing.TB) string {
	t.Helper()
	url := pgtest.URL(t)
	conn, err := pgx.Connect(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	if _, err := conn.Exec(t.Context(), `DROP SCHEMA public CASCADE; DROP SCHEMA IF EXISTS gis CASCADE; CREATE SCHEMA public`); err != nil {
		t.Fatal(err)
	}
	return url
}

// open returns an inventory in a fresh, migrated database.
func open(t testing.TB) *postgres.DB {
	t.Helper()
	db, err := postgres.Open(t.Context(), pgtest.URL(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(db.Close)
	return db
}
