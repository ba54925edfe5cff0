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
	ranking.ByRating:   `e.rating DESC, e.harm DESC`,
}

// chosen is FROM and WHERE of the trees a question holds for, over the
// exposures in force alone: the trees themselves are looked up for the few that
// are listed.
const chosen = `
	FROM %s e
	WHERE e.client_id = $1`

const (
	overAny   = ` AND e.over & $%d <> 0`
	cutAny    = ` AND e.tree_id IN (SELECT c.tree_id FROM %s WHERE c.client_id = $1 AND c.gone_on IS NULL%s)`
	cutKinds  = ` AND c.kind = ANY($%d)`
	cutsSince = ` AND coalesce(c.made_year, extract(year FROM c.made_on)) >= $%d`
)

// rankSQL writes the conditions of a question. The partition is named outright:
// the planner then knows how much it holds.
func (v view) rankSQL(q ranking.Query) (where string, args []any) {
	args = []any{q.Client}
	add := func(condition string, v any) string {
		args = append(args, v)
		return fmt.Sprintf(condition, len(args))
	}
	where = fmt.Sprintf(chosen, partitionOf(v.generation))
	if len(q.Over) > 0 {
		where += add(overAny, int32(ranking.KindsOf(q.Over)))
	}
	cuts := ""
	if len(q.Cuts) > 0 {
		cuts += add(cutKinds, texts(q.Cuts))
	}
	if q.Since > 0 {
		cuts += add(cutsSince, q.Since)
	}
	if cuts != "" {
		where += fmt.Sprintf(cutAny, v.from("cuts", "c"), add(" AND c.site_id = $%d", q.Site)+cuts)
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

// view is a generation with the inventory that belongs to it.
type view struct {
	generation int64
	source
}

// Rank returns trees in order, and how many there are beyond the limit too.
func (db *DB) Rank(ctx context.Context, q ranking.Query) (list []ranking.Row, total int, err error) {
	err = db.reading(ctx, func(tx pgx.Tx) error {
		generation, err := inForce(ctx, tx, q.Client, q.Site)
		if err != nil {
			return err
		}
		v := view{generation: generation, source: sourceOf(ctx, q.Client)}
		list, total, err = v.rank(ctx, tx, q)
		return err
	})
	return list, total, err
}

// inForce returns the generation of exposures that a site points at.
func inForce(ctx context.Context, tx pgx.Tx, client inventory.ClientID, site inventory.SiteID) (generation int64, err error) {
	if at := instantOf(ctx); at.OK {
		err = tx.QueryRow(ctx, `SELECT generation FROM past_runs WHERE client_id = $1 AND site_id = $2 AND at = $3 ORDER BY generation DESC LIMIT 1`, client, site, at.V).Scan(&generation)
		return generation, err
	}
	err = tx.QueryRow(ctx, `SELECT generation FROM sites WHERE client_id = $1 AND site_id = $2`, client, site).Scan(&generation)
	return generation, err
}

func (v view) rank(ctx context.Context, tx pgx.Tx, q ranking.Query) (list []ranking.Row, total int, err error) {
	where, args := v.rankSQL(q)
	if err := tx.QueryRow(ctx, `SELECT count(*)`+where, args...).Scan(&total); err != nil {
		return nil, 0, err
	}
	if list, err = v.listRanked(ctx, tx, q, where, args); err != nil {
		return nil, 0, err
	}
	for i := range list {
		list[i].Rank = i + 1
	}
	return list, total, v.addCuts(ctx, tx, q, list)
}

func (v view) listRanked(ctx context.Context, tx pgx.Tx, q ranking.Query, where string, args []any) ([]ranking.Row, error) {
	first, limit := "", ""
	if q.Limit > 0 {
		// Equal trees at the edge all come along, for the tag to settle.
		first = fmt.Sprintf(" ORDER BY %s FETCH FIRST %d ROWS WITH TIES", orders[q.By], q.Limit)
		limit = fmt.Sprintf(" LIMIT %d", q.Limit)
	}
	rows, err := tx.Query(ctx, `
		WITH e AS (SELECT e.*`+where+first+`)
		SELECT `+resultSelect+`, coalesce(t.tag, ''), coalesce(t.source_id, ''), coalesce(t.species, ''), coalesce(t.common_name, ''),
			ST_X(t.geometry), ST_Y(t.geometry), t.dbh_m
		FROM e JOIN `+v.from("trees", "t")+` ON t.client_id = e.client_id AND t.tree_id = e.tree_id
		ORDER BY `+orders[q.By]+`, t.tag COLLATE "C" NULLS LAST, t.tree_id`+limit, args...)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, rankedRow)
}

func rankedRow(row pgx.CollectableRow) (ranking.Row, error) {
	var r ranking.Row
	var dbh *float64
	err := scanResult(row, &r.Result, &r.Tag, &r.SourceID, &r.Species, &r.CommonName, &r.Point[0], &r.Point[1], &dbh)
	r.DBH = opt(dbh)
	return r, err
}

// addCuts gives each row the cuts that were asked for, or else those that
// weaken, the latest first.
func (v view) addCuts(ctx context.Context, tx pgx.Tx, q ranking.Query, list []ranking.Row) error {
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
	rows, err := tx.Query(ctx, `SELECT `+cutSelect+` FROM `+v.from("cuts", "c")+`
		WHERE client_id = $1 AND tree_id = ANY($2) AND kind = ANY($3) AND gone_on IS NULL
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
