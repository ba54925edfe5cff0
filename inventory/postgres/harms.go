package postgres

import (
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"sync"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/singleflight"

	"github.com/underbough/underbough/inventory"
)

// harmLists keeps, for each generation, the harm of all its trees in order: a
// tree's rank is then found without looking at the others in the database. Eight
// bytes a tree.
type harmLists struct {
	sync.Mutex
	lists  map[int64]harmList
	asking singleflight.Group
}

type harmList struct {
	revision int64
	harms    []float64
}

// harmListsKept is how many generations' lists are kept; more than one for each
// site that is asked about needs.
const harmListsKept = 64

// harms returns the harm of every tree of a site in force, least first.
func (db *DB) harms(ctx context.Context, client inventory.ClientID, site siteState) ([]float64, error) {
	l := &db.harmLists
	l.Lock()
	list, ok := l.lists[site.Generation]
	l.Unlock()
	if ok && list.revision == site.Revision {
		return list.harms, nil
	}
	made, err, _ := l.asking.Do(fmt.Sprint(site.Generation, site.Revision), func() (any, error) {
		var harms []float64
		rows, err := db.pool.Query(ctx, `SELECT harm FROM `+partitionOf(site.Generation)+` WHERE client_id = $1`, pgx.QueryResultFormats{pgx.BinaryFormatCode}, client)
		if err != nil {
			return nil, err
		}
		defer rows.Close()
		for rows.Next() {
			harms = append(harms, math.Float64frombits(binary.BigEndian.Uint64(rows.RawValues()[0])))
		}
		if err := rows.Err(); err != nil {
			return nil, err
		}
		slices.Sort(harms)
		l.Lock()
		defer l.Unlock()
		if len(l.lists) >= harmListsKept || l.lists == nil {
			l.lists = make(map[int64]harmList)
		}
		l.lists[site.Generation] = harmList{site.Revision, harms}
		return harms, nil
	})
	if err != nil {
		return nil, err
	}
	return made.([]float64), nil
}
