package postgres_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
)

func text(s string) inventory.Value    { return inventory.Value{Bytes: []byte(s)} }
func number(v float64) inventory.Value { return inventory.Value{Float: v} }
func integer(v int64) inventory.Value  { return inventory.Value{Int: v} }
func date(y, m, d int) inventory.Value {
	return inventory.Value{Time: time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)}
}
func shape(g orb.Geometry) inventory.Opt[orb.Geometry] { return inventory.Some(g) }

type values = map[string]inventory.Value

var null = inventory.Value{Null: true}

func editOf(t testing.TB, collection string, kind inventory.EditKind, id int64, v values, g inventory.Opt[orb.Geometry]) inventory.Edit {
	t.Helper()
	c, err := inventory.GetCollection(collection)
	if err != nil {
		t.Fatal(err)
	}
	return inventory.Edit{Client: 1, Collection: c, Kind: kind, ID: id, Values: v, Geometry: g, Actor: "underbough"}
}

// made is an edit in both ways of making it.
type made struct {
	sql  string
	edit inventory.Edit
}

// edits are the same by either way, on a town.
func edits(t testing.TB) []made {
	var nothing inventory.Opt[orb.Geometry]
	yard := orb.Polygon{{{8.502, 47.302}, {8.503, 47.302}, {8.503, 47.303}, {8.502, 47.303}, {8.502, 47.302}}}
	e := func(collection string, kind inventory.EditKind, id int64, v values, g inventory.Opt[orb.Geometry]) inventory.Edit {
		return editOf(t, collection, kind, id, v, g)
	}
	return []made{
		{`INSERT INTO gis.trees (tree_id, tag, species, dbh_cm, height_m, site, geometry) VALUES (NULL, 'new', 'Acer rubrum', 45.3, 21.5, NULL, ST_SetSRID(ST_MakePoint(8.505, 47.304), 4326))`,
			e("trees", inventory.Create, 0, values{"tag": text("new"), "species": text("Acer rubrum"), "dbh_cm": number(45.3), "height_m": number(21.5), "site": null}, shape(orb.Point{8.505, 47.304}))},
		{`UPDATE gis.trees SET height_m = 31, crown_radius_m = NULL WHERE tree_id = 5`, e("trees", inventory.Merge, 5, values{"height_m": number(31), "crown_radius_m": null}, nothing)},
		{`UPDATE gis.trees SET geometry = ST_SetSRID(ST_MakePoint(8.5025, 47.3025), 4326) WHERE tree_id = 6`, e("trees", inventory.Merge, 6, nil, shape(orb.Point{8.5025, 47.3025}))},
		{`DELETE FROM gis.trees WHERE tree_id = 7`, e("trees", inventory.Delete, 7, nil, nothing)},
		{`INSERT INTO gis.cuts (tag, kind, diameter_cm, lateral_diameter_cm, bearing_deg, reach_m, made_year) VALUES ('new', 'reduction', 30, 6, 120, 4, 2016)`,
			e("cuts", inventory.Create, 0, values{"tag": text("new"), "kind": text("reduction"), "diameter_cm": number(30), "lateral_diameter_cm": number(6), "bearing_deg": number(120), "reach_m": number(4), "made_year": integer(2016)}, nothing)},
		{`UPDATE gis.cuts SET tree_id = 9, decay = true WHERE cut_id = 3`, e("cuts", inventory.Merge, 3, values{"tree_id": integer(9), "decay": integer(1)}, nothing)},
		{`INSERT INTO gis.visits (tree_id, visited_on, limb, next_visit_on, note) VALUES (10, '2026-02-03', 'imminent', '2026-08-03', '')`,
			e("visits", inventory.Create, 0, values{"tree_id": integer(10), "visited_on": date(2026, 2, 3), "limb": text("imminent"), "next_visit_on": date(2026, 8, 3), "note": text("")}, nothing)},
		{`INSERT INTO gis.targets (kind, stalls, name, geometry) VALUES ('parking', 40, 'Yard', ST_GeomFromText('POLYGON((8.502 47.302,8.503 47.302,8.503 47.303,8.502 47.303,8.502 47.302))', 4326))`,
			e("targets", inventory.Create, 0, values{"kind": text("parking"), "stalls": number(40), "name": text("Yard")}, shape(yard))},
		{`UPDATE gis.targets SET people_per_hour = 77 WHERE target_id = 11`, e("targets", inventory.Merge, 11, values{"people_per_hour": number(77)}, nothing)},
		{`INSERT INTO gis.counts (target_id, counted_at, people) VALUES (11, '2026-03-02T08:00', 120)`,
			e("counts", inventory.Create, 0, values{"target_id": integer(11), "counted_at": text("2026-03-02T08:00"), "people": number(120)}, nothing)},
		{`DELETE FROM gis.targets WHERE target_id = 12`, e("targets", inventory.Delete, 12, nil, nothing)},
	}
}

const historyOf = `SELECT collection || ' ' || feature_id || ' ' || version || ' ' || change || ' ' || actor || ' ' || (before - 'changed_at' - 'match_key')::text FROM history ORDER BY history_id`

func rowsOf(t testing.TB, db *postgres.DB, sql string) []string {
	t.Helper()
	rows, err := db.Pool().Query(t.Context(), sql)
	if err != nil {
		t.Fatal(err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// An edit straight from a desktop GIS, with a keeper in the background, ends in
// the same rows, the same history and the same bytes of exposures as through the
// service; and those are the bytes of a full run.
func TestDesktopEditsEndAsThoseOfTheService(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	state := func(direct bool) (history, rows []string, exposures string) {
		db := open(t)
		site := town(t, db, 80)
		if _, err := db.Recompute(ctx, site, p, day); err != nil {
			t.Fatal(err)
		}
		if direct {
			kept, stop := context.WithCancel(ctx)
			done := make(chan struct{})
			go func() {
				defer close(done)
				question.KeepUpToDate(kept, db, 1, p, func(site string, err error) { t.Error(site, err) }, func(context.Context) {})
			}()
			defer func() { stop(); <-done }()
		}
		for _, m := range edits(t) {
			if !direct {
				if _, err := db.EditFeature(ctx, m.edit, p); err != nil {
					t.Fatalf("%s %s: %v", m.edit.Collection.ID, m.sql, err)
				}
				if _, fresh, err := db.GetRun(ctx, site); err != nil || !fresh {
					t.Fatalf("%s: exposures are not up to date with the edit (%v)", m.sql, err)
				}
				continue
			}
			tag, err := db.Pool().Exec(ctx, m.sql)
			if err != nil || tag.RowsAffected() != 1 {
				t.Fatalf("%s: %v, %v", m.sql, tag, err)
			}
			// As the keeper comes by in its own time, wait for it.
			for end := time.Now().Add(20 * time.Second); ; time.Sleep(10 * time.Millisecond) {
				if _, fresh, err := db.GetRun(ctx, site); err != nil || time.Now().After(end) {
					t.Fatalf("%s: the keeper has not come by (%v)", m.sql, err)
				} else if fresh {
					break
				}
			}
		}
		exposures, _ = digest(t, db)
		for _, table := range []string{"trees", "cuts", "visits", "targets", "counts"} {
			rows = append(rows, rowsOf(t, db, `SELECT (to_jsonb(x) - 'changed_at' - 'match_key')::text FROM `+table+` x ORDER BY 1`)...)
		}
		if _, err := db.Recompute(ctx, site, p, day); err != nil {
			t.Fatal(err)
		}
		if full, _ := digest(t, db); full != exposures {
			t.Errorf("direct %v: exposures differ from those of a full run", direct)
		}
		return rowsOf(t, db, historyOf), rows, exposures
	}
	history, rows, exposures := state(true)
	history2, rows2, exposures2 := state(false)
	if !slices.Equal(history, history2) || len(history) < 6 {
		t.Errorf("the histories differ:\n%s\n\n%s", strings.Join(history, "\n"), strings.Join(history2, "\n"))
	}
	if !slices.Equal(rows, rows2) {
		t.Error("the rows differ")
	}
	if exposures != exposures2 {
		t.Error("the exposures differ")
	}
	gone := slices.ContainsFunc(history, func(h string) bool {
		return strings.HasPrefix(h, "cuts") && strings.Contains(h, "delete") && strings.Contains(h, `"tree_id": 7,`)
	})
	if !gone {
		t.Error("the history has not the cuts of the tree that was deleted")
	}
}

// What is refused leaves nothing behind: neither a version nor history nor a mark.
func TestRefusedEditLeavesNothing(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 20)
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	before := append(rowsOf(t, db, `SELECT to_jsonb(x)::text FROM trees x ORDER BY 1`), rowsOf(t, db, `SELECT to_jsonb(x)::text FROM cuts x ORDER BY 1`)...)
	var nothing inventory.Opt[orb.Geometry]
	stale := editOf(t, "trees", inventory.Merge, 3, values{"height_m": number(9)}, nothing)
	stale.Versions = []int64{4}
	far := editOf(t, "trees", inventory.Merge, 3, nil, shape(orb.Point{1e12, 1e12}))
	far.SRID = 3857
	for _, c := range []struct {
		edit inventory.Edit
		kind inventory.ErrorKind
		says string
	}{
		{stale, inventory.Conflict, "version 1"},
		{editOf(t, "trees", inventory.Merge, 3, values{"height_m": number(-9)}, nothing), inventory.Invalid, "tree 3 (2): height_m is -9: expected above 0 and below 130"},
		{editOf(t, "trees", inventory.Merge, 3, values{"planted_year": integer(1 << 40)}, nothing), inventory.Invalid, "planted_year"},
		{editOf(t, "trees", inventory.Merge, 3, values{"stems": integer(40000)}, nothing), inventory.Invalid, "stems is 40000"},
		{editOf(t, "trees", inventory.Merge, 3, values{"site": text("elsewhere")}, nothing), inventory.Invalid, "there is town"},
		{editOf(t, "trees", inventory.Merge, 999, values{"height_m": number(9)}, nothing), inventory.NotFound, "999"},
		{editOf(t, "trees", inventory.Delete, 999, nil, nothing), inventory.NotFound, "999"},
		{editOf(t, "trees", inventory.Replace, 3, values{}, nothing), inventory.Invalid, "geometry is empty"},
		{far, inventory.Invalid, "EPSG:3857"},
		{editOf(t, "cuts", inventory.Create, 0, values{"kind": text("topping")}, nothing), inventory.Invalid, "tree_id is empty"},
		{editOf(t, "cuts", inventory.Create, 0, values{"kind": text("chop"), "tree_id": integer(3)}, nothing), inventory.Invalid, "kind is chop"},
		{editOf(t, "cuts", inventory.Create, 0, values{"kind": text("topping"), "tree_id": integer(3)}, shape(orb.Point{1, 1})), inventory.Invalid, "is away from tree 3"},
		{editOf(t, "cuts", inventory.Merge, 1, nil, shape(orb.Point{1, 1})), inventory.Invalid, "is that of its tree"},
		{editOf(t, "targets", inventory.Merge, 3, nil, shape(orb.Polygon{{{8, 47}, {9, 48}, {9, 47}, {8, 48}, {8, 47}}})), inventory.Invalid, "Self-intersection"},
		{editOf(t, "counts", inventory.Create, 0, values{"target_id": integer(3), "counted_at": text("2026-03-02"), "people": number(3)}, nothing), inventory.Invalid, "counted_at"},
		{editOf(t, "sites", inventory.Delete, int64(site.ID), nil, nothing), inventory.Conflict, "20 trees, 20 targets"},
		{editOf(t, "sites", inventory.Create, 0, values{"name": text("town")}, nothing), inventory.Conflict, "another site has that name"},
		{editOf(t, "sites", inventory.Create, 0, values{"name": text("far"), "time_zone": text("Moon/Tycho")}, nothing), inventory.Invalid, "IANA"},
		{editOf(t, "sites", inventory.Create, 0, values{"name": text("far"), "epsg": integer(4326)}, nothing), inventory.Invalid, "projected"},
		{editOf(t, "zones", inventory.Delete, 4, nil, nothing), inventory.Invalid, "cannot be edited"},
	} {
		_, err := db.EditFeature(ctx, c.edit, p)
		if err == nil || inventory.KindOf(err) != c.kind || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s %v: %v (kind %d), expected %q", c.edit.Collection.ID, c.edit.Values, err, inventory.KindOf(err), c.says)
		}
	}
	after := append(rowsOf(t, db, `SELECT to_jsonb(x)::text FROM trees x ORDER BY 1`), rowsOf(t, db, `SELECT to_jsonb(x)::text FROM cuts x ORDER BY 1`)...)
	if !slices.Equal(before, after) {
		t.Error("a refused edit has changed a row")
	}
	if left := rowsOf(t, db, `SELECT 'h' || history_id FROM history UNION ALL SELECT 't' || touched_id FROM touched`); len(left) > 0 {
		t.Errorf("refused edits left %v", left)
	}
}

// Of those who edit from one and the same version at once one wins, and the
// others are told.
func TestOneOfManyEditsFromOneVersionWins(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 20)
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	for version := int64(1); version <= 8; version++ {
		var wait sync.WaitGroup
		errs := make([]error, 6)
		for i := range errs {
			wait.Add(1)
			go func() {
				defer wait.Done()
				e := editOf(t, "trees", inventory.Merge, 4, values{"height_m": number(float64(10*version) + float64(i))}, inventory.Opt[orb.Geometry]{})
				e.Versions = []int64{version}
				_, errs[i] = db.EditFeature(ctx, e, p)
			}()
		}
		wait.Wait()
		won := 0
		for _, err := range errs {
			switch {
			case err == nil:
				won++
			case !errors.Is(err, inventory.ErrChanged):
				t.Error(err)
			}
		}
		if won != 1 {
			t.Fatalf("%d won from version %d", won, version)
		}
	}
}

// What comes back as it was served stays as it is, to the last digit.
func TestSentBackAsServed(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	town(t, db, 5)
	exec := func(sql string) {
		t.Helper()
		if _, err := db.Pool().Exec(ctx, sql); err != nil {
			t.Fatal(err)
		}
	}
	exec(`UPDATE trees SET dbh_m = 0.178437219, height_m = 12.3456789, geometry = ST_SetSRID(ST_MakePoint(8.500123456789, 47.3000987654321), 4326) WHERE tree_id = 2`)
	exec(`UPDATE targets SET geometry = ST_GeomFromText('POLYGON((8.50000000123 47.3,8.50000000123 47.3012345678,8.502 47.3012345678,8.50000000123 47.3))', 4326) WHERE target_id = 2`)
	before := rowsOf(t, db, `SELECT to_jsonb(x)::text || geometry::text FROM trees x WHERE tree_id = 2 UNION ALL SELECT to_jsonb(x)::text || geometry::text FROM targets x WHERE target_id = 2`)
	for _, e := range []inventory.Edit{
		editOf(t, "trees", inventory.Merge, 2, values{"dbh_cm": number(17.8), "height_m": number(12.35)}, shape(orb.Point{8.5001235, 47.3000988})),
		// Rings are served anticlockwise.
		editOf(t, "targets", inventory.Merge, 2, nil, shape(orb.Polygon{{{8.5, 47.3}, {8.502, 47.3012346}, {8.5, 47.3012346}, {8.5, 47.3}}})),
	} {
		if _, err := db.EditFeature(ctx, e, p); err != nil {
			t.Fatal(err)
		}
	}
	after := rowsOf(t, db, `SELECT to_jsonb(x)::text || geometry::text FROM trees x WHERE tree_id = 2 UNION ALL SELECT to_jsonb(x)::text || geometry::text FROM targets x WHERE target_id = 2`)
	if !slices.Equal(before, after) {
		t.Errorf("what was served and came back has changed the rows:\n%s\n%s", before, after)
	}
	if _, err := db.EditFeature(ctx, editOf(t, "trees", inventory.Merge, 2, values{"dbh_cm": number(17.9)}, inventory.Opt[orb.Geometry]{}), p); err != nil {
		t.Fatal(err)
	}
	if got := rowsOf(t, db, `SELECT dbh_m::text || ' ' || height_m FROM trees WHERE tree_id = 2`); got[0] != "0.179 12.3456789" {
		t.Error(got)
	}
}

// A tree that goes to another site takes its records along, and both sites are
// brought up to date.
func TestTreeToAnotherSite(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 40)
	if _, err := db.EditFeature(ctx, editOf(t, "sites", inventory.Create, 0, values{"name": text("Hill"), "time_zone": text("Europe/Vilnius")}, shape(orb.Polygon{{{9, 48}, {10, 48}, {10, 49}, {9, 48}}})), p); err != nil {
		t.Fatal(err)
	}
	hill, err := db.GetSite(ctx, 1, "Hill")
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range []inventory.Site{site, hill} {
		if _, err := db.Recompute(ctx, s, p, day); err != nil {
			t.Fatal(err)
		}
	}
	move := editOf(t, "trees", inventory.Merge, 3, values{"site": text("Hill")}, inventory.Opt[orb.Geometry]{})
	if _, err := db.EditFeature(ctx, move, p); err != nil {
		t.Fatal(err)
	}
	if got := rowsOf(t, db, `SELECT DISTINCT site_id::text FROM (SELECT site_id, tree_id FROM trees UNION ALL SELECT site_id, tree_id FROM cuts UNION ALL SELECT site_id, tree_id FROM visits) x WHERE tree_id = 3`); !slices.Equal(got, []string{fmt.Sprint(hill.ID)}) {
		t.Errorf("the tree and its records are of sites %v", got)
	}
	caught, _ := digest(t, db)
	for _, s := range []inventory.Site{site, hill} {
		if _, fresh, err := db.GetRun(ctx, s); err != nil || !fresh {
			t.Errorf("%s is not up to date (%v)", s.Name, err)
		}
		if _, err := db.Recompute(ctx, s, p, day); err != nil {
			t.Fatal(err)
		}
	}
	if full, _ := digest(t, db); caught != full {
		t.Error("exposures differ from those of full runs")
	}
	// With several sites a new tree needs its site, unless a boundary holds it.
	create := editOf(t, "trees", inventory.Create, 0, values{}, shape(orb.Point{9.9, 48.5}))
	if _, err := db.EditFeature(ctx, create, p); err != nil {
		t.Error(err)
	}
	create.Geometry = shape(orb.Point{8.5, 47.3})
	if _, err := db.EditFeature(ctx, create, p); err == nil || !strings.Contains(err.Error(), "say which of Hill, town") {
		t.Error(err)
	}
}
