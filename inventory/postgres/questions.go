package postgres

import (
	"context"
	"errors"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
)

const (
	questionColumns = `name, title, collection, filter, changed_at, changed_by`
	keepQuestion    = `
		INSERT INTO questions (client_id, name, title, collection, filter, changed_by) VALUES ($1, $2, $3, $4, $5, coalesce(nullif($6, ''), session_user))
		ON CONFLICT (client_id, name) DO UPDATE SET title = excluded.title, collection = excluded.collection, filter = excluded.filter,
			changed_at = clock_timestamp(), changed_by = excluded.changed_by`
)

// FindQuestions lists a client's saved questions by name.
func (db *DB) FindQuestions(ctx context.Context, client inventory.ClientID) ([]inventory.SavedQuestion, error) {
	rows, err := db.pool.Query(ctx, `SELECT `+questionColumns+` FROM questions WHERE client_id = $1 ORDER BY name`, client)
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[inventory.SavedQuestion])
	return list, translate(err)
}

// SaveQuestion keeps a question in the place of any other of its name.
func (db *DB) SaveQuestion(ctx context.Context, client inventory.ClientID, q inventory.SavedQuestion) error {
	_, err := db.pool.Exec(ctx, keepQuestion, client, q.Name, q.Title, q.Collection, q.Filter, q.ChangedBy)
	return translate(err)
}

// ChangeQuestion keeps what change makes of the question of a name, or forgets it
// where that is nothing. Others who change questions wait; readers do not.
func (db *DB) ChangeQuestion(ctx context.Context, client inventory.ClientID, name string, change func(now *inventory.SavedQuestion) (*inventory.SavedQuestion, error)) (kept *inventory.SavedQuestion, err error) {
	err = db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `LOCK TABLE questions IN SHARE ROW EXCLUSIVE MODE`); err != nil {
			return err
		}
		one := func(sql string, args ...any) (*inventory.SavedQuestion, error) {
			rows, err := tx.Query(ctx, sql, args...)
			if err != nil {
				return nil, err
			}
			q, err := pgx.CollectExactlyOneRow(rows, pgx.RowToAddrOfStructByPos[inventory.SavedQuestion])
			if errors.Is(err, pgx.ErrNoRows) {
				return nil, nil
			}
			return q, err
		}
		now, err := one(`SELECT `+questionColumns+` FROM questions WHERE client_id = $1 AND name = $2`, client, name)
		if err != nil {
			return err
		}
		q, err := change(now)
		if err != nil {
			return err
		}
		if q == nil {
			_, err := tx.Exec(ctx, `DELETE FROM questions WHERE client_id = $1 AND name = $2`, client, name)
			return err
		}
		kept, err = one(keepQuestion+` RETURNING `+questionColumns, client, name, q.Title, q.Collection, q.Filter, q.ChangedBy)
		return err
	})
	return kept, err
}

// DropQuestion forgets a saved question.
func (db *DB) DropQuestion(ctx context.Context, client inventory.ClientID, name string) error {
	done, err := db.pool.Exec(ctx, `DELETE FROM questions WHERE client_id = $1 AND name = $2`, client, name)
	if err == nil && done.RowsAffected() == 0 {
		return inventory.Errorf(inventory.NotFound, "there is no saved question %q", name)
	}
	return translate(err)
}
