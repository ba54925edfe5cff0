package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// Instant returns an instant that splits all edits in two: those made before it
// have been committed, and those to come will be dated after it. Writers wait
// for the moment that it takes, and for no longer than lockPatience where
// somebody has an edit open; then it stands aside for them and tries again. It
// fails with Conflict where that goes on.
func (db *DB) Instant(ctx context.Context) (at time.Time, err error) {
	if past := instantOf(ctx); past.OK {
		return past.V, nil // all edits before it are long made
	}
	for try := range lockTries {
		err = db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
			// The clock is read only once the locks are held, and edits are dated by
			// the clock when they are made.
			if _, err := tx.Exec(ctx, `SET LOCAL lock_timeout = '`+lockPatience+`'; LOCK TABLE trees, cuts, visits, targets, counts IN SHARE MODE`); err != nil {
				return err
			}
			return tx.QueryRow(ctx, `SELECT clock_timestamp()`).Scan(&at)
		})
		var server *pgconn.PgError
		if !errors.As(err, &server) || server.Code != "55P03" {
			return at, err
		}
		if try == lockTries-1 {
			break
		}
		select {
		case <-time.After(time.Second):
		case <-ctx.Done():
			return at, ctx.Err()
		}
	}
	return at, inventory.Errorf(inventory.Conflict, "somebody has an edit of trees, cuts, visits, targets or counts open: commit it or roll it back, then try again")
}

const (
	lockPatience = "300ms"
	lockTries    = 8
)

// errRolledBack ends a run whose table nobody needs any more.
var errRolledBack = errors.New("rolled back")

// RankAt ranks a site as it stood at an instant, without touching what is in
// force: the same instant, profile and day always give the same rows.
func (db *DB) RankAt(ctx context.Context, s ranking.Sweep, q ranking.Query) (list []ranking.Row, run inventory.Run, err error) {
	run, err = db.fullRun(ctx, s, func(r *fullRun, ctx context.Context) error {
		v := view{generation: r.run.Generation, source: source{client: q.Client, at: s.At}}
		var err error
		if list, _, err = v.rank(ctx, r.write, q); err != nil {
			return err
		}
		return errRolledBack
	})
	if errors.Is(err, errRolledBack) {
		err = nil
	}
	return list, run, err
}

// SaveRanking keeps a ranking with its rows and the text of its profile, and
// returns its number.
func (db *DB) SaveRanking(ctx context.Context, r *ranking.Record, p *profile.Profile, rows []ranking.RankedRow) (err error) {
	question, err := json.Marshal(r.Question)
	if err != nil {
		return err
	}
	return db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, keepProfile, r.Client, r.ProfileDigest, r.ProfileName, string(p.Text)); err != nil {
			return err
		}
		err := tx.QueryRow(ctx, `
			INSERT INTO rankings (client_id, site_id, name, question, profile_digest, as_of, inputs_at, trees, digest, made_by)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, coalesce(nullif($10, ''), session_user)) RETURNING ranking_id, made_at, made_by`,
			r.Client, r.Site.ID, r.Name, question, r.ProfileDigest, r.AsOf, r.InputsAt, r.Trees, r.Digest, r.MadeBy).Scan(&r.ID, &r.MadeAt, &r.MadeBy)
		if err != nil {
			return err
		}
		_, err = tx.CopyFrom(ctx, pgx.Identifier{"ranked"}, []string{"client_id", "ranking_id", "place", "tree_id", "row"},
			pgx.CopyFromSlice(len(rows), func(i int) ([]any, error) {
				return []any{int32(r.Client), r.ID, int32(rows[i].Place), int64(rows[i].Tree), string(rows[i].Row)}, nil
			}))
		return err
	})
}

const recordSelect = `r.ranking_id, r.client_id, s.site_id, s.name, s.time_zone, r.name, r.question, p.name, r.profile_digest, r.as_of, r.inputs_at, r.trees, r.digest, r.made_at, r.made_by,
	(SELECT count(*) FROM ranked x WHERE x.client_id = r.client_id AND x.ranking_id = r.ranking_id)
	FROM rankings r JOIN sites s ON s.client_id = r.client_id AND s.site_id = r.site_id
	JOIN profiles p ON p.client_id = r.client_id AND p.digest = r.profile_digest`

func scanRecord(row pgx.CollectableRow) (ranking.Record, error) {
	var r ranking.Record
	var question []byte
	err := row.Scan(&r.ID, &r.Client, &r.Site.ID, &r.Site.Name, &r.Site.TimeZone, &r.Name, &question, &r.ProfileName, &r.ProfileDigest, &r.AsOf, &r.InputsAt,
		&r.Trees, &r.Digest, &r.MadeAt, &r.MadeBy, &r.Rows)
	if err != nil {
		return r, err
	}
	r.Site.Client = r.Client
	return r, json.Unmarshal(question, &r.Question)
}

// FindRankings lists kept rankings, the latest first; of all sites where site is
// zero.
func (db *DB) FindRankings(ctx context.Context, client inventory.ClientID, site inventory.SiteID) ([]ranking.Record, error) {
	rows, err := db.pool.Query(ctx, `SELECT `+recordSelect+` WHERE r.client_id = $1 AND ($2 = 0 OR r.site_id = $2) ORDER BY r.ranking_id DESC`, client, site)
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, scanRecord)
	return list, translate(err)
}

// GetRanking returns a kept ranking with its rows and the text of its profile.
func (db *DB) GetRanking(ctx context.Context, client inventory.ClientID, id int64) (r ranking.Record, body []byte, list []ranking.RankedRow, err error) {
	err = db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT `+recordSelect+` WHERE r.client_id = $1 AND r.ranking_id = $2`, client, id)
		if err != nil {
			return err
		}
		if r, err = pgx.CollectExactlyOneRow(rows, scanRecord); err != nil {
			if errors.Is(err, pgx.ErrNoRows) {
				return inventory.Errorf(inventory.NotFound, "there is no ranking %d", id)
			}
			return err
		}
		var text string
		if err := tx.QueryRow(ctx, `SELECT body FROM profiles WHERE client_id = $1 AND digest = $2`, client, r.ProfileDigest).Scan(&text); err != nil {
			return fmt.Errorf("the profile of ranking %d: %w", id, err)
		}
		body = []byte(text)
		if rows, err = tx.Query(ctx, `SELECT place, tree_id, row FROM ranked WHERE client_id = $1 AND ranking_id = $2 ORDER BY place`, client, id); err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, pgx.RowToStructByPos[ranking.RankedRow])
		return err
	})
	return r, body, list, err
}

// RankKeys returns what each standing tree of a site is ordered by, in order.
func (db *DB) RankKeys(ctx context.Context, site inventory.Site, by ranking.By) (list []ranking.Key, err error) {
	keys := map[ranking.By]string{
		ranking.ByHarm:     `e.harm, 0::float8`,
		ranking.ByExposure: `e.people::float8 + e.people_in_vehicles::float8, e.vehicles::float8`,
		ranking.ByRating:   `e.rating::float8, e.harm`,
	}
	err = db.reading(ctx, func(tx pgx.Tx) error {
		generation, err := inForce(ctx, tx, site.Client, site.ID)
		if err != nil {
			return err
		}
		rows, err := tx.Query(ctx, `SELECT e.tree_id, coalesce(t.tag, ''), `+keys[by]+` FROM `+partitionOf(generation)+` e
			JOIN `+sourceOf(ctx, site.Client).from("trees", "t")+` ON t.client_id = e.client_id AND t.tree_id = e.tree_id WHERE e.client_id = $1`, site.Client)
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, pgx.RowToStructByPos[ranking.Key])
		return err
	})
	return list, err
}

// EachResult hands on the result in force of every standing tree of a site, with
// where it stands, in the order of their ids.
func (db *DB) EachResult(ctx context.Context, site inventory.Site, fn func(orb.Point, *ranking.Result) error) error {
	return db.reading(ctx, func(tx pgx.Tx) error {
		generation, err := inForce(ctx, tx, site.Client, site.ID)
		if err != nil {
			return err
		}
		rows, err := tx.Query(ctx, `SELECT `+resultSelect+`, ST_X(t.geometry), ST_Y(t.geometry) FROM `+partitionOf(generation)+` e
			JOIN `+sourceOf(ctx, site.Client).from("trees", "t")+` ON t.client_id = e.client_id AND t.tree_id = e.tree_id WHERE e.client_id = $1 ORDER BY e.client_id, e.tree_id`, site.Client)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var r ranking.Result
			var p orb.Point
			if err := scanResult(rows, &r, &p[0], &p[1]); err != nil {
				return err
			}
			if err := fn(p, &r); err != nil {
				return err
			}
		}
		return rows.Err()
	})
}
