package postgres

import (
	"context"
	"fmt"
	"runtime"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

// sweeper streams the standing trees of a site past its targets.
//
// Targets are kept in memory stripe by stripe; trees, their cuts and visits
// stream past them in the order of their ids, from one snapshot. Memory follows
// the targets of a stripe, not the number of trees.
type sweeper struct {
	ranking.Sweep
	source
	db       *DB
	tx       pgx.Tx
	snapshot string
	trees    int64
	targets  int64
	counted  map[inventory.TargetID]counted
}

// source is the inventory of a client, as it stands or as it stood at an instant.
type source struct {
	client inventory.ClientID
	at     inventory.Opt[time.Time]
}

// sourceOf is a client's inventory as the context asks for it.
func sourceOf(ctx context.Context, client inventory.ClientID) source {
	return source{client, instantOf(ctx)}
}

// from writes a table, or its rows as they were.
func (s source) from(table, alias string) string {
	if !s.at.OK {
		return table + " " + alias
	}
	return fmt.Sprintf("%s_at(%d, '%s') %s", table, s.client, s.at.V.UTC().Format("2006-01-02 15:04:05.999999Z"), alias)
}

// sourceAt is the inventory that a sweep asks for, or else its context.
func sourceAt(ctx context.Context, s ranking.Sweep) source {
	if s.At.OK {
		return source{client: s.Site.Client, at: s.At}
	}
	return sourceOf(ctx, s.Site.Client)
}

// Sweep hands every standing tree of a site to work, lot by lot and from
// several goroutines, and what work returns to take, one at a time and always
// in the same order. It returns the number of trees and of targets.
func (db *DB) Sweep(ctx context.Context, s ranking.Sweep, work func(ranking.Lot) (any, error), take func(any) error) (trees, targets int64, err error) {
	err = db.reading(ctx, func(tx pgx.Tx) error {
		w, err := db.newSweeper(ctx, tx, s)
		if err != nil {
			return err
		}
		err = sweep(ctx, w, func() func(ranking.Lot) (any, error) { return work }, take)
		trees, targets = w.trees, w.targets
		return err
	})
	return trees, targets, err
}

// newSweeper starts a sweep in a snapshot.
func (db *DB) newSweeper(ctx context.Context, tx pgx.Tx, s ranking.Sweep) (*sweeper, error) {
	w := &sweeper{Sweep: s, source: sourceAt(ctx, s), db: db, tx: tx}
	var err error
	if w.snapshot, err = exportSnapshot(ctx, tx); err != nil {
		return nil, err
	}
	w.counted, err = readCounts(ctx, tx, w.from("counts", "n"), w.where("n"))
	return w, err
}

// where writes the condition that every query carries.
func (w *sweeper) where(alias string) string {
	return fmt.Sprintf("%[1]s.client_id = %[2]d AND %[1]s.site_id = %[3]d", alias, w.Site.Client, w.Site.ID)
}

// sweep runs all stripes. newWork is called once for each goroutine.
func sweep[T any](ctx context.Context, w *sweeper, newWork func() func(ranking.Lot) (T, error), take func(T) error) error {
	stripes, err := w.stripes(ctx)
	if err != nil {
		return err
	}
	for _, s := range stripes {
		if err := sweepStripe(ctx, w, s, newWork, take); err != nil {
			return err
		}
	}
	return nil
}

// task is a lot on its way to a worker and, in order, to take.
type task[T any] struct {
	lot
	result chan T
}

// chunksAhead is how many chunks of trees are read ahead of the workers.
const chunksAhead = 1

// sweepStripe reads trees while the targets are still being read and indexed,
// lays each chunk of trees out as they stand on the ground, and cuts it into
// lots small enough to keep all workers busy to the end.
func sweepStripe[T any](ctx context.Context, w *sweeper, s stripe, newWork func() func(ranking.Lot) (T, error), take func(T) error) error {
	g, ctx := errgroup.WithContext(ctx)
	workers := max(1, runtime.GOMAXPROCS(0))
	chunks := make(chan *chunk, chunksAhead)
	facts := &factStream{sweeper: w, stripe: s}
	g.Go(func() (err error) {
		defer inventory.Recover(&err)
		defer close(chunks)
		return facts.read(ctx, g, func(c *chunk) error { return send(ctx, c, chunks) })
	})
	targets := ranking.NewStripe(w.Profile, w.AsOf)
	err := w.readTargets(ctx, s, targets)
	if err != nil {
		g.Go(func() error { return err })
		return g.Wait()
	}
	targets.Build()
	w.targets += int64(targets.Targets())

	toDo := make(chan task[T], workers)
	inOrder := make(chan task[T], 4*workers)
	g.Go(func() (err error) {
		defer inventory.Recover(&err)
		defer close(toDo)
		defer close(inOrder)
		for c := range chunks {
			for _, l := range c.lots() {
				if err := send(ctx, task[T]{l, make(chan T, 1)}, toDo, inOrder); err != nil {
					return err
				}
			}
		}
		return nil
	})
	for range workers {
		work := newWork()
		d := &decoder{species: make(map[string]string)}
		assessor := targets.NewAssessor()
		g.Go(func() (err error) {
			defer inventory.Recover(&err)
			for t := range toDo {
				list, err := d.decode(t.lot)
				if err != nil {
					return err
				}
				out, err := work(ranking.Lot{Assessor: assessor, Trees: list})
				if err != nil {
					return err
				}
				t.result <- out
			}
			return nil
		})
	}
	g.Go(func() (err error) {
		defer inventory.Recover(&err)
		for t := range inOrder {
			select {
			case out := <-t.result:
				w.trees += int64(len(t.turns))
				if err := take(out); err != nil {
					return err
				}
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		return nil
	})
	return g.Wait()
}

// send hands work to whoever does it and to whoever waits for it in order.
func send[T any](ctx context.Context, w T, to ...chan<- T) error {
	for _, c := range to {
		select {
		case c <- w:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}
