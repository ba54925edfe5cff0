package postgres

import (
	"context"
	"errors"
	"time"
)

// AwaitEdit waits until an edit by anybody commits, or until the time is up. An
// edit while nobody waits is not told of later: look before waiting again.
func (db *DB) AwaitEdit(ctx context.Context, atMost time.Duration) error {
	conn, err := db.pool.Acquire(ctx)
	if err != nil {
		return translate(err)
	}
	defer conn.Release()
	if _, err := conn.Exec(ctx, `LISTEN underbough_touched`); err != nil {
		return translate(err)
	}
	// The connection goes back to the pool: it must not gather what nobody reads.
	defer conn.Exec(context.WithoutCancel(ctx), `UNLISTEN *`)
	waiting, cancel := context.WithTimeout(ctx, atMost)
	defer cancel()
	_, err = conn.Conn().WaitForNotification(waiting)
	if errors.Is(err, context.DeadlineExceeded) || waiting.Err() != nil && ctx.Err() == nil {
		return nil
	}
	return translate(err)
}
