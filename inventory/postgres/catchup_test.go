package postgres_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
)

// edit makes one random change by plain SQL, as a desktop GIS would.
func edit(r *rand.Rand) string {
	tree, target := 1+r.IntN(160), 1+r.IntN(160)
	x, y := 8.5+r.Float64()*0.01, 47.3+r.Float64()*0.007
	shift := fmt.Sprintf("ST_Translate(geometry, %v, %v)", (r.Float64()-0.5)*4e-4, (r.Float64()-0.5)*4e-4)
	edits := []string{
		fmt.Sprintf(`UPDATE trees SET geometry = %s WHERE tree_id = %d`, shift, tree),
		fmt.Sprintf(`UPDATE trees SET status = (ARRAY['alive', 'dead', 'removed', 'stump'])[%d] WHERE tree_id = %d`, 1+r.IntN(4), tree),
		fmt.Sprintf(`UPDATE trees SET height_m = %v, crown_radius_m = NULL WHERE tree_id = %d`, 3+r.Float64()*40, tree),
		fmt.Sprintf(`UPDATE trees SET crown = ST_Buffer(geometry, 0.00005, 3), lean_deg = 25, lean_bearing_deg = %d WHERE tree_id = %d`, r.IntN(360), tree),
		fmt.Sprintf(`UPDATE trees SET crown_radius_m = NULL, crown_north_m = %d, crown_east_m = 2.5, crown_south_m = 0, crown_west_m = 7 WHERE tree_id = %d`, r.IntN(9), tree),
		fmt.Sprintf(`DELETE FROM trees WHERE tree_id = %d`, tree),
		fmt.Sprintf(`INSERT INTO trees (client_id, site_id, tag, dbh_m, species, geometry) VALUES (1, 1, 'new', %v, 'Acer rubrum', ST_SetSRID(ST_MakePoint(%v, %v), 4326))`, 0.1+r.Float64(), x, y),
		fmt.Sprintf(`INSERT INTO cuts (client_id, site_id, tree_id, kind, bearing_deg, reach_m) SELECT 1, 1, tree_id, 'topping', %d, 60 FROM trees WHERE tree_id = %d`, r.IntN(360), tree),
		fmt.Sprintf(`UPDATE cuts SET tree_id = (SELECT min(tree_id) FROM trees WHERE tree_id >= %d) WHERE cut_id = %d`, r.IntN(150), 1+r.IntN(100)),
		fmt.Sprintf(`DELETE FROM cuts WHERE cut_id = %d`, 1+r.IntN(100)),
		fmt.Sprintf(`INSERT INTO visits (client_id, site_id, tree_id, visited_on, crown) SELECT 1, 1, tree_id, '2026-01-01', 'imminent' FROM trees WHERE tree_id = %d`, tree),
		fmt.Sprintf(`DELETE FROM visits WHERE tree_id BETWEEN %d AND %d`, tree, tree+5),
		fmt.Sprintf(`UPDATE targets SET geometry = %s WHERE target_id = %d`, shift, target),
		fmt.Sprintf(`UPDATE targets SET people_per_hour = %v, kind = 'walkway' WHERE target_id BETWEEN %d AND %d`, r.Float64()*100, target, target+3),
		fmt.Sprintf(`DELETE FROM targets WHERE target_id = %d`, target),
		fmt.Sprintf(`INSERT INTO targets (client_id, site_id, kind, stalls, geometry) VALUES (1, 1, 'parking', 20, ST_MakeEnvelope(%v, %v, %v, %v, 4326))`, x, y, x+0.0006, y+0.0004),
		fmt.Sprintf(`INSERT INTO counts (client_id, site_id, target_id, counted_at, people) SELECT 1, 1, target_id, '2026-03-02 08:00'::timestamp + %d * interval '1 hour', %d FROM targets WHERE target_id = %d ON CONFLICT DO NOTHING`, r.IntN(200), r.IntN(300), target),
		fmt.Sprintf(`UPDATE counts SET people = people + 1, vehicles = 3 WHERE target_id = %d`, target),
		// Of many corners: one smooth, one of deep spikes.
		fmt.Sprintf(`INSERT INTO targets (client_id, site_id, kind, people_per_hour, geometry) VALUES (1, 1, 'plaza', 20, ST_Buffer(ST_SetSRID(ST_MakePoint(%v, %v), 4326), 0.0015, 400))`, x, y),
		fmt.Sprintf(`INSERT INTO targets (client_id, site_id, kind, people_per_hour, geometry) SELECT 1, 1, 'plaza', 20, ST_SetSRID(ST_MakePolygon(ST_AddPoint(l, ST_StartPoint(l))), 4326)
			FROM (SELECT ST_MakeLine(ST_MakePoint(%v + r * cos(a), %v + r * sin(a)) ORDER BY n) l FROM (SELECT n, radians(n * 0.06) AS a, 0.0015 - 0.0005 * (n %% 2) AS r FROM generate_series(0, 5999) n) q) w`, x, y),
		`UPDATE targets SET site_id = 2 WHERE target_id % 40 = 7`,
		`UPDATE targets SET site_id = 1 WHERE site_id = 2`,
	}
	return edits[r.IntN(len(edits))]
}

// Whatever is edited, and by whatever path, catching up leaves the very rows
// that a full run of the edited inventory makes.
func TestCatchUpLeavesWhatAFullRunDoes(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	for seed := range uint64(3) {
		r := rand.New(rand.NewPCG(seed, 7))
		db := open(t)
		site := town(t, db, 150)
		if _, err := db.Pool().Exec(ctx, `INSERT INTO sites (client_id, name) VALUES (1, 'other')`); err != nil {
			t.Fatal(err)
		}
		if _, err := db.Recompute(ctx, site, p, day); err != nil {
			t.Fatal(err)
		}
		for round := range 8 {
			var made []string
			for range 1 + r.IntN(6) {
				sql := edit(r)
				made = append(made, sql)
				if _, err := db.Pool().Exec(ctx, sql); err != nil {
					t.Fatalf("%s: %v", sql, err)
				}
			}
			caught, done, err := db.CatchUp(ctx, site, p, day)
			if err != nil || !done {
				t.Fatalf("seed %d, round %d: not caught up (%v) after\n%s", seed, round, err, strings.Join(made, "\n"))
			}
			got, n := digest(t, db)
			full, err := db.Recompute(ctx, site, p, day)
			if err != nil {
				t.Fatal(err)
			}
			want, m := digest(t, db)
			if got != want || n != m {
				t.Fatalf("seed %d, round %d: %d rows caught up, %d by a full run, alike %v, after\n%s", seed, round, n, m, got == want, strings.Join(made, "\n"))
			}
			if caught.Trees != full.Trees || caught.Targets != full.Targets || caught.Overlaps != full.Overlaps || caught.Reach < full.Reach {
				t.Errorf("seed %d, round %d: counts %+v, by a full run %+v", seed, round, caught, full)
			}
		}
	}
}

func TestCatchUpKnowsWhenItIsNotEnough(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 30)
	catch := func(p *profile.Profile) bool {
		t.Helper()
		_, done, err := db.CatchUp(ctx, site, p, day)
		if err != nil {
			t.Fatal(err)
		}
		return done
	}
	if catch(p) {
		t.Error("caught up before any run")
	}
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	if !catch(p) {
		t.Error("nothing was edited, and yet a full run is asked for")
	}
	if catch(p.In(profile.LeafOn)) {
		t.Error("caught up with a run under another profile")
	}
	before, err := db.FeatureState(ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Pool().Exec(ctx, `UPDATE trees SET height_m = 12 WHERE tree_id = 4`); err != nil {
		t.Fatal(err)
	}
	edited, err := db.FeatureState(ctx, 1)
	if err != nil {
		t.Fatal(err)
	}
	if !catch(p) {
		t.Error("one edit is too many")
	}
	after, err := db.FeatureState(ctx, 1)
	if err != nil || before == edited || edited == after || before == after {
		t.Errorf("the state of the inventory is not told apart before, after an edit and caught up: %q, %q, %q (%v)", before, edited, after, err)
	}
	if _, err := db.Pool().Exec(ctx, `INSERT INTO trees (client_id, site_id, dbh_m, geometry) SELECT 1, 1, 0.2, ST_SetSRID(ST_MakePoint(8.5 + n * 1e-6, 47.3), 4326) FROM generate_series(1, 6000) n`); err != nil {
		t.Fatal(err)
	}
	if catch(p) {
		t.Error("six thousand trees in one statement were listed one by one")
	}
	if _, err := question.UpToDate(ctx, db, site, p, day, false); err != nil {
		t.Fatal(err)
	}
	if !catch(p) {
		t.Error("a full run left something to catch up with")
	}
}

// Two who catch up at once: one does it, both succeed, and nothing is lost.
func TestCatchUpTogether(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 80)
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	done := make(chan error)
	for n := range 4 {
		go func() {
			for i := range 10 {
				_, err := db.Pool().Exec(ctx, fmt.Sprintf(`UPDATE trees SET height_m = %d WHERE tree_id = %d`, 5+i, 1+n*10+i))
				if err == nil {
					var ok bool
					if _, ok, err = db.CatchUp(ctx, site, p, day); err == nil && !ok {
						err = inventory.Errorf(inventory.Internal, "not caught up")
					}
				}
				if err != nil {
					done <- err
					return
				}
			}
			done <- nil
		}()
	}
	for range 4 {
		if err := <-done; err != nil {
			t.Error(err)
		}
	}
	got, _ := digest(t, db)
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	if want, _ := digest(t, db); got != want {
		t.Error("rows caught up by several at once are not those of a full run")
	}
}

var _ = (*postgres.DB)(nil)
