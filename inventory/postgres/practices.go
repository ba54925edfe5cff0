package postgres

import (
	"context"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/practice"
)

const keepPractice = `INSERT INTO practices (client_id, digest, name, body) VALUES ($1, $2, $3, $4) ON CONFLICT DO NOTHING`

func savePractice(ctx context.Context, tx pgx.Tx, client inventory.ClientID, p *practice.Practice) error {
	_, err := tx.Exec(ctx, keepPractice, client, p.Digest, p.Name, string(p.Text))
	return err
}

// GetPractice returns the text of a practice by its digest.
func (db *DB) GetPractice(ctx context.Context, client inventory.ClientID, digest string) ([]byte, error) {
	var text string
	err := db.pool.QueryRow(ctx, `SELECT body FROM practices WHERE client_id = $1 AND digest = $2`, client, digest).Scan(&text)
	return []byte(text), translate(err)
}
