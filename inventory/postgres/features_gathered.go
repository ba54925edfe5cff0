package postgres

import (
	"context"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
)

// gatheredPage is a sorted page of the trees of one site, found among what is
// gathered of the site: the database would look at every tree that the question
// holds for, to put them in order.
type gatheredPage struct {
	trees *gathered
	order *treeOrder
	list  []int32 // in the order
	from  int     // in the list
	set   *treeSet
}

// gatheredPageOf finds the page; nil where it must be asked of the database.
func (db *DB) gatheredPageOf(ctx context.Context, q *inventory.FeatureQuery) (p *gatheredPage, err error) {
	if q.State == "" || q.Collection.Base() != "trees" || q.ID.OK || len(q.Boxes) > 0 || q.During.OK || instantOf(ctx).OK {
		return nil, nil
	}
	if _, ok := snapshotOf(ctx); ok {
		return nil, nil
	}
	order := treeOrderOf(q.Order)
	if order == nil {
		return nil, nil
	}
	rest, name := siteOf(q.Filter)
	err = db.withSites(ctx, q.Client, false, func(sites siteStates) error {
		site, ok, err := db.onlySite(ctx, q.Client, sites, name)
		if err != nil || !ok {
			return err
		}
		p = &gatheredPage{order: order}
		if p.trees, err = db.gatheredOf(ctx, q.Client, site, q.State); err != nil {
			return err
		}
		p.set, err = db.matching(ctx, p.trees, site, rest)
		return err
	})
	if err != nil || p == nil {
		return nil, err
	}
	p.list = p.trees.sorted(order)
	if q.After.OK {
		var ok bool
		if p.from, ok = p.trees.after(order, p.list, q.After.V); !ok {
			return nil, nil
		}
	}
	return p, nil
}

// siteOf takes the site that a filter asks for out of it.
func siteOf(e filter.Expr) (rest filter.Expr, name inventory.Opt[string]) {
	var parts []filter.Expr
	for _, part := range conjunction(e, nil) {
		op, ok := part.(*filter.Op)
		if ok && op.Name == "=" && len(op.Args) == 2 && !name.OK {
			p, isProperty := op.Args[0].(*filter.Property)
			s, isText := op.Args[1].(*filter.String)
			if isProperty && isText && p.Name == "site" {
				name = inventory.Some(s.Value)
				continue
			}
		}
		parts = append(parts, part)
	}
	return filter.And(parts...), name
}

// onlySite is the site of a name, or the only one there is.
func (db *DB) onlySite(ctx context.Context, client inventory.ClientID, sites siteStates, name inventory.Opt[string]) (site siteState, ok bool, err error) {
	if !name.OK {
		if len(sites) == 1 {
			return sites[0], true, nil
		}
		return site, false, nil
	}
	var id int64
	err = db.ask(ctx, false, `SELECT site_id FROM sites WHERE client_id = $1 AND name = $2`, []any{client, name.V}, scanOne(&id))
	i := slices.IndexFunc(sites, func(s siteState) bool { return s.ID == id })
	if err != nil || i < 0 {
		return site, false, err
	}
	return sites[i], true, nil
}

// next returns the next trees of the page, as many as n.
func (p *gatheredPage) next(n int) (found []int32) {
	for ; p.from < len(p.list) && len(found) < n; p.from++ {
		if at := p.list[p.from]; p.set.has(at) {
			found = append(found, at)
		}
	}
	return found
}

// mostAtOnce is how many trees of a page are read by one statement.
const mostAtOnce = 10_001

// find hands the features of the page on. A tree that was deleted meanwhile leaves
// its place to the next.
func (p *gatheredPage) find(ctx context.Context, db *DB, q inventory.FeatureQuery, fn func(*inventory.Feature) error) error {
	left := q.Limit
	if left <= 0 {
		left = len(p.list)
	}
	for left > 0 {
		found := p.next(min(left, mostAtOnce))
		if len(found) == 0 {
			return nil
		}
		ids := make([]int64, len(found))
		for i, at := range found {
			ids[i] = p.trees.trees[at].ID
		}
		next := 0
		err := db.findListed(ctx, q, ids, func(f *inventory.Feature) error {
			for ids[next] != f.ID {
				next++
			}
			// Where one goes on is as the order has it that was walked through.
			f.At = p.trees.cursor(p.order, found[next])
			left--
			return fn(f)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// findListed hands on the features of a list that are still there, in its order.
func (db *DB) findListed(ctx context.Context, q inventory.FeatureQuery, ids []int64, fn func(*inventory.Feature) error) error {
	q.Filter, q.Order, q.After, q.Limit = nil, nil, inventory.Opt[inventory.Cursor]{}, 0
	var reader *featureRow
	write := func(f *featureSQL) (err error) {
		columns, wanted := f.columns()
		f.need(wanted)
		list := f.arg(ids)
		f.text.WriteString("SELECT " + strings.Join(columns, ", ") + f.from() + " JOIN unnest(" + list + "::bigint[]) WITH ORDINALITY p(id, place) ON p.id = " + f.table.key +
			" WHERE " + f.table.alias + ".client_id = " + f.client + " ORDER BY p.place")
		reader, err = db.newFeatureRow(ctx, f)
		return err
	}
	return db.askFeatures(ctx, q, write, func(rows pgx.Rows) error { return readFeatures(rows, reader, fn) })
}

func readFeatures(rows pgx.Rows, reader *featureRow, fn func(*inventory.Feature) error) error {
	for rows.Next() {
		feature, err := reader.read(rows.RawValues())
		if err != nil {
			return err
		}
		if err := fn(feature); err != nil {
			return err
		}
	}
	return rows.Err()
}

// CountGathered counts all features that a sorted page is one of, where what is
// gathered says; false where it does not.
func (db *DB) CountGathered(ctx context.Context, q inventory.FeatureQuery) (n int, ok bool, err error) {
	p, err := db.gatheredPageOf(ctx, &q)
	if err != nil || p == nil {
		return 0, false, err
	}
	return p.set.n, true, nil
}
