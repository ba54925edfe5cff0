package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/programme"
)

// SaveProgramme keeps a programme with what it says of each tree, and the texts
// of its profile and practice.
func (db *DB) SaveProgramme(ctx context.Context, r *programme.Record, p *profile.Profile, k *practice.Practice, items []programme.Item) error {
	question, err := json.Marshal(r.Question)
	if err != nil {
		return err
	}
	result, err := json.Marshal(r.Result)
	if err != nil {
		return err
	}
	return db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
		if err := setActor(ctx, tx, r.MadeBy); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, keepProfile, r.Client, r.ProfileDigest, r.ProfileName, string(p.Text)); err != nil {
			return err
		}
		if err := savePractice(ctx, tx, r.Client, k); err != nil {
			return err
		}
		err := tx.QueryRow(ctx, `INSERT INTO programmes (client_id, site_id, name, question, result, profile_digest, practice_digest, as_of)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8) RETURNING programme_id, made_at, made_by`,
			r.Client, r.Site.ID, r.Name, question, result, r.ProfileDigest, r.PracticeDigest, r.AsOf).Scan(&r.ID, &r.MadeAt, &r.MadeBy)
		if err != nil {
			return err
		}
		_, err = tx.CopyFrom(ctx, pgx.Identifier{"programme_items"}, []string{"client_id", "programme_id", "tree_id", "place", "first_year", "package", "item"},
			pgx.CopyFromSlice(len(items), func(i int) ([]any, error) {
				item := &items[i]
				body, err := json.Marshal(item)
				var first *int16
				if item.First != 0 {
					year := int16(item.First)
					first = &year
				}
				return []any{int32(r.Client), int64(r.ID), int64(item.Tree), int32(item.Place), first, item.Package, string(body)}, err
			}))
		return err
	})
}

const programmeSelect = `m.programme_id, m.client_id, s.site_id, s.name, s.time_zone, m.name, m.question, m.result, p.name, m.profile_digest, k.name, m.practice_digest,
	m.as_of, m.made_at, m.made_by, m.proposed_at
	FROM programmes m JOIN sites s ON s.client_id = m.client_id AND s.site_id = m.site_id
	JOIN profiles p ON p.client_id = m.client_id AND p.digest = m.profile_digest
	JOIN practices k ON k.client_id = m.client_id AND k.digest = m.practice_digest`

func scanProgramme(row pgx.CollectableRow) (programme.Record, error) {
	var r programme.Record
	var question, result []byte
	var proposed *time.Time
	err := row.Scan(&r.ID, &r.Client, &r.Site.ID, &r.Site.Name, &r.Site.TimeZone, &r.Name, &question, &result, &r.ProfileName, &r.ProfileDigest, &r.PracticeName, &r.PracticeDigest,
		&r.AsOf, &r.MadeAt, &r.MadeBy, &proposed)
	if err != nil {
		return r, err
	}
	r.Site.Client, r.ProposedAt = r.Client, opt(proposed)
	return r, errors.Join(json.Unmarshal(question, &r.Question), json.Unmarshal(result, &r.Result))
}

// FindProgrammes lists programmes, the latest first; of all sites where site is
// zero.
func (db *DB) FindProgrammes(ctx context.Context, client inventory.ClientID, site inventory.SiteID) (list []programme.Record, err error) {
	err = db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT `+programmeSelect+` WHERE m.client_id = $1 AND ($2 = 0 OR m.site_id = $2) AND m.made_at <= $3 ORDER BY m.programme_id DESC`, client, int64(site), until(ctx))
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, scanProgramme)
		return err
	})
	return list, err
}

// GetProgramme returns a programme and what it says of each tree, by first year,
// package and place; those left out come last.
func (db *DB) GetProgramme(ctx context.Context, client inventory.ClientID, id inventory.ProgrammeID) (r programme.Record, items []programme.Item, err error) {
	err = db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT `+programmeSelect+` WHERE m.client_id = $1 AND m.programme_id = $2`, client, int64(id))
		if err != nil {
			return err
		}
		if r, err = pgx.CollectExactlyOneRow(rows, scanProgramme); err != nil {
			if errors.Is(err, pgx.ErrNoRows) {
				err = inventory.Errorf(inventory.NotFound, "there is no programme %d", id)
			}
			return err
		}
		if rows, err = tx.Query(ctx, `SELECT item FROM programme_items WHERE client_id = $1 AND programme_id = $2 ORDER BY first_year NULLS LAST, package COLLATE "C", place`, client, int64(id)); err != nil {
			return err
		}
		items, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (item programme.Item, err error) {
			var body []byte
			if err := row.Scan(&body); err != nil {
				return item, err
			}
			return item, json.Unmarshal(body, &item)
		})
		return err
	})
	return r, items, err
}
