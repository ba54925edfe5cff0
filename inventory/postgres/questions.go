package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
)

// FindQuestions lists a client's saved questions by name.
func (db *DB) FindQuestions(ctx context.Context, client inventory.ClientID) ([]inventory.SavedQuestion, error) {
	rows, err := db.pool.Query(ctx, `SELECT name, title, collection, filter, changed_at, changed_by FROM questions WHERE client_id = $1 ORDER BY name`, client)
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, pgx.RowToStructByPos[inventory.SavedQuestion])
	return list, translate(err)
}

// SaveQuestion keeps a question in the place of any other of its name.
func (db *DB) SaveQuestion(ctx context.Context, client inventory.ClientID, q inventory.SavedQuestion) error {
	_, err := db.pool.Exec(ctx, `
		INSERT INTO questions (client_id, name, title, collection, filter, changed_by) VALUES ($1, $2, $3, $4, $5, coalesce(nullif($6, ''), session_user))
		ON CONFLICT (client_id, name) DO UPDATE SET title = excluded.title, collection = excluded.collection, filter = excluded.filter,
			changed_at = clock_timestamp(), changed_by = excluded.changed_by`,
		client, q.Name, q.Title, q.Collection, q.Filter, q.ChangedBy)
	return translate(err)
}

// DropQuestion forgets a saved question.
func (db *DB) DropQuestion(ctx context.Context, client inventory.ClientID, name string) error {
	done, err := db.pool.Exec(ctx, `DELETE FROM questions WHERE client_id = $1 AND name = $2`, client, name)
	if err == nil && done.RowsAffected() == 0 {
		return inventory.Errorf(inventory.NotFound, "there is no saved question %q", name)
	}
	return translate(err)
}
