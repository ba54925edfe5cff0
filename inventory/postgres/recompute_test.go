package postgres_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/risk"
)

var day = time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)

// town fills a site with trees, cuts, visits and targets by plain SQL, as an
// edit from a desktop GIS would.
func town(t *testing.T, db *postgres.DB, trees int) inventory.Site {
	t.Helper()
	ctx := t.Context()
	r := rand.New(rand.NewPCG(1, 2))
	exec := func(sql string, args ...any) {
		t.Helper()
		if _, err := db.Pool().Exec(ctx, sql, args...); err != nil {
			t.Fatal(err)
		}
	}
	exec(`INSERT INTO sites (client_id, name) VALUES (1, 'town')`)
	place := func() (float64, float64) { return 8.5 + r.Float64()*0.01, 47.3 + r.Float64()*0.007 }
	for i := range trees {
		x, y := place()
		status := "alive"
		if i%11 == 0 {
			status = []string{"dead", "stump", "removed", "vacant"}[i/11%4]
		}
		exec(`INSERT INTO trees (client_id, site_id, tag, status, dbh_m, crown_radius_m, geometry)
			VALUES (1, 1, $1, $2, $3, $4, ST_SetSRID(ST_MakePoint($5, $6), 4326))`, fmt.Sprint(i), status, 0.1+r.Float64()*0.5, 2+r.Float64()*6, x, y)
		for range r.IntN(3) {
			kind := []string{"topping", "heading", "lion-tailing", "removal"}[r.IntN(4)]
			exec(`INSERT INTO cuts (client_id, site_id, tree_id, kind, made_year, bearing_deg, reach_m, regrowth_length_m, decay) VALUES (1, 1, $1, $2, $3, $4, $5, $6, $7)`,
				i+1, kind, 2005+r.IntN(20), 359*r.Float64(), 1+4*r.Float64(), 5*r.Float64(), r.IntN(2) == 0)
		}
		if r.IntN(5) == 0 {
			exec(`INSERT INTO visits (client_id, site_id, tree_id, visited_on, limb) VALUES (1, 1, $1, $2, 'probable')`, i+1, day.AddDate(-r.IntN(9), 0, 0))
		}
	}
	for i := range trees {
		x, y := place()
		if i%2 == 0 {
			exec(`INSERT INTO targets (client_id, site_id, kind, people_per_hour, geometry) VALUES (1, 1, 'walkway', $1,
				ST_SetSRID(ST_MakeLine(ST_MakePoint($2, $3), ST_MakePoint($4, $5)), 4326))`, 100*r.Float64(), x, y, x+0.002*r.Float64(), y+0.001*r.Float64())
			continue
		}
		exec(`INSERT INTO targets (client_id, site_id, kind, people_present, geometry) VALUES (1, 1, 'plaza', $1, ST_MakeEnvelope($2, $3, $4, $5, 4326))`,
			5*r.Float64(), x, y, x+0.0003, y+0.0002)
	}
	site, err := db.GetSite(ctx, 1, "town")
	if err != nil {
		t.Fatal(err)
	}
	return site
}

// digest sums up the exposures in force, whatever their generation.
func digest(t *testing.T, db *postgres.DB) (sum string, rows int) {
	t.Helper()
	err := db.Pool().QueryRow(t.Context(), `
		SELECT coalesce(md5(string_agg((to_jsonb(x) - 'generation')::text, ',' ORDER BY tree_id)), ''), count(*)
		FROM exposures x JOIN sites USING (client_id, generation)`).Scan(&sum, &rows)
	if err != nil {
		t.Fatal(err)
	}
	return sum, rows
}

// PostGIS is the judge: people under each crown by intersection with a fine disc
// drawn on a plane about the tree (256 segments a quarter).
func TestRecomputeAgainstPostGIS(t *testing.T) {
	db := open(t)
	site := town(t, db, 300)
	run, err := db.Recompute(t.Context(), site, profile.Default(), day)
	if err != nil {
		t.Fatal(err)
	}
	var standing int64
	rows, err := db.Pool().Query(t.Context(), `
		WITH t AS (SELECT tree_id, crown_radius_m r, geometry g, '+proj=aeqd +lat_0=' || ST_Y(geometry) || ' +lon_0=' || ST_X(geometry) || ' +datum=WGS84 +units=m' AS plane
		           FROM trees WHERE status IN ('alive', 'dead') AND NOT EXISTS (SELECT FROM cuts c WHERE c.tree_id = trees.tree_id AND kind <> 'removal')),
		clipped AS (
			SELECT t.tree_id, w.kind, ST_Intersection(ST_Buffer('POINT(0 0)'::geometry, t.r, 256), ST_SetSRID(ST_Transform(w.geometry, t.plane), 0)) c,
			       CASE WHEN w.kind = 'plaza' THEN w.people_present / ST_Area(w.geometry::geography) ELSE w.people_per_hour / 3600 / 1.2 END density
			FROM t JOIN targets w ON w.geometry && ST_Expand(t.g, 0.0002))
		SELECT t.tree_id, coalesce(sum(density * (ST_Area(c) + ST_Length(CASE WHEN ST_Dimension(c) = 1 THEN c END))) FILTER (WHERE kind = 'walkway' AND ST_Dimension(c) = 1), 0)
		     + coalesce(sum(density * ST_Area(c)) FILTER (WHERE kind = 'plaza'), 0),
		       e.people FROM t LEFT JOIN clipped USING (tree_id) JOIN exposures e ON e.tree_id = t.tree_id GROUP BY t.tree_id, e.people`)
	if err != nil {
		t.Fatal(err)
	}
	met := 0
	for rows.Next() {
		var id int64
		var judge, ours float64
		if err := rows.Scan(&id, &judge, &ours); err != nil {
			t.Fatal(err)
		}
		if judge > 0 {
			met++
		}
		// A sliver's area hangs on the chord of the fine disc; the floor covers it.
		if math.Abs(judge-ours) > 1e-3*judge+1e-4 {
			t.Errorf("tree %d: %v people, PostGIS %v", id, ours, judge)
		}
	}
	if rows.Err() != nil || met < 20 {
		t.Fatalf("%d trees over anything: too few to judge by (%v)", met, rows.Err())
	}
	if err := db.Pool().QueryRow(t.Context(), `SELECT count(*) FROM trees WHERE status IN ('alive', 'dead')`).Scan(&standing); err != nil || run.Trees != standing {
		t.Errorf("%d trees computed, %d stand (%v)", run.Trees, standing, err)
	}
}

// Whole, in many stripes, and tree by tree from the store: one result.
func TestStripesAndSingleTreesAgreeWithTheWhole(t *testing.T) {
	db := open(t)
	site := town(t, db, 250)
	ctx, p := t.Context(), profile.Default()
	whole, err := db.Recompute(ctx, site, p, day)
	if err != nil {
		t.Fatal(err)
	}
	want, rows := digest(t, db)
	db.SetStripeVertices(90)
	striped, err := db.Recompute(ctx, site, p, day)
	if err != nil {
		t.Fatal(err)
	}
	if got, n := digest(t, db); got != want || n != rows || striped.Trees != whole.Trees || striped.Overlaps != whole.Overlaps {
		t.Errorf("in stripes %d rows, %d trees, %d overlaps; whole %d, %d, %d; same rows %v", n, striped.Trees, striped.Overlaps, rows, whole.Trees, whole.Overlaps, got == want)
	}
	for i := range 60 {
		checkAgainstExplain(t, db, site, fmt.Sprint(i), p)
	}
}

func checkAgainstExplain(t *testing.T, db *postgres.DB, site inventory.Site, tag string, p *profile.Profile) {
	t.Helper()
	var harm float64
	var rating risk.Grade
	err := db.Pool().QueryRow(t.Context(), `SELECT harm, rating FROM exposures JOIN sites USING (client_id, generation) JOIN trees USING (client_id, tree_id) WHERE tag = $1`, tag).Scan(&harm, &rating)
	if err != nil {
		return // not standing: nothing is stored
	}
	e, err := question.Explain(t.Context(), db, site, tag, p, day)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(e.Assessment.Harm-harm) > 1e-12+1e-9*harm || e.Assessment.Score.Rating != rating {
		t.Errorf("tree %s opened: harm %v rating %v; stored %v %v", tag, e.Assessment.Harm, e.Assessment.Score.Rating, harm, rating)
	}
	sum := 0.0
	for _, o := range e.Overlaps {
		if o.Zone == 0 {
			sum += o.Count.Persons()
		}
	}
	if whole := e.Assessment.Parts[0].Exposure.Count.Persons(); math.Abs(sum-whole) > 1e-9*(1+whole) {
		t.Errorf("tree %s: overlaps of the whole tree add up to %v people, the part has %v", tag, sum, whole)
	}
}

func TestRunIsFreshUntilAnEdit(t *testing.T) {
	db := open(t)
	site := town(t, db, 60)
	ctx, p := t.Context(), profile.Default()
	if _, _, err := db.GetRun(ctx, site); inventory.KindOf(err) != inventory.NotFound {
		t.Fatalf("before any run: %v", err)
	}
	first, err := question.UpToDate(ctx, db, site, p, day, false)
	if err != nil {
		t.Fatal(err)
	}
	before, _ := digest(t, db)
	if again, err := question.UpToDate(ctx, db, site, p, day, false); err != nil || again.Generation != first.Generation {
		t.Errorf("computed again without an edit: generation %d then %d (%v)", first.Generation, again.Generation, err)
	}
	for _, edit := range []string{
		`UPDATE trees SET geometry = ST_Translate(geometry, 0.0001, 0) WHERE tree_id = 5`,
		`DELETE FROM targets WHERE target_id = 3`,
		`INSERT INTO cuts (client_id, site_id, tree_id, kind) VALUES (1, 1, 7, 'topping')`,
		`INSERT INTO visits (client_id, site_id, tree_id, visited_on, crown) VALUES (1, 1, 8, '2026-01-01', 'imminent')`,
	} {
		if _, err := db.Pool().Exec(ctx, edit); err != nil {
			t.Fatal(err)
		}
		if _, fresh, err := db.GetRun(ctx, site); err != nil || fresh {
			t.Errorf("still fresh after %s (%v)", edit, err)
		}
		if _, err := question.UpToDate(ctx, db, site, p, day, false); err != nil {
			t.Fatal(err)
		}
	}
	if after, _ := digest(t, db); after == before {
		t.Error("the edits changed nothing")
	}
	if n := generations(t, db); n != 1 {
		t.Errorf("%d generations kept, expected the first, brought up to date", n)
	}
}

// Runs of several sites at once must not wait for one another's connections.
func TestRunsTogether(t *testing.T) {
	db := open(t)
	ctx := t.Context()
	first := town(t, db, 30)
	const sites = 6
	if _, err := db.Pool().Exec(ctx, `INSERT INTO sites (client_id, name) SELECT 1, 'site ' || n FROM generate_series(2, $1::int) n`, sites); err != nil {
		t.Fatal(err)
	}
	done := make(chan error)
	for n := range sites {
		site := first
		site.ID = inventory.SiteID(n + 1)
		go func() {
			_, err := db.Recompute(ctx, site, profile.Default(), day)
			done <- err
		}()
	}
	for range sites {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	if n := generations(t, db); n != sites {
		t.Errorf("%d generations for %d sites", n, sites)
	}
}

// The swap does not wait for a reader, and a reader's snapshot keeps its
// generation; what could not be dropped meanwhile is dropped later.
func TestSwapDoesNotWaitForReaders(t *testing.T) {
	db := open(t)
	site := town(t, db, 30)
	ctx, p := t.Context(), profile.Default()
	recompute := func() {
		t.Helper()
		if _, err := db.Recompute(ctx, site, p, day); err != nil {
			t.Fatal(err)
		}
	}
	recompute()
	reader, err := db.Pool().BeginTx(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead})
	if err != nil {
		t.Fatal(err)
	}
	defer reader.Rollback(ctx)
	if _, err := reader.Exec(ctx, `SELECT 1`); err != nil {
		t.Fatal(err)
	}
	recompute() // between the reader's snapshot and its first look
	for range 3 {
		var rows, generation int
		if err := reader.QueryRow(ctx, `SELECT count(*), min(generation) FROM exposures JOIN sites USING (client_id, generation)`).Scan(&rows, &generation); err != nil || rows != 28 || generation != 1 {
			t.Fatalf("the reader sees %d rows of generation %d, expected 28 of the first (%v)", rows, generation, err)
		}
		recompute()
	}
	reader.Rollback(ctx)
	recompute()
	if n := generations(t, db); n != 2 {
		t.Errorf("%d generations left, expected the one in force and the one before", n)
	}
}

func generations(t *testing.T, db *postgres.DB) (n int) {
	t.Helper()
	if err := db.Pool().QueryRow(t.Context(), `SELECT count(*) FROM pg_inherits WHERE inhparent = 'exposures'::regclass`).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

func TestCancelledRunChangesNothing(t *testing.T) {
	db := open(t)
	site := town(t, db, 60)
	p := profile.Default()
	if _, err := db.Recompute(t.Context(), site, p, day); err != nil {
		t.Fatal(err)
	}
	before, _ := digest(t, db)
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := db.Recompute(ctx, site, p, day); err == nil {
		t.Fatal("a cancelled run succeeded")
	}
	if after, _ := digest(t, db); after != before {
		t.Error("a cancelled run left something behind")
	}
}

func TestHistoryKeepsWhatWasThere(t *testing.T) {
	db := open(t)
	town(t, db, 3)
	ctx := t.Context()
	for _, edit := range []string{`UPDATE trees SET species = 'Acer rubrum' WHERE tree_id = 2`, `UPDATE trees SET species = 'Tilia cordata' WHERE tree_id = 2`, `DELETE FROM trees WHERE tree_id = 2`} {
		if _, err := db.Pool().Exec(ctx, edit); err != nil {
			t.Fatal(err)
		}
	}
	rows, err := db.Pool().Query(ctx, `SELECT version, change, coalesce(before->>'species', '') FROM history WHERE collection = 'trees' AND feature_id = 2 ORDER BY history_id`)
	if err != nil {
		t.Fatal(err)
	}
	got := ""
	for rows.Next() {
		var version int
		var change, species string
		if err := rows.Scan(&version, &change, &species); err != nil {
			t.Fatal(err)
		}
		got += fmt.Sprintf("%d %s %q; ", version, change, species)
	}
	if want := `1 update ""; 2 update "Acer rubrum"; 3 delete "Tilia cordata"; `; got != want {
		t.Errorf("history %s, expected %s", got, want)
	}
}

// Several processes may start on an empty database at once.
func TestOpenTogether(t *testing.T) {
	url := emptyURL(t)
	errs := make(chan error, 4)
	for range 4 {
		go func() {
			db, err := postgres.Open(t.Context(), url)
			if err == nil {
				db.Close()
			}
			errs <- err
		}()
	}
	for range 4 {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
}
