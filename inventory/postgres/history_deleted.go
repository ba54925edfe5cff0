package postgres

import (
	"context"
	"strings"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
)

// FindDeleted returns what was deleted lately of a site, the latest first. The last
// version of a feature alone ends in a deletion that holds.
func (db *DB) FindDeleted(ctx context.Context, q inventory.DeletedQuery) ([]inventory.DeletedFeature, error) {
	t, err := tableOf(q.Collection)
	if err != nil {
		return nil, err
	}
	column := strings.TrimPrefix(t.key, t.alias+".")
	rows, err := db.pool.Query(ctx, `
		SELECT h.feature_id, h.version, coalesce(h.before->>'tag', h.before->>'name', h.before->>'source_id', ''), h.valid_to, h.actor
		FROM history h
		WHERE h.client_id = $1 AND h.collection = $2 AND h.valid_to >= $4 AND h.change = 'delete' AND (h.before->>'site_id')::bigint = $3
			AND NOT EXISTS (SELECT FROM `+t.table+` w WHERE w.client_id = h.client_id AND w.`+column+` = h.feature_id)
			AND NOT EXISTS (SELECT FROM history n WHERE n.client_id = h.client_id AND n.collection = h.collection AND n.feature_id = h.feature_id AND n.version > h.version)
		ORDER BY h.valid_to DESC, h.feature_id DESC LIMIT $5`, q.Client, t.table, q.Site, q.Since, q.Limit)
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (d inventory.DeletedFeature, err error) {
		return d, row.Scan(&d.ID, &d.Version, &d.Name, &d.At, &d.By)
	})
	return list, translate(err)
}
