package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

// FindSpecifications returns the specification in force of each of some trees, in
// the order of the trees; of all trees of a site where trees is nil.
func (db *DB) FindSpecifications(ctx context.Context, site inventory.Site, trees []int64) ([]inventory.KeptSpecification, error) {
	return db.findSpecifications(ctx, `SELECT DISTINCT ON (tree_id) `+specificationColumns+` FROM specifications
		WHERE client_id = $1 AND site_id = $2 AND ($3::bigint[] IS NULL OR tree_id = ANY($3)) AND made_at <= $4 ORDER BY tree_id, specification_id DESC`, site.Client, site.ID, trees, until(ctx))
}

// SpecificationHistory returns everything that was specified for a tree, the
// latest first.
func (db *DB) SpecificationHistory(ctx context.Context, client inventory.ClientID, tree inventory.TreeID) ([]inventory.KeptSpecification, error) {
	return db.findSpecifications(ctx, `SELECT `+specificationColumns+` FROM specifications
		WHERE client_id = $1 AND tree_id = $2 AND made_at <= $3 ORDER BY specification_id DESC`, client, tree, until(ctx))
}

// until is the instant of AsOf, or the end of time: what is only ever added is
// read up to there.
func until(ctx context.Context) any {
	if at := instantOf(ctx); at.OK {
		return at.V
	}
	return pgtype.Timestamptz{InfinityModifier: pgtype.Infinity, Valid: true}
}

const specificationColumns = `specification_id, tree_id, body, by_person, made_at, made_by`

func (db *DB) findSpecifications(ctx context.Context, sql string, args ...any) (list []inventory.KeptSpecification, err error) {
	err = db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, sql, args...)
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, pgx.RowToStructByPos[inventory.KeptSpecification])
		return err
	})
	return list, err
}

// SaveSpecification keeps what was specified for a tree. Jobs of the tree that no
// crew has yet are then of this specification.
func (db *DB) SaveSpecification(ctx context.Context, site inventory.Site, k *inventory.KeptSpecification, p *practice.Practice) error {
	return db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
		if err := setActor(ctx, tx, k.MadeBy); err != nil {
			return err
		}
		if err := savePractice(ctx, tx, site.Client, p); err != nil {
			return err
		}
		err := tx.QueryRow(ctx, `INSERT INTO specifications (client_id, site_id, tree_id, body, by_person, practice_digest) VALUES ($1, $2, $3, $4, $5, $6)
			RETURNING specification_id, made_at, made_by`, site.Client, site.ID, k.Tree, k.Body, k.ByPerson, p.Digest).Scan(&k.ID, &k.MadeAt, &k.MadeBy)
		if err != nil {
			return err
		}
		_, err = tx.Exec(ctx, `UPDATE jobs SET specification_id = $3 WHERE client_id = $1 AND tree_id = $2 AND state IN ('proposed', 'approved')`, site.Client, k.Tree, k.ID)
		return err
	})
}

// SaveAppraisal keeps what a tree was appraised at.
func (db *DB) SaveAppraisal(ctx context.Context, site inventory.Site, k *inventory.KeptAppraisal) error {
	return db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
		if err := setActor(ctx, tx, k.MadeBy); err != nil {
			return err
		}
		return tx.QueryRow(ctx, `INSERT INTO appraisals (client_id, site_id, tree_id, body, value) VALUES ($1, $2, $3, $4, $5)
			RETURNING appraisal_id, made_at, made_by`, site.Client, site.ID, k.Tree, k.Body, k.Value).Scan(&k.ID, &k.MadeAt, &k.MadeBy)
	})
}

// FindAppraisals returns the latest appraisal of each tree of a site.
func (db *DB) FindAppraisals(ctx context.Context, site inventory.Site) (list []inventory.KeptAppraisal, err error) {
	err = db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT DISTINCT ON (tree_id) appraisal_id, tree_id, body, value, made_at, made_by FROM appraisals
			WHERE client_id = $1 AND site_id = $2 AND made_at <= $3 ORDER BY tree_id, appraisal_id DESC`, site.Client, site.ID, until(ctx))
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, pgx.RowToStructByPos[inventory.KeptAppraisal])
		return err
	})
	return list, err
}
