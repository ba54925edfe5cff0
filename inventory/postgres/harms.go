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
	read   int // how often a list was read
	asking singleflight.Group
}

type harmList struct {
	revision int64
	*harmOrder
}

// harmListsKept is how many generations' lists are kept; more than one for each
// site that is asked about needs.
const harmListsKept = 64

// harms returns the order of every tree of a site in force.
func (db *DB) harms(ctx context.Context, client inventory.ClientID, site siteState) (*harmOrder, error) {
	l := &db.harmLists
	l.Lock()
	list, ok := l.lists[site.Generation]
	l.Unlock()
	if ok && list.revision == site.Revision {
		return list.harmOrder, nil
	}
	done := l.asking.DoChan(fmt.Sprint(site.Generation, site.Revision), func() (_ any, err error) {
		defer inventory.Recover(&err)
		// Who asks first may go, and the others still wait.
		harms, err := db.readHarms(context.WithoutCancel(ctx), client, site.Generation)
		if err != nil {
			return nil, err
		}
		order := newHarmOrder(harms)
		l.Lock()
		defer l.Unlock()
		if len(l.lists) >= harmListsKept || l.lists == nil {
			l.lists = make(map[int64]harmList)
		}
		l.lists[site.Generation] = harmList{site.Revision, order}
		l.read++
		return order, nil
	})
	select {
	case made := <-done:
		if made.Err != nil {
			return nil, made.Err
		}
		return made.Val.(*harmOrder), nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (db *DB) readHarms(ctx context.Context, client inventory.ClientID, generation int64) (harms []float64, err error) {
	sql := `SELECT harm FROM ` + partitionOf(generation) + ` WHERE client_id = $1`
	err = db.ask(ctx, false, sql, []any{client}, func(rows pgx.Rows) error {
		for rows.Next() {
			harms = append(harms, math.Float64frombits(binary.BigEndian.Uint64(rows.RawValues()[0])))
		}
		return rows.Err()
	})
	return harms, err
}

// harmMove is what an edit changes of a generation's harms: they are mended rather
// than read again.
type harmMove struct {
	generation, revision int64 // that the edit leads to
	gone, come           []float64
	trees                []int64 // that it changes
}

type harmMovesKey struct{}

// editing runs fn in a transaction that edits and catches up, and mends what is
// kept of the trees once it is through.
func (db *DB) editing(ctx context.Context, fn func(context.Context, pgx.Tx) error) error {
	var moves []*harmMove
	ctx = context.WithValue(ctx, harmMovesKey{}, &moves)
	err := db.inTx(ctx, pgx.TxOptions{}, func(tx pgx.Tx) error { return fn(ctx, tx) })
	if err == nil {
		for _, m := range moves {
			db.harmLists.mend(m)
			db.gathered.noteMove(treeMove{m.generation, m.revision, m.trees})
		}
	}
	return err
}

// noteMove begins the account of an edit's harms.
func noteMove(ctx context.Context, generation int64) *harmMove {
	m := &harmMove{generation: generation}
	if moves, ok := ctx.Value(harmMovesKey{}).(*[]*harmMove); ok {
		*moves = append(*moves, m)
	}
	return m
}

// mend brings a list from the revision before a move to that after it. One that is
// at another revision is read again when it is asked for.
func (l *harmLists) mend(m *harmMove) {
	l.Lock()
	list, ok := l.lists[m.generation]
	l.Unlock()
	if !ok || list.revision != m.revision-1 {
		return
	}
	order := list.with(m.gone, m.come)
	l.Lock()
	defer l.Unlock()
	if order != nil && l.lists[m.generation].revision == m.revision-1 {
		l.lists[m.generation] = harmList{m.revision, order}
	}
}

// with returns the order without some harms and with others; nil where one that is
// to go is not there. Who reads o is not disturbed.
func (o *harmOrder) with(gone, come []float64) *harmOrder {
	slices.Sort(gone)
	slices.Sort(come)
	harms := make([]float64, 0, len(o.harms)+len(come))
	for _, h := range o.harms {
		if len(gone) > 0 && gone[0] == h {
			gone = gone[1:]
			continue
		}
		for len(come) > 0 && come[0] < h {
			harms, come = append(harms, come[0]), come[1:]
		}
		harms = append(harms, h)
	}
	if len(gone) > 0 {
		return nil
	}
	return newHarmOrder(append(harms, come...))
}

// harmOrder finds the place of a harm among many. Harms are not negative, so
// that their bits are in the order of their values: the first bits of one say
// which few of the others it lies among.
type harmOrder struct {
	harms []float64 // least first
	first []int32   // by the first bits: the place of the first harm that has them, or more
	shift int
	base  uint64
}

// orderBits is the number of first bits that are looked at.
const orderBits = 16

func newHarmOrder(harms []float64) *harmOrder {
	if !slices.IsSorted(harms) {
		slices.Sort(harms)
	}
	o := &harmOrder{harms: harms}
	if len(harms) == 0 {
		return o
	}
	// Those without harm are of one place; the others say how many bits differ.
	least, _ := slices.BinarySearch(harms, math.SmallestNonzeroFloat64)
	if least == len(harms) {
		return o
	}
	o.base = math.Float64bits(harms[least])
	for (math.Float64bits(harms[len(harms)-1])-o.base)>>o.shift >= 1<<orderBits {
		o.shift++
	}
	o.first = make([]int32, 1<<orderBits+1)
	at := least
	for key := range o.first {
		for at < len(harms) && (math.Float64bits(harms[at])-o.base)>>o.shift < uint64(key) {
			at++
		}
		o.first[key] = int32(at)
	}
	return o
}

// rank is one more than the number of trees with more harm.
func (o *harmOrder) rank(harm float64) int64 {
	low, high := 0, len(o.harms)
	if o.first != nil && harm > 0 {
		if bits := math.Float64bits(harm); bits >= o.base {
			if key := (bits - o.base) >> o.shift; key < 1<<orderBits {
				low, high = int(o.first[key]), int(o.first[key+1])
			}
		}
	}
	for low < high {
		if middle := (low + high) / 2; o.harms[middle] <= harm {
			low = middle + 1
		} else {
			high = middle
		}
	}
	return int64(len(o.harms)-low) + 1
}
