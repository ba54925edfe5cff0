package postgres

import (
	"context"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"

	"github.com/underbough/underbough/inventory"
)

// Features of a chunk of an export; the first is small, so that it is there soon.
const (
	chunkFeatures      = 5000
	firstChunkFeatures = 200
)

// ExportFeatures hands on all features of a stored collection that a query selects,
// encoded, chunk by chunk in the order of their ids and from one snapshot. Several
// connections read and encode chunks side by side. newEncoder is called once for
// each; what it returns appends one feature.
func (db *DB) ExportFeatures(ctx context.Context, q inventory.FeatureQuery, newEncoder func() func([]byte, *inventory.Feature) ([]byte, error), write func([]byte) error) error {
	return db.reading(ctx, func(tx pgx.Tx) error {
		snapshot, err := exportSnapshot(ctx, tx)
		if err != nil {
			return err
		}
		ctx := inSnapshot(ctx, snapshot)
		sites, err := db.siteStates(ctx, q.Client)
		if err != nil {
			return err
		}
		e := &featureExport{db: db, query: q, sites: sites}
		workers := min(max(2, runtime.GOMAXPROCS(0)), 4)
		g, ctx := errgroup.WithContext(ctx)
		toDo, inOrder := make(chan *exportChunk, workers), make(chan *exportChunk, 2*workers)
		used := make(chan []byte, 3*workers)
		g.Go(func() (err error) {
			defer inventory.Recover(&err)
			defer close(toDo)
			defer close(inOrder)
			return e.chunks(ctx, tx, func(c *exportChunk) error { return send(ctx, c, toDo, inOrder) })
		})
		for range workers {
			encode := newEncoder()
			g.Go(func() (err error) {
				defer inventory.Recover(&err)
				return e.work(ctx, toDo, used, encode)
			})
		}
		g.Go(func() (err error) {
			defer inventory.Recover(&err)
			for c := range inOrder {
				select {
				case b := <-c.encoded:
					if err := write(b); err != nil {
						return err
					}
					select {
					case used <- b:
					default:
					}
				case <-ctx.Done():
					return ctx.Err()
				}
			}
			return nil
		})
		return g.Wait()
	})
}

type featureExport struct {
	db    *DB
	query inventory.FeatureQuery
	sites siteStates
}

// exportChunk is the features whose ids are above one and up to another.
type exportChunk struct {
	above, upTo int64
	encoded     chan []byte
}

// chunks cuts the collection up by its key, as fast as the key is read.
func (e *featureExport) chunks(ctx context.Context, tx pgx.Tx, fn func(*exportChunk) error) error {
	f, err := newFeatureSQL(ctx, e.query, e.sites)
	if err != nil {
		return err
	}
	t := f.table
	table, client := f.source.from(t.table, t.alias), t.alias+".client_id = "+f.client
	above := int64(math.MinInt64)
	cut := func(upTo int64) error {
		c := &exportChunk{above, upTo, make(chan []byte, 1)}
		above = upTo
		return fn(c)
	}
	// The first cut on its own: the database sends no row of the others before it
	// has many.
	var first int64
	err = tx.QueryRow(ctx, fmt.Sprintf(`SELECT %[1]s::bigint FROM %[2]s WHERE %[3]s ORDER BY %[1]s OFFSET %[4]d LIMIT 1`, t.key, table, client, firstChunkFeatures-1), f.args...).Scan(&first)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return cut(math.MaxInt64)
	case err != nil:
		return err
	}
	if err := cut(first); err != nil {
		return err
	}
	rows, err := tx.Query(ctx, fmt.Sprintf(`SELECT id FROM (SELECT %[1]s::bigint AS id, row_number() OVER (ORDER BY %[1]s) AS n FROM %[2]s WHERE %[3]s) x
		WHERE n %% %[4]d = 0 ORDER BY id`, t.key, table, client, chunkFeatures), f.args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var upTo int64
		if err := rows.Scan(&upTo); err != nil {
			return err
		}
		if err := cut(upTo); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return err
	}
	return cut(math.MaxInt64)
}

// work reads and encodes chunks on a connection of its own.
func (e *featureExport) work(ctx context.Context, toDo <-chan *exportChunk, used <-chan []byte, encode func([]byte, *inventory.Feature) ([]byte, error)) error {
	f, err := newFeatureSQL(ctx, e.query, e.sites)
	if err != nil {
		return err
	}
	f.above, f.upTo = f.arg(int64(0)), f.arg(int64(0))
	bounds := len(f.args) - 2
	if err := f.page(); err != nil {
		return err
	}
	row, err := e.db.newFeatureRow(ctx, f)
	if err != nil {
		return err
	}
	return e.db.reading(ctx, func(tx pgx.Tx) error {
		for c := range toDo {
			args := slices.Clone(f.args)
			args[bounds], args[bounds+1] = c.above, c.upTo
			var b []byte
			select {
			case b = <-used:
				b = b[:0]
			default:
			}
			rows, err := tx.Query(ctx, f.text.String(), append([]any{pgx.QueryResultFormats{pgx.BinaryFormatCode}}, args...)...)
			if err != nil {
				return err
			}
			for rows.Next() {
				feature, err := row.read(rows.RawValues())
				if err == nil {
					b, err = encode(b, feature)
				}
				if err != nil {
					rows.Close()
					return err
				}
			}
			if err := rows.Err(); err != nil {
				return err
			}
			c.encoded <- b
		}
		return nil
	})
}
