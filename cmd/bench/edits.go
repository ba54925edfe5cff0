package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/profile"
)

// The statements that somebody would write by hand to bring the people under
// each crown up to date after an edit, on tables projected beforehand and without
// any history. d is how far the thing moved.
const (
	sqlMoveTree   = `UPDATE sql_trees SET geom = ST_Translate(geom, $2, $3) WHERE tree_id = $1`
	sqlMoveTarget = `UPDATE sql_targets SET geom = ST_Translate(geom, $2, $3) WHERE target_id = $1`
	// By difference: only the moved target's share is taken off and put on.
	sqlShare = `
		UPDATE sql_people p SET people = p.people + d.share FROM (
			SELECT t.tree_id, $2 * sum(g.density * CASE WHEN g.area THEN ST_Area(ST_Intersection(ST_Buffer(t.geom, t.r, 8), g.geom))
			                                            ELSE ST_Length(ST_Intersection(ST_Buffer(t.geom, t.r, 8), g.geom)) END) AS share
			FROM sql_targets g JOIN sql_trees t ON ST_DWithin(t.geom, g.geom, 9) WHERE g.target_id = $1 AND ST_DWithin(t.geom, g.geom, t.r) GROUP BY t.tree_id) d
		WHERE p.tree_id = d.tree_id`
)

// sumsAnew writes a statement that sums anew what is under the crown, and with
// both also what is in reach of the whole tree, as our engine does.
func sumsAnew(both bool, where string) string {
	sum := func(radius string) string {
		return fmt.Sprintf(`coalesce((
			SELECT sum(g.density * CASE WHEN g.area THEN ST_Area(ST_Intersection(ST_Buffer(t.geom, %[1]s, 8), g.geom))
			                            ELSE ST_Length(ST_Intersection(ST_Buffer(t.geom, %[1]s, 8), g.geom)) END)
			FROM sql_targets g WHERE ST_DWithin(t.geom, g.geom, %[1]s)), 0)`, radius)
	}
	set := "people = " + sum("t.r")
	if both {
		set += ", within = " + sum("t.h")
	}
	return `UPDATE sql_people p SET ` + set + ` FROM sql_trees t WHERE p.tree_id = t.tree_id AND ` + where
}

// touchedBy finds every tree that the target touches, before or after its move.
func touchedBy(reach int) string {
	return fmt.Sprintf(`t.tree_id IN (
		SELECT n.tree_id FROM sql_targets w JOIN sql_trees n ON ST_DWithin(n.geom, w.geom, %[1]d) WHERE w.target_id = $1
		UNION SELECT n.tree_id FROM sql_targets w JOIN sql_trees n ON ST_DWithin(n.geom, ST_Translate(w.geom, -$2::float8, -$3::float8), %[1]d) WHERE w.target_id = $1)`, reach)
}

// The farthest that a crown and that a falling tree of the made-up town reach,
// metres.
const crownReach, treeReach = 9, 26

// edits measures what one edit costs until the exposures are up to date again:
// ours, by a plain UPDATE with its history and all that is computed of a tree,
// and by hand-written SQL for the one sum of people.
func (b *bench) edits(n int) error {
	// The statement has left its result: it is kept up to date from here on.
	err := b.exec(`ALTER TABLE sql_people ADD PRIMARY KEY (tree_id), ADD within double precision`,
		`INSERT INTO sql_people SELECT tree_id, 0 FROM sql_trees ON CONFLICT DO NOTHING`,
		`ALTER TABLE sql_trees ADD PRIMARY KEY (tree_id)`, `CREATE INDEX ON sql_trees USING gist (geom)`, `ALTER TABLE sql_targets ADD PRIMARY KEY (target_id)`,
		`VACUUM ANALYZE sql_people`, `VACUUM ANALYZE sql_trees`, `VACUUM ANALYZE sql_targets`, `CHECKPOINT`)
	if err != nil {
		return err
	}
	db, err := postgres.Open(b.ctx, b.url)
	if err != nil {
		return err
	}
	defer db.Close()
	site, err := db.GetSite(b.ctx, 1, "")
	if err != nil {
		return err
	}
	run, _, err := db.GetRun(b.ctx, site)
	if err != nil {
		return err
	}
	fmt.Printf("\nedits: one tree or target moved by a few metres, exposures up to date again; %d of each, in turn\n", n)
	r := rand.New(rand.NewPCG(b.seed, 9))
	for _, k := range []struct {
		what, table, key string
		rest             int // targets of this kind: id modulo 3
	}{{"one tree", "trees", "tree_id", -1}, {"one polygon", "targets", "target_id", 1}, {"one walk", "targets", "target_id", 2}} {
		var ours, both, whole, share []time.Duration
		most := b.trees
		if k.rest >= 0 {
			most = b.targets
		}
		for i := range n {
			id := 1 + r.IntN(most)
			if k.rest >= 0 {
				id = id/3*3 + k.rest
			}
			east, north := 4*r.Float64()-2, 4*r.Float64()-2
			took, err := b.ourEdit(db, site, run, k.table, k.key, id, east, north)
			if err != nil {
				return err
			}
			twoZones, byHand, byShare, err := b.theirEdit(k.rest >= 0, id, east, north)
			if err != nil {
				return err
			}
			if i >= n/10 { // the first ones warm caches and prepared statements
				ours, both, whole = append(ours, took), append(both, twoZones), append(whole, byHand)
				share = append(share, byShare)
			}
		}
		fmt.Printf("  %-12s ours                      %s\n", k.what, spread(ours))
		fmt.Printf("  %-12s SQL, two zones            %s\n", "", spread(both))
		fmt.Printf("  %-12s SQL, crown only           %s\n", "", spread(whole))
		if k.rest >= 0 {
			fmt.Printf("  %-12s SQL, crown, by difference %s\n", "", spread(share))
		}
	}
	return nil
}

func (b *bench) ourEdit(db *postgres.DB, site inventory.Site, run inventory.Run, table, key string, id int, east, north float64) (time.Duration, error) {
	start := time.Now()
	_, done, err := db.Edit(b.ctx, site, defaultProfile, run.AsOf, func(ctx context.Context, tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `UPDATE `+table+` SET geometry = ST_Translate(geometry, $2::float8, $3::float8) WHERE client_id = 1 AND `+key+` = $1`,
			id, east/metresPerLon, north/metresPerLat)
		return err
	})
	if err == nil && !done {
		err = fmt.Errorf("%s %d: a full run is asked for", table, id)
	}
	return time.Since(start), err
}

// theirEdit makes the edit in the projected tables: one transaction each.
func (b *bench) theirEdit(target bool, id int, east, north float64) (both, whole, share time.Duration, err error) {
	timed := func(back bool, do func() error) (time.Duration, error) {
		start := time.Now()
		if err := b.exec(`BEGIN`); err != nil {
			return 0, err
		}
		if err := do(); err != nil {
			return 0, err
		}
		if back {
			took := time.Since(start)
			return took, b.exec(`ROLLBACK`)
		}
		err := b.exec(`COMMIT`)
		return time.Since(start), err
	}
	run := func(sql string, args ...any) error {
		_, err := b.conn.Exec(b.ctx, sql, args...)
		return err
	}
	if !target {
		if both, err = timed(true, func() error {
			if err := run(sqlMoveTree, id, east, north); err != nil {
				return err
			}
			return run(sumsAnew(true, `t.tree_id = $1`), id)
		}); err != nil {
			return 0, 0, 0, err
		}
		whole, err = timed(false, func() error {
			if err := run(sqlMoveTree, id, east, north); err != nil {
				return err
			}
			return run(sumsAnew(false, `t.tree_id = $1`), id)
		})
		return both, whole, 0, err
	}
	if both, err = timed(true, func() error {
		if err := run(sqlMoveTarget, id, east, north); err != nil {
			return err
		}
		return run(sumsAnew(true, touchedBy(treeReach)), id, east, north)
	}); err != nil {
		return 0, 0, 0, err
	}
	// The same move twice: summed anew and rolled back before its commit, which is
	// spared, then by difference and kept.
	if whole, err = timed(true, func() error {
		if err := run(sqlMoveTarget, id, east, north); err != nil {
			return err
		}
		return run(sumsAnew(false, touchedBy(crownReach)), id, east, north)
	}); err != nil {
		return 0, 0, 0, err
	}
	share, err = timed(false, func() error {
		if err := run(sqlShare, id, -1.0); err != nil {
			return err
		}
		if err := run(sqlMoveTarget, id, east, north); err != nil {
			return err
		}
		return run(sqlShare, id, 1.0)
	})
	return both, whole, share, err
}

func spread(list []time.Duration) string {
	slices.Sort(list)
	at := func(share float64) float64 {
		return list[min(int(share*float64(len(list))), len(list)-1)].Seconds() * 1000
	}
	return fmt.Sprintf("median %6.2f ms, p90 %6.2f ms, p99 %6.2f ms", at(0.5), at(0.9), at(0.99))
}

var defaultProfile = profile.Default()
