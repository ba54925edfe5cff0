package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

// EachTarget hands on every target of a sweep's site in the order of their ids,
// with what was counted there.
func (db *DB) EachTarget(ctx context.Context, s ranking.Sweep, fn func(*inventory.Target) error) error {
	return db.reading(ctx, func(tx pgx.Tx) error {
		src := sourceAt(ctx, s)
		found, err := readCounts(ctx, tx, src.from("counts", "n"), `n.client_id = $1 AND n.site_id = $2`, s.Site.Client, s.Site.ID)
		if err != nil {
			return err
		}
		rows, err := tx.Query(ctx, `SELECT `+src.targets()+` FROM `+src.from("targets", "g")+`
			WHERE g.client_id = $1 AND g.site_id = $2 ORDER BY g.client_id, g.target_id`, s.Site.Client, s.Site.ID)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			t, _, err := scanTarget(rows)
			if err != nil {
				return err
			}
			found[t.ID].put(&t)
			if err := fn(&t); err != nil {
				return err
			}
		}
		return rows.Err()
	})
}

// FindTargets returns some targets of a client by id, in the order of their ids.
func (db *DB) FindTargets(ctx context.Context, client inventory.ClientID, ids []int64) (list []inventory.Target, err error) {
	src := sourceOf(ctx, client)
	err = db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT `+src.targets()+` FROM `+src.from("targets", "g")+` WHERE g.client_id = $1 AND g.target_id = ANY($2) ORDER BY g.target_id`, client, ids)
		if err != nil {
			return err
		}
		list, err = collectTargets(ctx, tx, src, rows)
		return err
	})
	return list, err
}

// TreeOrder returns every standing tree of a site with its tag, in the order in
// which equal trees are ranked.
func (db *DB) TreeOrder(ctx context.Context, s ranking.Sweep) (list []ranking.TreeName, err error) {
	err = db.reading(ctx, func(tx pgx.Tx) error {
		src := sourceAt(ctx, s)
		rows, err := tx.Query(ctx, `SELECT t.tree_id, coalesce(t.tag, ''), coalesce(t.source_id, '') FROM `+src.from("trees", "t")+`
			WHERE t.client_id = $1 AND t.site_id = $2 AND t.status IN ('alive', 'dead') ORDER BY t.tag COLLATE "C" NULLS LAST, t.tree_id`, s.Site.Client, s.Site.ID)
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (n ranking.TreeName, err error) {
			return n, row.Scan(&n.Tree, &n.Tag, &n.SourceID)
		})
		return err
	})
	return list, err
}

// UnknownHours returns the words that targets of a site name as their hours and
// that are not among known, and the number of these targets.
func (db *DB) UnknownHours(ctx context.Context, site inventory.Site, known []string) (words []string, targets int, err error) {
	err = db.pool.QueryRow(ctx, `SELECT coalesce(array_agg(DISTINCT left(hours, 60) ORDER BY left(hours, 60)), '{}'), count(*) FROM `+sourceOf(ctx, site.Client).from("targets", "g")+`
		WHERE client_id = $1 AND site_id = $2 AND hours IS NOT NULL AND NOT hours = ANY($3)`, site.Client, site.ID, known).Scan(&words, &targets)
	return words, targets, translate(err)
}
