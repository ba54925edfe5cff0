package postgres_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/migrations"
)

// A database of the first version, with data in it, goes on as it was.
func TestUpgradeOfALoadedDatabase(t *testing.T) {
	ctx, url := t.Context(), emptyURL(t)
	pool, err := pgxpool.New(ctx, url)
	if err != nil {
		t.Fatal(err)
	}
	provider, err := goose.NewProvider(goose.DialectPostgres, stdlib.OpenDBFromPool(pool), migrations.FS)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := provider.UpTo(ctx, 1); err != nil {
		t.Fatal(err)
	}
	for _, sql := range []string{
		`INSERT INTO sites (client_id, name) VALUES (1, 'old')`,
		`INSERT INTO trees (client_id, site_id, tag, dbh_m, geometry) SELECT 1, 1, n, 0.4, ST_SetSRID(ST_MakePoint(8.5 + n * 1e-4, 47.3), 4326) FROM generate_series(1, 9) n`,
		`INSERT INTO targets (client_id, site_id, kind, hours, people_present, geometry) SELECT 1, 1, 'plaza', 'clinic', 3, ST_MakeEnvelope(8.5, 47.2999, 8.501, 47.3001, 4326)`,
		`INSERT INTO cuts (client_id, site_id, tree_id, kind, made_year) VALUES (1, 1, 3, 'topping', 2012)`,
		`UPDATE trees SET height_m = 11 WHERE tree_id = 4`,
		`INSERT INTO runs (client_id, site_id, generation, profile_name, profile_digest, as_of, trees, targets, overlap_count) VALUES (1, 1, 1, 'default', 'x', '2026-01-01', 9, 1, 9)`,
		`UPDATE sites SET generation = 1`,
	} {
		if _, err := pool.Exec(ctx, sql); err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
	}
	pool.Close()
	db, err := postgres.Open(ctx, url)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	site, err := db.GetSite(ctx, 1, "old")
	if err != nil {
		t.Fatal(err)
	}
	run, err := db.Recompute(ctx, site, profile.Default(), day)
	if err != nil || run.Trees != 9 || run.Targets != 1 {
		t.Fatalf("%+v (%v)", run, err)
	}
	words, n, err := db.UnknownHours(ctx, site, profile.Default().WeekNames())
	if err != nil || n != 0 {
		t.Errorf("%d targets with the hours %v, which the profile does not have (%v)", n, words, err)
	}
	var history int
	if err := db.Pool().QueryRow(ctx, `SELECT count(*) FROM history WHERE collection = 'trees'`).Scan(&history); err != nil || history != 1 {
		t.Errorf("%d rows of history, expected the one from before (%v)", history, err)
	}
}

// What would make figures that are none, or leave no trace, is refused in SQL too.
func TestPlainSQLIsHeldToo(t *testing.T) {
	ctx := t.Context()
	db := open(t)
	town(t, db, 20)
	for sql, want := range map[string]string{
		`UPDATE targets SET people_per_hour = 'NaN' WHERE target_id = 1`:                                                     "targets_finite",
		`UPDATE targets SET people_present = 'Infinity' WHERE target_id = 1`:                                                 "targets_finite",
		`UPDATE cuts SET reach_m = 'NaN'`:                                                                                    "cuts_finite",
		`INSERT INTO counts (client_id, site_id, target_id, counted_at, people) VALUES (1, 1, 1, '2026-03-02 08:00', 'NaN')`: "people",
		`INSERT INTO counts (client_id, site_id, target_id, counted_at, people) VALUES (1, 1, 1, '2026-03-02 08:30', 3)`:     "counted_at",
		`TRUNCATE targets CASCADE`: "use DELETE",
		`TRUNCATE visits`:          "use DELETE",
		`UPDATE trees SET crown = geometry WHERE tree_id = 1`:                                                                       "crown",
		`UPDATE trees SET lean_deg = 'NaN' WHERE tree_id = 1`:                                                                       "lean_deg",
		`INSERT INTO visits (client_id, site_id, tree_id, visited_on, opening_share) VALUES (1, 1, 1, '2026-01-01', 'NaN')`:         "opening_share",
		`INSERT INTO visits (client_id, site_id, tree_id, visited_on, stem_diameter_m) VALUES (1, 1, 1, '2026-01-01', 'NaN')`:       "stem_diameter",
		`INSERT INTO visits (client_id, site_id, tree_id, visited_on, other_points) VALUES (1, 1, 1, '2026-01-01', 3)`:              "other_points",
		`INSERT INTO visits (client_id, site_id, tree_id, visited_on, decay_diameter_m) VALUES (1, 1, 1, '2026-01-01', 'Infinity')`: "decay_diameter",
	} {
		if _, err := db.Pool().Exec(ctx, sql); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, expected it to be refused by %s", sql, err, want)
		}
	}
}

// An edit that somebody leaves open holds a ranking's instant up only so long, and
// other editors hardly at all.
func TestInstantStandsAsideForAnOpenEdit(t *testing.T) {
	ctx := t.Context()
	db := open(t)
	town(t, db, 20)
	open, err := db.Pool().Begin(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer open.Rollback(ctx)
	if _, err := open.Exec(ctx, `UPDATE trees SET height_m = 9 WHERE tree_id = 1`); err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() {
		_, err := db.Instant(ctx)
		done <- err
	}()
	for range 5 {
		if _, err := db.Pool().Exec(ctx, `SET lock_timeout = '5s'; UPDATE trees SET height_m = 8 WHERE tree_id = 2; RESET lock_timeout`); err != nil {
			t.Fatalf("another editor: %v", err)
		}
		time.Sleep(100 * time.Millisecond)
	}
	if err := open.Commit(ctx); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Errorf("after the edit was committed: %v", err)
	}
}

// Who waits for another's turn goes on from what that one left.
func TestCatchUpSeesWhatItWaitedFor(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 40)
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	first, err := db.Pool().Begin(ctx)
	if err != nil {
		t.Fatal(err)
	}
	defer first.Rollback(context.WithoutCancel(ctx))
	if _, err := first.Exec(ctx, `UPDATE sites SET revision = revision + 1; UPDATE runs SET reach_m = 77.7, trees = trees + 5`); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Pool().Exec(ctx, `UPDATE trees SET height_m = 9 WHERE tree_id = 2`); err != nil {
		t.Fatal(err)
	}
	var run inventory.Run
	done := make(chan error, 1)
	go func() {
		var err error
		run, _, err = db.CatchUp(ctx, site, p, day)
		done <- err
	}()
	for waiting := 0; waiting == 0; time.Sleep(20 * time.Millisecond) {
		if err := db.Pool().QueryRow(ctx, `SELECT count(*) FROM pg_locks WHERE NOT granted`).Scan(&waiting); err != nil {
			t.Fatal(err)
		}
	}
	if err := first.Commit(ctx); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	var reach float64
	var trees int64
	if err := db.Pool().QueryRow(ctx, `SELECT reach_m, trees FROM runs`).Scan(&reach, &trees); err != nil || reach != 77.7 || run.Trees != trees || trees < 40 {
		t.Errorf("reach %v, %d trees, told %d (%v)", reach, trees, run.Trees, err)
	}
}

// A word for hours that the profile lacks stops nothing, and whoever asks is told.
func TestUnknownHoursAreToldOf(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 30)
	ask := func() *question.Ranking {
		t.Helper()
		a, err := question.Rank(ctx, db, site, ranking.Query{By: ranking.ByHarm}, question.Draws{}, p, day)
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
	if note := ask().Note; note != "" {
		t.Errorf("note %q where all is known", note)
	}
	if _, err := db.Pool().Exec(ctx, `UPDATE targets SET hours = 'fair' WHERE target_id IN (3, 5)`); err != nil {
		t.Fatal(err)
	}
	if note := ask().Note; !strings.Contains(note, "2 targets") || !strings.Contains(note, "fair") {
		t.Errorf("note %q, expected it to name the two targets' word", note)
	}
	caught, _ := digest(t, db)
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	if full, _ := digest(t, db); full != caught {
		t.Error("caught up and computed in full the rows differ")
	}
}
