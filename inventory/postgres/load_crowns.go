package postgres

import (
	"context"

	"github.com/underbough/underbough/inventory"
)

const crownStage = refStage + `crown geometry(Geometry, 4326), crown_repair text, repeats bigint`

// Crowns stages a batch of crowns.
func (l *loader) Crowns(ctx context.Context, rows []inventory.CrownRow) error {
	if err := l.stage(ctx, "load_crowns", crownStage); err != nil {
		return translate(err)
	}
	w := &l.buf
	w.reset()
	for i := range rows {
		w.row(10)
		l.refRow(&rows[i].Row, rows[i].TreeRef)
		if err := w.geometry(rows[i].Crown); err != nil {
			return err
		}
		w.textOrNull(rows[i].Repair)
	}
	return l.copyIn(ctx, `load_crowns (`+refColumns+`crown, crown_repair)`)
}

// mergeCrowns lays each crown on the tree it names or, where it names none, on
// the only standing tree within it.
func (l *loader) mergeCrowns(ctx context.Context, c *inventory.Counts) error {
	if !l.staged["load_crowns"] {
		return nil
	}
	if err := l.repairCrowns(ctx, "load_crowns"); err != nil {
		return err
	}
	if _, err := l.tx.Exec(ctx, `ANALYZE load_crowns`); err != nil {
		return err
	}
	if err := l.findCrowned(ctx); err != nil {
		return err
	}
	tag, err := l.tx.Exec(ctx, `
		UPDATE trees t SET crown = l.crown, import_id = $2 FROM load_crowns l
		WHERE t.client_id = $1 AND t.tree_id = l.tree_id AND t.crown IS DISTINCT FROM l.crown`, l.spec.Client, l.id)
	if err != nil {
		return err
	}
	var all int64
	if err := l.tx.QueryRow(ctx, `SELECT count(*), count(crown_repair) FROM load_crowns`).Scan(&all, &c.Repaired); err != nil {
		return err
	}
	c.Updated = tag.RowsAffected()
	c.Unchanged = all - c.Updated
	return nil
}

// findCrowned gives each staged crown its tree, and holds those that have none,
// stand too far from it, or come second.
func (l *loader) findCrowned(ctx context.Context) error {
	const unnamed = `coalesce(tree_source_id, tree_tag) IS NULL`
	_, err := l.tx.Exec(ctx, `
		UPDATE load_crowns l SET tree_id = f.tree_id, trees_found = f.n
		FROM (SELECT c.record, min(t.tree_id) tree_id, count(t.tree_id) n FROM load_crowns c
		      LEFT JOIN trees t ON t.client_id = $1 AND t.site_id = $2 AND t.status IN ('alive', 'dead') AND ST_Intersects(c.crown, t.geometry)
		      WHERE `+unnamed+` GROUP BY c.record) f
		WHERE f.record = l.record`, l.spec.Client, l.site)
	if err != nil {
		return err
	}
	err = l.holdStaged(ctx, "load_crowns", unnamed+` AND trees_found <> 1`, "'geometry'",
		`format('the crown names no tree, and %s standing trees are within it: map tree_source_id or tree_tag', trees_found)`)
	if err != nil {
		return err
	}
	if err := l.findTrees(ctx, "load_crowns"); err != nil {
		return err
	}
	// The middle of the box, as where a tree brings its crown itself.
	err = l.holdStaged(ctx, "load_crowns", `EXISTS (SELECT FROM trees t WHERE t.client_id = $1 AND t.tree_id = load_crowns.tree_id
			AND ST_DistanceSphere(ST_Centroid(ST_Envelope(load_crowns.crown)), t.geometry) > 30)`, "'geometry'",
		`'the middle of the crown lies more than 30 m from the stem: is it another tree''s?'`)
	if err != nil {
		return err
	}
	_, err = l.tx.Exec(ctx, `
		UPDATE load_crowns l SET repeats = f.first
		FROM (SELECT record, min(record) OVER (PARTITION BY tree_id) first FROM load_crowns) f
		WHERE f.record = l.record AND f.first < l.record`)
	if err != nil {
		return err
	}
	return l.holdStaged(ctx, "load_crowns", `repeats IS NOT NULL`, "'tree'",
		`format('the crown of this tree is that of record %s already: keep one of the two', repeats)`)
}

// makeValid is the one rule that invalid shapes are repaired by, as SQL: the
// structure method of ST_MakeValid (outer rings are united, holes taken away),
// keeping only parts of the dimension that came.
func makeValid(column string) string {
	return `ST_CollectionExtract(ST_MakeValid(` + column + `, 'method=structure keepcollapsed=false'), ST_Dimension(` + column + `) + 1)`
}

// repairCrowns mends the invalid crowns of a staged table and holds the records
// of those that cover no ground.
func (l *loader) repairCrowns(ctx context.Context, table string) error {
	_, err := l.tx.Exec(ctx, `
		UPDATE `+table+` SET crown_repair = concat_ws('; ', crown_repair, ST_IsValidReason(crown)), crown = `+makeValid("crown")+`
		WHERE crown IS NOT NULL AND NOT ST_IsValid(crown)`)
	if err != nil {
		return err
	}
	const groundless = `crown_repair IS NOT NULL AND ST_IsEmpty(crown)`
	if l.staged["load_cuts"] { // a held tree's cuts are held with it
		if _, err := l.tx.Exec(ctx, `DELETE FROM load_cuts c USING `+table+` t WHERE c.record = t.record AND `+groundless); err != nil {
			return err
		}
	}
	return l.holdStaged(ctx, table, groundless, "'crown'", `format('the shape covers no ground and cannot be repaired: %s', crown_repair)`)
}
