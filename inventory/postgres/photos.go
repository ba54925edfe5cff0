package postgres

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
)

// AddPhoto keeps a picture of a job; the same picture is kept once.
func (db *DB) AddPhoto(ctx context.Context, client inventory.ClientID, p *inventory.Photo) error {
	sum := sha256.Sum256(p.Bytes)
	p.SHA256, p.Size = hex.EncodeToString(sum[:]), len(p.Bytes)
	return db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error {
		if err := setActor(ctx, tx, p.By); err != nil {
			return err
		}
		var there bool
		if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM jobs WHERE client_id = $1 AND job_id = $2)`, client, p.Job).Scan(&there); err != nil {
			return err
		}
		if !there {
			return inventory.Errorf(inventory.NotFound, "there is no job %d", p.Job)
		}
		return tx.QueryRow(ctx, `INSERT INTO photos (client_id, job_id, name, media_type, sha256, bytes) VALUES ($1, $2, $3, $4, $5, $6)
			ON CONFLICT (client_id, job_id, sha256) DO UPDATE SET name = photos.name RETURNING photo_id, added_at, added_by`,
			client, p.Job, p.Name, p.MediaType, p.SHA256, p.Bytes).Scan(&p.ID, &p.At, &p.By)
	})
}

// FindPhotos lists the pictures of jobs without their bytes.
func (db *DB) FindPhotos(ctx context.Context, client inventory.ClientID, jobs []int64) (list []inventory.Photo, err error) {
	err = db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT photo_id, job_id, name, media_type, sha256, NULL::bytea, length(bytes), added_at, added_by FROM photos
			WHERE client_id = $1 AND job_id = ANY($2) ORDER BY job_id, photo_id`, client, jobs)
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, pgx.RowToStructByPos[inventory.Photo])
		return err
	})
	return list, err
}

// GetPhoto returns a picture of a job.
func (db *DB) GetPhoto(ctx context.Context, client inventory.ClientID, job inventory.JobID, id inventory.PhotoID) (*inventory.Photo, error) {
	rows, err := db.pool.Query(ctx, `SELECT photo_id, job_id, name, media_type, sha256, bytes, length(bytes), added_at, added_by FROM photos
		WHERE client_id = $1 AND job_id = $2 AND photo_id = $3`, client, job, id)
	if err != nil {
		return nil, translate(err)
	}
	p, err := pgx.CollectExactlyOneRow(rows, pgx.RowToAddrOfStructByPos[inventory.Photo])
	if errors.Is(err, pgx.ErrNoRows) {
		return nil, inventory.Errorf(inventory.NotFound, "job %d has no photo %d", job, id)
	}
	return p, translate(err)
}
