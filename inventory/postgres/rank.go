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

// chosen is FROM and WHERE of the trees a question holds for, over the
// exposures in force alone: the trees themselves are looked up for the few that
// are listed.
const chosen = `
	FROM exposures e
	WHERE e.client_id = $1 AND e.site_id = $2 AND e.generation = $3`

const (
	overAny   = ` AND e.over && $%d`
	cutAny    = ` AND e.tree_id IN (SELECT c.tree_id FROM cuts c WHERE c.client_id = $1 AND c.site_id = $2%s)`
	cutKinds  = ` AND c.kind = ANY($%d)`
	cutsSince = ` AND coalesce(c.made_year, extract(year FROM c.made_on)) >= $%d`
)

// rankSQL writes the conditions of a question.
func rankSQL(q ranking.Query, generation int64) (where string, args []any) {
	args = []any{q.Client, q.Site, generation}
	add := func(condition string, v any) string {
		args = append(args, v)
		return fmt.Sprintf(condition, len(args))
	}
	where = chosen
	if len(q.Over) > 0 {
		where += add(overAny, texts(q.Over))
	}
	cuts := ""
	if len(q.Cuts) > 0 {
		cuts += add(cutKinds, texts(q.Cuts))
	}
	if q.Since > 0 {
		cuts += add(cutsSince, q.Since)
	}
	if cuts != "" {
		where += fmt.Sprintf(cutAny, cuts)
	}
	return where, args
}

func texts[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, v := range list {
		out[i] = string(v)
	}
	return out
}

// Rank returns trees in order, and how many there are beyond the limit too.
func (db *DB) Rank(ctx context.Context, q ranking.Query) (list []ranking.Row, total int, err error) {
	err = db.reading(ctx, func(tx pgx.Tx) error {
		var generation int64
		err := tx.QueryRow(ctx, `SELECT generation FROM sites WHERE client_id = $1 AND site_id = $2`, q.Client, q.Site).Scan(&generation)
		if err != nil {
			return err
		}
		where, args := rankSQL(q, generation)
		count := `SELECT count(*)` + where
		if where == chosen { // all that were computed
			count = `SELECT trees FROM runs WHERE client_id = $1 AND site_id = $2 AND generation = $3`
		}
		if err := tx.QueryRow(ctx, count, args...).Scan(&total); err != nil {
			return err
		}
		if list, err = listRanked(ctx, tx, q, where, args); err != nil {
			return err
		}
		for i := range list {
			list[i].Rank = i + 1
		}
		return addCuts(ctx, tx, q, list)
	})
	return list, total, err
}

func listRanked(ctx context.Context, tx pgx.Tx, q ranking.Query, where string, args []any) ([]ranking.Row, error) {
	first, limit := "", ""
	if q.Limit > 0 {
		// Equal trees at the edge all come along, for the tag to settle.
		first = fmt.Sprintf(" ORDER BY %s FETCH FIRST %d ROWS WITH TIES", orders[q.By], q.Limit)
		limit = fmt.Sprintf(" LIMIT %d", q.Limit)
	}
	rows, err := tx.Query(ctx, `
		WITH e AS (SELECT e.*`+where+first+`)
		SELECT t.tree_id, coalesce(t.tag, ''), coalesce(t.source_id, ''), coalesce(t.species, ''), coalesce(t.common_name, ''),
			ST_X(t.geometry), ST_Y(t.geometry), e.over, e.over_length_m, e.over_area_m2, e.over_points, e.within,
			e.people, e.people_in_vehicles, e.people_sheltered, e.vehicles, e.busiest_people, e.busiest_hour, e.occupied,
			e.likelihood, e.part, e.part_people, e.part_vehicles, e.rule, e.stale, e.harm, e.harm_people, e.harm_property, e.rating,
			t.dbh_m, e.height_m, e.height_estimated, e.crown_radius_m, e.crown_estimated
		FROM e JOIN trees t ON t.client_id = e.client_id AND t.tree_id = e.tree_id
		ORDER BY `+orders[q.By]+`, t.tag COLLATE "C" NULLS LAST, t.tree_id`+limit, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, rankedRow)
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
		&r.Likelihood, &r.Part, &r.PartPeople, &r.PartVehicles, &r.Rule, &r.Stale, &r.Harm, &r.HarmPeople, &r.HarmProperty, &r.Rating,
		&dbh, &r.Height, &r.HeightEstimated, &r.CrownRadius, &r.CrownEstimated)
	if dbh != nil {
		r.DBH = inventory.Some(*dbh)
	}
	for i, k := range over {
		u := ranking.Under{Kind: inventory.TargetKind(k)}
		if lengths != nil {
			u.LengthM = float64(lengths[i])
		}
		if areas != nil {
			u.AreaM2 = float64(areas[i])
		}
		if points != nil {
			u.Points = int(points[i])
		}
		r.Over = append(r.Over, u)
	}
	for _, k := range within {
		r.Within = append(r.Within, inventory.TargetKind(k))
	}
	return r, err
}

// addCuts gives each row the cuts that were asked for, or else those that
// weaken, the latest first.
func addCuts(ctx context.Context, tx pgx.Tx, q ranking.Query, list []ranking.Row) error {
	if len(list) == 0 {
		return nil
	}
	kinds := texts(q.Cuts)
	if len(kinds) == 0 {
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
