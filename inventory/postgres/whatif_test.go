package postgres_test

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

// What is supposed comes true: the ranks foretold are those of a full run once
// the change has been made in the inventory.
func TestWhatIfForetellsTheRanks(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	for _, c := range []struct{ text, sql string }{
		{"tree 12 removed", `UPDATE trees SET status = 'removed' WHERE tag = '12'`},
		{"target 8 people_present=40", `UPDATE targets SET people_present = 40 WHERE target_id = 8`},
		{"target 8 gone", `DELETE FROM targets WHERE target_id = 8`},
		{"cut 3 shortened 40%", `UPDATE cuts SET regrowth_length_m = greatest(0, regrowth_length_m - 0.4 * (reach_m + regrowth_length_m)),
			reach_m = reach_m - greatest(0, 0.4 * (reach_m + regrowth_length_m) - regrowth_length_m) WHERE cut_id = 3`},
	} {
		for _, by := range ranking.Orders {
			db := open(t)
			site := town(t, db, 120)
			// Target 8 stands for the place with the most trees about it.
			at := mostReached(t, db, site, p)
			c := struct{ text, sql string }{strings.ReplaceAll(c.text, "target 8", "target "+at), strings.ReplaceAll(c.sql, "target_id = 8", "target_id = "+at)}
			parsed, err := ranking.ParseChange(c.text)
			if err != nil {
				t.Fatal(err)
			}
			supposed, err := question.WhatIf(ctx, db, site, []ranking.Change{parsed}, by, p, day)
			if err != nil {
				t.Fatal(err)
			}
			before := ranksBy(t, db, ctx, by)
			if _, err := db.Pool().Exec(ctx, c.sql); err != nil {
				t.Fatal(err)
			}
			if _, err := db.Recompute(ctx, site, p, day); err != nil {
				t.Fatal(err)
			}
			after := ranksBy(t, db, ctx, by)
			if len(supposed.Moves) == 0 {
				t.Errorf("%s: no tree is reached", c.text)
			}
			for _, m := range supposed.Moves {
				if m.RankBefore != before[m.Tree.Tag] || m.RankAfter != after[m.Tree.Tag] {
					t.Errorf("%s, by %s: tree %s goes from %d to %d; foretold %d to %d", c.text, by, m.Tree.Tag, before[m.Tree.Tag], after[m.Tree.Tag], m.RankBefore, m.RankAfter)
				}
			}
		}
	}
}

func mostReached(t *testing.T, db question.SweepStore, site inventory.Site, p *profile.Profile) string {
	t.Helper()
	places, err := question.Places(t.Context(), db, ranking.Sweep{Site: site, Profile: p, AsOf: day})
	if err != nil {
		t.Fatal(err)
	}
	most := places[0]
	for _, place := range places {
		if place.Target.Kind == inventory.Plaza && place.WithinTrees > most.WithinTrees {
			most = place
		}
	}
	return fmt.Sprint(most.Target.ID)
}

func ranksBy(t *testing.T, db question.RankStore, ctx context.Context, by ranking.By) map[string]int {
	t.Helper()
	list, _, err := db.Rank(ctx, ranking.Query{Client: 1, Site: 1, By: by})
	if err != nil {
		return nil // before the first run
	}
	out := make(map[string]int)
	for _, r := range list {
		out[r.Tag] = r.Rank
	}
	return out
}

// The harm at all places is the harm of all trees, and a place that no tree
// reaches is found as such; PostGIS is the judge of reach.
func TestPlacesAddUp(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 200)
	if _, err := db.Pool().Exec(ctx, `UPDATE trees SET height_m = 15`); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Recompute(ctx, site, p, day); err != nil {
		t.Fatal(err)
	}
	places, err := question.Places(ctx, db, ranking.Sweep{Site: site, Profile: p, AsOf: day})
	if err != nil {
		t.Fatal(err)
	}
	sum, listed := 0.0, 0
	for i := range places {
		sum += places[i].Harm
		if places[i].Harm > 0 {
			listed++
			if len(places[i].Trees) == 0 || places[i].Trees[0].Label() == "" {
				t.Fatalf("place %d names no tree", places[i].Target.ID)
			}
		}
	}
	var harm float64
	if err := db.Pool().QueryRow(ctx, `SELECT sum(harm) FROM exposures JOIN sites USING (client_id, generation)`).Scan(&harm); err != nil {
		t.Fatal(err)
	}
	if math.Abs(sum/harm-1) > 1e-9 || listed < 50 {
		t.Errorf("harm %v at %d places, %v of all trees", sum, listed, harm)
	}
	rows, err := db.Pool().Query(ctx, `SELECT target_id, EXISTS (SELECT FROM trees t WHERE status IN ('alive', 'dead')
		AND ST_DWithin(t.geometry::geography, g.geometry::geography, CASE status WHEN 'dead' THEN 22.5 ELSE 15 END)) FROM targets g`)
	if err != nil {
		t.Fatal(err)
	}
	reached := make(map[int64]bool)
	for rows.Next() {
		var id int64
		var yes bool
		if err := rows.Scan(&id, &yes); err != nil {
			t.Fatal(err)
		}
		reached[id] = yes
	}
	bare := 0
	for i := range places {
		if id := int64(places[i].Target.ID); places[i].Covered() != reached[id] {
			t.Errorf("place %d is reached by a tree: %v, by PostGIS %v", id, places[i].Covered(), reached[id])
		} else if !reached[id] {
			bare++
		}
	}
	if bare == 0 {
		t.Error("every place is reached: this test says too little")
	}
}

// The cells of a grid hold what the trees in them hold.
func TestGridAddsUp(t *testing.T) {
	ctx, p := t.Context(), profile.Default()
	db := open(t)
	site := town(t, db, 150)
	for _, shape := range []string{"square", "hexagon"} {
		g, err := question.Grid(ctx, db, site, shape, 80, p, day)
		if err != nil {
			t.Fatal(err)
		}
		trees, harm := 0, 0.0
		for _, c := range g.Cells {
			trees += c.Trees
			harm += c.Harm
		}
		if int64(trees) != g.Run.Trees || trees != g.Total.Trees || math.Abs(harm/g.Total.Harm-1) > 1e-9 || len(g.Cells) < 20 {
			t.Errorf("%s: %d trees, harm %v in %d cells; in all %d, %v", shape, trees, harm, len(g.Cells), g.Run.Trees, g.Total.Harm)
		}
		// PostGIS counts the trees in the first cell.
		ring := g.Cells[0].Outline[0]
		wkt := "POLYGON(("
		for i, pt := range ring {
			if i > 0 {
				wkt += ","
			}
			wkt += fmt.Sprintf("%.12f %.12f", pt[0], pt[1])
		}
		var n int
		err = db.Pool().QueryRow(ctx, `SELECT count(*) FROM trees WHERE status IN ('alive', 'dead') AND ST_Intersects(geometry, ST_GeomFromText($1, 4326))`, wkt+"))").Scan(&n)
		if err != nil || n != g.Cells[0].Trees {
			t.Errorf("%s: %d trees in the first cell, by PostGIS %d (%v)", shape, g.Cells[0].Trees, n, err)
		}
	}
}
