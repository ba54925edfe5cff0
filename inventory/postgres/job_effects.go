package postgres

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
)

// applyWork writes what a job's work did to the tree. A job that was sent back
// adds to what it had done: cuts that were made stay made.
func applyWork(ctx context.Context, tx pgx.Tx, j *inventory.Job, w *inventory.WorkEffects) error {
	var standing bool
	if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM trees WHERE client_id = $1 AND tree_id = $2)`, j.Client, j.Tree).Scan(&standing); err != nil {
		return err
	}
	if !standing {
		return inventory.Errorf(inventory.Conflict, "job %d: its tree, %d, is no longer in the inventory: withdraw the job", j.ID, j.Tree)
	}
	round := len(j.Completion.Earlier) + 1
	for i := range w.Cuts {
		id, err := addWorkCut(ctx, tx, j, &w.Cuts[i], fmt.Sprintf("job:%d:%d:%d", j.ID, round, i))
		if err != nil {
			return err
		}
		j.Completion.Cuts[i].Recorded = id
	}
	for _, id := range w.Gone {
		done, err := tx.Exec(ctx, `UPDATE cuts SET gone_on = $4, gone_job_id = $5 WHERE client_id = $1 AND tree_id = $2 AND cut_id = $3`, j.Client, j.Tree, id, w.Visit.On, j.ID)
		if err := carriedBy(done.RowsAffected(), err, j, id); err != nil {
			return err
		}
	}
	for _, r := range w.Regrowth {
		done, err := tx.Exec(ctx, `UPDATE cuts SET regrowth_length_m = $4 WHERE client_id = $1 AND tree_id = $2 AND cut_id = $3`, j.Client, j.Tree, r.Cut, r.Length)
		if err := carriedBy(done.RowsAffected(), err, j, r.Cut); err != nil {
			return err
		}
	}
	if w.Removed || w.Visit.Height.OK || w.Visit.CrownRadius.OK {
		_, err := tx.Exec(ctx, `UPDATE trees SET status = CASE WHEN $3 THEN 'removed' ELSE status END, height_m = coalesce($4, height_m), crown_radius_m = coalesce($5, crown_radius_m)
			WHERE client_id = $1 AND tree_id = $2`, j.Client, j.Tree, w.Removed, nullable(w.Visit.Height), nullable(w.Visit.CrownRadius))
		if err != nil {
			return err
		}
	}
	return addWorkVisit(ctx, tx, j, w.Visit, fmt.Sprintf("work:%d", round))
}

// carriedBy reports a cut that the job's tree does not carry.
func carriedBy(rows int64, err error, j *inventory.Job, cut inventory.CutID) error {
	if err == nil && rows == 0 {
		return inventory.Errorf(inventory.Invalid, "job %d: on_cut: tree %d carries no cut %d", j.ID, j.Tree, cut)
	}
	return err
}

func addWorkCut(ctx context.Context, tx pgx.Tx, j *inventory.Job, c *inventory.Cut, key string) (id inventory.CutID, err error) {
	err = tx.QueryRow(ctx, `INSERT INTO cuts (client_id, site_id, tree_id, match_key, kind, given_kind, made_on, made_year, count, diameter_m, lateral_diameter_m, height_m, bearing_deg, reach_m, stub_length_m, job_id)
		VALUES ($1, (SELECT site_id FROM trees WHERE client_id = $1 AND tree_id = $2), $2, $3, $4, nullif($5, ''), $6, extract(year FROM $6::date), $7, $8, $9, $10, $11, $12, $13, $14) RETURNING cut_id`,
		j.Client, j.Tree, key, c.Kind, c.GivenKind, nullable(c.On), nullable(c.Count),
		nullable(c.Diameter), nullable(c.LateralDiameter), nullable(c.Height), nullable(c.Bearing), nullable(c.Reach), nullable(c.StubLength), j.ID).Scan(&id)
	return id, err
}

// addWorkVisit adds the visit of whoever did or checked the work.
func addWorkVisit(ctx context.Context, tx pgx.Tx, j *inventory.Job, v inventory.Visit, what string) error {
	_, err := tx.Exec(ctx, `INSERT INTO visits (client_id, site_id, tree_id, match_key, visited_on, visited_by, condition, whole_tree, crown, limb, note, height_m, crown_radius_m, next_visit_on, job_id)
		SELECT $1, site_id, $2, $3, $4, $5, nullif($6, ''), nullif($7, ''), nullif($8, ''), nullif($9, ''), nullif($10, ''), $11, $12, $13, $14 FROM trees WHERE client_id = $1 AND tree_id = $2
		ON CONFLICT (client_id, tree_id, match_key) DO UPDATE SET visited_on = excluded.visited_on, visited_by = excluded.visited_by, condition = excluded.condition, whole_tree = excluded.whole_tree,
			crown = excluded.crown, limb = excluded.limb, note = excluded.note, height_m = excluded.height_m, crown_radius_m = excluded.crown_radius_m, next_visit_on = excluded.next_visit_on`,
		j.Client, j.Tree, fmt.Sprintf("job:%d:%s", j.ID, what), v.On, v.By, v.Condition, v.WholeTree.String(), v.Crown.String(), v.Limb.String(), v.Note,
		nullable(v.Height), nullable(v.CrownRadius), nullable(v.NextOn), j.ID)
	return err
}

// nullable is a value or NULL.
func nullable[T any](o inventory.Opt[T]) any {
	if !o.OK {
		return nil
	}
	return o.V
}
