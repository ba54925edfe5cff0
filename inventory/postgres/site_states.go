package postgres

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"github.com/underbough/underbough/inventory"
)

// siteState is what is in force at a site.
type siteState struct {
	ID                   int64
	Generation, Revision int64
}

type siteStates []siteState

// knownSites remembers what was last seen in force at each client's sites.
type knownSites struct {
	sync.Mutex
	of map[inventory.ClientID]seenSites
}

type seenSites struct {
	list siteStates
	at   time.Time
}

// lately is how long what was seen serves those who have not looked themselves.
// A partition that was in force is kept for longer.
const lately = 100 * time.Millisecond

// note remembers what was seen. Of two who look at the same time the one that
// comes second may have looked first: generations and revisions only grow.
func (k *knownSites) note(client inventory.ClientID, list siteStates) siteStates {
	k.Lock()
	defer k.Unlock()
	for i := range list {
		s := &list[i]
		for _, o := range k.of[client].list {
			if o.ID == s.ID && (o.Generation > s.Generation || o.Generation == s.Generation && o.Revision > s.Revision) {
				*s = o
			}
		}
	}
	if k.of == nil {
		k.of = make(map[inventory.ClientID]seenSites)
	}
	k.of[client] = seenSites{list, time.Now()}
	return list
}

// get returns what was seen no longer ago than that; any time ago where long is
// zero.
func (k *knownSites) get(client inventory.ClientID, long time.Duration) (siteStates, bool) {
	k.Lock()
	defer k.Unlock()
	seen, ok := k.of[client]
	return seen.list, ok && (long == 0 || time.Since(seen.at) < long)
}

// forget makes the next one look again.
func (k *knownSites) forget(client inventory.ClientID) {
	k.Lock()
	defer k.Unlock()
	delete(k.of, client)
}

// errOtherSites is what a feature's row says that was read by what was in force
// before.
var errOtherSites = errors.New("the sites have changed")

// withSites runs fn with what is in force at a client's sites, so that a
// statement can name the partitions it reads: the planner then knows how much
// they hold. Where checked is set, fn finds out itself whether this still holds,
// and what was seen any time ago will do. fn is run again if it does not hold, or
// if a partition is gone.
func (db *DB) withSites(ctx context.Context, client inventory.ClientID, checked bool, fn func(siteStates) error) error {
	_, inSnapshot := snapshotOf(ctx)
	if !inSnapshot && !instantOf(ctx).OK {
		long := lately
		if checked {
			long = 0
		}
		if sites, ok := db.sites.get(client, long); ok {
			if err := fn(sites); !errors.Is(err, errOtherSites) && !isUndefined(err) {
				return err
			}
		}
	}
	for try := 1; ; try++ {
		sites, err := db.siteStates(ctx, client)
		if err != nil {
			return err
		}
		if err = fn(sites); try == triesOfSites || !errors.Is(err, errOtherSites) && !isUndefined(err) {
			return err
		}
	}
}

// triesOfSites are enough for any pace of edits that leaves time to read between
// two of them.
const triesOfSites = 20

func isUndefined(err error) bool {
	var server *pgconn.PgError
	return errors.As(err, &server) && server.Code == "42P01"
}

// siteStates looks at what is in force, or what there is for an instant.
func (db *DB) siteStates(ctx context.Context, client inventory.ClientID) (list siteStates, err error) {
	sql, args := `SELECT site_id, generation, revision FROM sites WHERE client_id = $1 ORDER BY site_id`, []any{client}
	at := instantOf(ctx)
	if at.OK {
		sql = `SELECT site_id, max(generation), 0::bigint FROM past_runs WHERE client_id = $1 AND at = $2 GROUP BY site_id ORDER BY site_id`
		args = append(args, at.V)
	}
	err = db.ask(ctx, false, sql, args, func(rows pgx.Rows) (err error) {
		list, err = pgx.CollectRows(rows, pgx.RowToStructByPos[siteState])
		return err
	})
	if _, inSnapshot := snapshotOf(ctx); err == nil && !at.OK && !inSnapshot {
		list = db.sites.note(client, list)
	}
	return list, err
}

// exposuresFrom is the table of what is in force at the sites, under the alias e;
// ranks adds each tree's place among its site's.
func (s siteStates) exposuresFrom(ranks bool) (table, on string) {
	var generations, pairs []string
	var last int64
	for _, site := range s {
		if site.Generation > 0 {
			last = site.Generation
			generations = append(generations, fmt.Sprint(last))
			pairs = append(pairs, fmt.Sprintf("(%d,%d)", site.ID, site.Generation))
		}
	}
	table = "exposures"
	switch len(generations) {
	case 0:
		on = " AND false"
	case 1:
		table = partitionOf(last)
	default:
		on = " AND e.generation = ANY('{" + strings.Join(generations, ",") + "}'::bigint[]) AND (t.site_id, e.generation) IN (" + strings.Join(pairs, ",") + ")"
	}
	if ranks {
		within := ""
		if len(generations) != 1 {
			within = " WHERE x.generation = ANY('{" + strings.Join(generations, ",") + "}'::bigint[])"
		}
		table = "(SELECT x.*, rank() OVER (PARTITION BY x.generation ORDER BY x.harm DESC) AS rank FROM " + table + " x" + within + ")"
	}
	return table + " e", on
}
