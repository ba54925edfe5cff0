package postgres

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

// orders are the ORDER BY of each order; every one ends in the tag and the id,
// so that equal trees always come in one order.
var orders = map[ranking.By]string{
	ranking.ByHarm:     `e.harm DESC`,
	ranking.ByExposure: `e.people + e.people_in_vehicles DESC, e.vehicles DESC`,
	ranking.ByRating:   `array_position('{extreme,high,moderate,low}', e.rating), e.harm DESC`,
}

const fromRanked = `
	FROM sites s
	JOIN exposures e ON e.client_id = s.client_id AND e.site_id = s.site_id AND e.generation = s.generation
	JOIN trees t ON t.client_id = e.client_id AND t.tree_id = e.tree_id
	WHERE s.client_id = $1 AND s.site_id = $2
	  AND ($3::text[] IS NULL OR e.over && $3)
	  AND ($4::text[] IS NULL AND $5 = 0 OR EXISTS (
	        SELECT FROM cuts c WHERE c.client_id = t.client_id AND c.tree_id = t.tree_id
	        AND ($4::text[] IS NULL OR c.kind = ANY($4)) AND ($5 = 0 OR coalesce(c.made_year, extract(year FROM c.made_on)) >= $5)))`

// Rank returns trees in order, and how many there are beyond the limit too.
func (db *DB) Rank(ctx context.Context, q ranking.Query) (list []ranking.Row, total int, err error) {
	var over, cuts []string
	for _, k := range q.Over {
		over = append(over, string(k))
	}
	for _, k := range q.Cuts {
		cuts = append(cuts, string(k))
	}
	args := []any{q.Client, q.Site, over, cuts, q.Since}
	err = db.inTx(ctx, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) error {
		if err := tx.QueryRow(ctx, `SELECT count(*)`+fromRanked, args...).Scan(&total); err != nil {
			return err
		}
		sql := `SELECT t.tree_id, coalesce(t.tag, ''), coalesce(t.source_id, ''), coalesce(t.species, ''), coalesce(t.common_name, ''),
			ST_X(t.geometry), ST_Y(t.geometry), e.over, e.over_length_m, e.over_area_m2, e.over_points, e.within,
			e.people, e.people_in_vehicles, e.people_sheltered, e.vehicles, e.busiest_people, e.busiest_hour, e.occupied,
			e.likelihood, e.part, e.rule, e.stale, e.harm, e.harm_people, e.harm_property, e.rating,
			t.dbh_m, e.height_m, e.height_estimated, e.crown_radius_m, e.crown_estimated` + fromRanked +
			` ORDER BY ` + orders[q.By] + `, t.tag COLLATE "C" NULLS LAST, t.tree_id`
		if q.Limit > 0 {
			sql += fmt.Sprintf(" LIMIT %d", q.Limit)
		}
		rows, err := tx.Query(ctx, sql, args...)
		if err != nil {
			return err
		}
		if list, err = pgx.CollectRows(rows, rankedRow); err != nil {
			return err
		}
		for i := range list {
			list[i].Rank = i + 1
		}
		return addCuts(ctx, tx, q, cuts, list)
	})
	return list, total, err
}

func rankedRow(row pgx.CollectableRow) (ranking.Row, error) {
	var r ranking.Row
	var over, within []string
	var lengths, areas []float32
	var points []int32
	var dbh *float64
	err := row.Scan(&r.Tree, &r.Tag, &r.SourceID, &r.Species, &r.CommonName, &r.Point[0], &r.Point[1],
		&over, &lengths, &areas, &points, &within,
		&r.Count.People, &r.Count.InVehicles, &r.Count.Sheltered, &r.Count.Vehicles, &r.Week.Busiest, &r.Week.BusiestHour, &r.Week.Occupied,
		&r.Likelihood, &r.Part, &r.Rule, &r.Stale, &r.Harm, &r.HarmPeople, &r.HarmProperty, &r.Rating,
		&dbh, &r.Height, &r.HeightEstimated, &r.CrownRadius, &r.CrownEstimated)
	if dbh != nil {
		r.DBH = inventory.Some(*dbh)
	}
	for i, k := range over {
		r.Over = append(r.Over, ranking.Under{Kind: inventory.TargetKind(k), LengthM: float64(lengths[i]), AreaM2: float64(areas[i]), Points: int(points[i])})
	}
	for _, k := range within {
		r.Within = append(r.Within, inventory.TargetKind(k))
	}
	return r, err
}

// addCuts gives each row the cuts that were asked for, or else those that
// weaken, the latest first.
func addCuts(ctx context.Context, tx pgx.Tx, q ranking.Query, kinds []string, list []ranking.Row) error {
	if len(list) == 0 {
		return nil
	}
	if kinds == nil {
		kinds = []string{"topping", "heading", "lion-tailing", "flush", "stub"}
	}
	ids := make([]int64, len(list))
	at := make(map[inventory.TreeID]int, len(list))
	for i := range list {
		ids[i], at[list[i].Tree] = int64(list[i].Tree), i
	}
	rows, err := tx.Query(ctx, `SELECT `+cutSelect+` FROM cuts
		WHERE client_id = $1 AND tree_id = ANY($2) AND kind = ANY($3)
		ORDER BY tree_id, kind, coalesce(made_on, make_date(nullif(made_year, 0), 1, 1)) DESC NULLS LAST, cut_id`, q.Client, ids, kinds)
	if err != nil {
		return err
	}
	cuts, err := pgx.CollectRows(rows, scanCut)
	if err != nil {
		return err
	}
	for _, c := range cuts {
		row := &list[at[c.Tree]]
		row.Cuts = append(row.Cuts, c)
	}
	return nil
}
