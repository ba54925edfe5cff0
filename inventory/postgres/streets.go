package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
)

// streetReachM is how far from a road's geometry a tree still stands in that
// street.
const streetReachM = 30

// Streets returns the name of the nearest named road of each standing tree, or of
// those of some trees where trees is not nil, that has one within reach. Degrees of longitude are brought to the length of those
// of latitude before distances are compared.
func (db *DB) Streets(ctx context.Context, site inventory.Site, trees []int64) (map[inventory.TreeID]string, error) {
	streets := make(map[inventory.TreeID]string)
	src := sourceOf(ctx, site.Client)
	err := db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT t.tree_id, r.name FROM `+src.from("trees", "t")+`
			CROSS JOIN LATERAL (SELECT greatest(cos(radians(ST_Y(t.geometry))), 0.01) AS k) c
			CROSS JOIN LATERAL (
				SELECT g.name FROM `+src.from("targets", "g")+`
				WHERE g.client_id = t.client_id AND g.site_id = t.site_id AND g.kind = 'road' AND g.name <> ''
					AND g.geometry && ST_Expand(t.geometry, $3 / 110600.0 / c.k, $3 / 110600.0)
					AND ST_Distance(ST_Scale(g.geometry, c.k, 1), ST_Scale(t.geometry, c.k, 1)) <= $3 / 110600.0
				ORDER BY ST_Distance(ST_Scale(g.geometry, c.k, 1), ST_Scale(t.geometry, c.k, 1)), g.target_id LIMIT 1) r
			WHERE t.client_id = $1 AND t.site_id = $2 AND t.status IN ('alive', 'dead') AND ($4::bigint[] IS NULL OR t.tree_id = ANY($4))`, site.Client, site.ID, float64(streetReachM), trees)
		if err != nil {
			return err
		}
		var id inventory.TreeID
		var name string
		_, err = pgx.ForEachRow(rows, []any{&id, &name}, func() error {
			streets[id] = name
			return nil
		})
		return err
	})
	return streets, err
}

// DueVisits returns the standing trees of a site whose next visit is asked for
// until a day, the earliest first; then those that carry old bad cuts and were
// never visited.
func (db *DB) DueVisits(ctx context.Context, site inventory.Site, until time.Time) (list []inventory.DueVisit, err error) {
	src := sourceOf(ctx, site.Client)
	cuts, visits := "cut_marks", "visit_marks"
	if src.at.OK {
		// Marks are of the present: what they would have been is gathered.
		cuts = `(SELECT client_id, tree_id, bit_or(cut_bit(kind)) AS kinds FROM ` + src.from("cuts", "c") + ` WHERE gone_on IS NULL GROUP BY client_id, tree_id)`
		visits = `(SELECT DISTINCT ON (client_id, tree_id) client_id, tree_id, visited_on AS last_visit, next_visit_on AS next_visit FROM ` + src.from("visits", "v") + `
			ORDER BY client_id, tree_id, visited_on DESC, visit_id DESC)`
	}
	err = db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
			SELECT t.tree_id, coalesce(t.tag, t.source_id, '#' || t.tree_id), coalesce(t.species, ''), coalesce(m.last_visit, '0001-01-01'), coalesce(m.next_visit, '0001-01-01'), m.tree_id IS NULL
			FROM `+src.from("trees", "t")+` LEFT JOIN `+visits+` m USING (client_id, tree_id) LEFT JOIN `+cuts+` c USING (client_id, tree_id)
			WHERE t.client_id = $1 AND t.site_id = $2 AND t.status IN ('alive', 'dead')
				AND (m.next_visit <= $3 OR m.tree_id IS NULL AND c.kinds & (cut_bit('topping') | cut_bit('heading') | cut_bit('lion-tailing') | cut_bit('flush') | cut_bit('stub')) <> 0)
			ORDER BY m.next_visit NULLS LAST, t.tag COLLATE "C", t.tree_id`, site.Client, site.ID, until)
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, pgx.RowToStructByPos[inventory.DueVisit])
		return err
	})
	return list, err
}
