package postgres_test

import (
	"bytes"
	"context"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/maptile"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/tiling"
)

// gatheredTown has trees of equal harm and none, with equal tags, with an empty one
// and without; trees that no run rates; and visits.
func gatheredTown(t *testing.T) (*postgres.DB, inventory.Site) {
	db := open(t)
	site := town(t, db, 90)
	for _, sql := range []string{
		`INSERT INTO sites (client_id, name) VALUES (1, 'elsewhere')`,
		`INSERT INTO trees (client_id, site_id, tag, height_m, geometry) SELECT 1, 2, n::text, 9, ST_SetSRID(ST_MakePoint(8.503, 47.302), 4326) FROM generate_series(1, 5) n`,
		`UPDATE trees SET tag = NULL WHERE tree_id % 9 = 4`,
		`UPDATE trees SET tag = 'same' WHERE tree_id % 9 = 5`,
		`UPDATE trees SET tag = 'the same long tag ' || tree_id % 3 WHERE tree_id % 9 = 6`,
		`UPDATE trees SET tag = 'ö' WHERE tree_id % 9 = 7`,
		// Twins, which are of equal harm, and trees over nothing at all.
		`INSERT INTO trees (client_id, site_id, tag, status, dbh_m, height_m, crown_radius_m, geometry) SELECT 1, 1, t.tag, t.status, t.dbh_m, t.height_m, t.crown_radius_m, t.geometry FROM trees t WHERE tree_id BETWEEN 20 AND 30`,
		`INSERT INTO trees (client_id, site_id, tag, height_m, crown_radius_m, geometry) SELECT 1, 1, 'far ' || n % 4, 9, 2, ST_SetSRID(ST_MakePoint(8.9 + n * 0.001, 47.5), 4326) FROM generate_series(1, 12) n`,
		`INSERT INTO visits (client_id, site_id, tree_id, visited_on) SELECT 1, 1, tree_id, date '2025-01-01' + tree_id::int FROM trees WHERE site_id = 1 AND tree_id % 4 = 1`,
	} {
		if _, err := db.Pool().Exec(t.Context(), sql); err != nil {
			t.Fatalf("%s: %v", sql, err)
		}
	}
	for _, name := range []string{"town", "elsewhere"} {
		site, err := db.GetSite(t.Context(), 1, name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Recompute(t.Context(), site, profile.Default(), day); err != nil {
			t.Fatal(err)
		}
	}
	return db, site
}

// conditionsGathered are parts of questions: of what is gathered, and of what only
// the database knows.
var conditionsGathered = []string{
	"status IN ('alive','dead')", "status = 'stump'", "status IN ('alive','no such status')", "A_OVERLAPS(over, ('plaza','walkway'))", "A_CONTAINS(over, ('walkway'))", "A_CONTAINS(over, ('walkway','sky'))",
	"A_OVERLAPS(over, ('sky'))", "A_OVERLAPS(cut_kinds, ('topping','heading'))", "A_CONTAINS(cut_kinds, ('topping','heading'))", "last_topped >= 2015", "last_topped <> 2015", "last_topped IS NULL",
	"(last_visit < DATE('2025-02-01') OR last_visit IS NULL)", "last_visit = DATE('2025-02-15')", "rating = 'high'", "rating IN ('low','moderate')", "rating IS NULL", "harm_index IS NULL",
	"S_INTERSECTS(geometry, BBOX(8.502, 47.301, 8.507, 47.305))", "S_INTERSECTS(geometry, POLYGON((8.501 47.301, 8.509 47.302, 8.504 47.306, 8.501 47.301)))",
	"(dbh_cm > 30 OR tag LIKE 'far%')", "NOT (rating = 'low')", "harm_index > 0.001", "rank <= 20", "A_CONTAINEDBY(cut_kinds, ('removal'))", "(status = 'dead' OR (last_topped > 2010 AND rating = 'low'))",
	"last_topped BETWEEN 2010 AND 2016", "within_m(geometry, POINT(8.505 47.303), 200)", "S_INTERSECTS(zone, POINT(8.505 47.303))", "height_m IS NULL", "person_hours_year IS NULL",
}

// same asks with what is gathered and without, and compares pages to the last byte
// of where they go on, and counts.
func same(t *testing.T, db *postgres.DB, where, by string, limit int) (n int) {
	t.Helper()
	ctx := context.WithoutCancel(t.Context())
	e, err := filter.ParseText(where)
	if err != nil {
		t.Fatalf("%s: %v", where, err)
	}
	c := collection(t, "trees")
	if err := filter.Check(e, c); err != nil {
		t.Fatalf("%s: %v", where, err)
	}
	q := inventory.FeatureQuery{Client: 1, Collection: c, Filter: e, Order: []inventory.SortKey{{Property: by, Descending: true}, {Property: "tag"}}, Limit: limit}
	state, err := db.FeatureState(ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	total := 0
	for {
		want := served(t, db, q)
		fast := q
		fast.State = state
		got := served(t, db, fast)
		if a, b := fmt.Sprint(told(got)), fmt.Sprint(told(want)); a != b {
			t.Fatalf("%s by %s after %v:\n%s\nthe database has\n%s", where, by, q.After, a, b)
		}
		total += len(want)
		if !q.After.OK {
			count, ok, err := db.CountGathered(ctx, fast)
			if n, nerr := db.CountFeatures(ctx, q, 0); !ok || n != count || err != nil || nerr != nil {
				t.Errorf("%s: %d are counted (%v, %v), the database has %d (%v)", where, count, ok, err, n, nerr)
			}
		}
		if len(want) < limit {
			return total
		}
		q.After = inventory.Some(want[len(want)-1].At)
	}
}

func told(list []inventory.Feature) (out []string) {
	for _, f := range list {
		line := fmt.Sprint(f.ID, " ", f.At.IDs)
		for _, k := range f.At.Keys {
			if k == nil {
				line += " -"
			} else {
				line += fmt.Sprintf(" %q", *k)
			}
		}
		for _, v := range f.Values {
			line += fmt.Sprint(" ", v.Null, v.Int, v.Float, string(v.Bytes), len(v.List))
		}
		out = append(out, line+"\n")
	}
	return out
}

// What is gathered answers as the database does: every condition by itself, and
// some together, in both orders, page by page.
func TestGatheredPagesAreTheDatabases(t *testing.T) {
	db, _ := gatheredTown(t)
	r := rand.New(rand.NewPCG(7, 8))
	found := 0
	for i, condition := range conditionsGathered {
		where := "site = 'town' AND " + condition
		for range i % 3 {
			where += " AND " + conditionsGathered[r.IntN(len(conditionsGathered))]
		}
		by := []string{"harm_index", "person_hours_year"}[i%2]
		n := same(t, db, "site = 'town' AND "+condition, by, 40)
		same(t, db, where, by, 7)
		if n > 0 {
			found++
		}
	}
	if found < len(conditionsGathered)-4 {
		t.Errorf("only %d conditions find anything", found)
	}
	same(t, db, "site = 'town'", "harm_index", 5)
	same(t, db, "site = 'elsewhere'", "harm_index", 3)
	if read := db.GatheredRead(); read != 2 {
		t.Errorf("the trees of two sites were read %d times", read)
	}
}

// After each edit only what it changed is read again, and the answer is the
// database's.
func TestGatheredFollowsEdits(t *testing.T) {
	db, site := gatheredTown(t)
	ctx := t.Context()
	const all = "site = 'town' AND status IN ('alive','dead','stump')"
	same(t, db, all, "harm_index", 30)
	for _, sql := range []string{
		`UPDATE trees SET height_m = 30, crown_radius_m = 11, tag = 'taller' WHERE tree_id = 5`,
		`DELETE FROM trees WHERE tree_id = 7`,
		`UPDATE targets SET people_per_hour = 900 WHERE kind = 'walkway'`,
		`INSERT INTO trees (client_id, site_id, tag, height_m, geometry) SELECT 1, 1, NULL, 15, geometry FROM trees WHERE tree_id = 9`,
		`UPDATE trees SET status = 'stump' WHERE tree_id = 3`,
		`UPDATE trees SET geometry = ST_Translate(geometry, 0.002, 0.001) WHERE tree_id IN (12, 13)`,
		`INSERT INTO cuts (client_id, site_id, tree_id, kind, made_year) VALUES (1, 1, 14, 'topping', 2021)`,
		`INSERT INTO visits (client_id, site_id, tree_id, visited_on) VALUES (1, 1, 14, '2026-01-01')`,
		`UPDATE trees SET tag = 'renamed' WHERE tree_id = 21`,
		`DELETE FROM targets WHERE target_id = 1`,
	} {
		if _, done, err := db.Edit(ctx, site, profile.Default(), day, func(ctx context.Context, tx pgx.Tx) error {
			_, err := tx.Exec(ctx, sql)
			return err
		}); err != nil || !done {
			t.Fatal(done, err)
		}
		same(t, db, all, "harm_index", 30)
		same(t, db, all+" AND last_topped > 2010 AND (last_visit < DATE('2025-03-01') OR last_visit IS NULL)", "person_hours_year", 30)
		sameTiles(t, db, site, all)
		if read := db.GatheredRead(); read != 2 { // once for each site
			t.Errorf("after %s all trees were read for the %d. time", sql, read)
		}
	}
	// What nobody has caught up with yet is seen too.
	if _, err := db.Pool().Exec(ctx, `UPDATE trees SET tag = 'by hand' WHERE tree_id = 22`); err != nil {
		t.Fatal(err)
	}
	same(t, db, all, "harm_index", 30)
	if _, err := db.Recompute(ctx, site, profile.Default(), day); err != nil {
		t.Fatal(err)
	}
	same(t, db, all, "harm_index", 30)
}

// Tiles that are summed up from what is gathered are those that the database's rows
// make, whatever the question.
func TestGatheredTilesAreTheDatabases(t *testing.T) {
	db, site := gatheredTown(t)
	for _, condition := range conditionsGathered {
		sameTiles(t, db, site, condition)
	}
}

func sameTiles(t *testing.T, db *postgres.DB, site inventory.Site, where string) {
	t.Helper()
	e, err := filter.ParseText(where)
	if err != nil {
		t.Fatal(err)
	}
	state, err := db.FeatureState(t.Context(), 1)
	if err != nil {
		t.Fatal(err)
	}
	for _, of := range []inventory.Opt[inventory.SiteID]{{}, inventory.Some(site.ID)} {
		for _, layer := range []string{"trees", "exposure"} {
			for _, z := range []maptile.Zoom{0, 11, 13} {
				l, _ := inventory.GetTileLayer(layer)
				at := maptile.At(orb.Point{8.505, 47.303}, z)
				q := inventory.TileQuery{Client: 1, Site: of, Layer: l, Tile: tiling.Tile{Z: int(z), X: int(at.X), Y: int(at.Y)}, Filter: e}
				want, err := db.FindTile(t.Context(), q)
				if err != nil {
					t.Fatal(err)
				}
				q.State = state
				got, err := db.FindTile(t.Context(), q)
				if err != nil || !bytes.Equal(got, want) {
					t.Fatalf("%s: the tile of %s at level %d is of %d bytes (%v), the database's rows make %d", where, layer, z, len(got), err, len(want))
				}
				if z == 0 && strings.HasPrefix(where, "status IN") && len(want) == 0 {
					t.Errorf("%s: the tile is empty", where)
				}
			}
		}
	}
}
