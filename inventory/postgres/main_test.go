package postgres_test

import (
	"context"
	"testing"

	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

func TestMain(m *testing.M) {
	pgtest.SetTemplate(func(ctx context.Context, url string) error {
		db, err := postgres.Open(ctx, url)
		if err != nil {
			return err
		}
		db.Close()
		return nil
	})
	pgtest.Main(m)
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
