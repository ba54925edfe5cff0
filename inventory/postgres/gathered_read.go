package postgres

import (
	"context"
	"math"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sync/errgroup"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/tiling"
)

// rated is what a run found of a tree.
type rated struct {
	id                     int64
	harm, people, vehicles float64
	over                   uint32
	rating                 uint8
}

// gatherer reads trees and what belongs to them, each table by itself: joined, the
// database would hash a million wide rows.
type gatherer struct {
	db     *DB
	key    gatheredKey
	site   siteState
	source source
	only   []int64 // ids; nil for all of the site
	about  int     // how many trees there are, by the run in force

	trees tiling.Gathered
	more  []treeMore
	tags  []byte
	rated []rated
	at    idIndex
}

// gather looks through all trees of a site.
func (db *DB) gather(ctx context.Context, key gatheredKey, site siteState) (*gathered, error) {
	g := &gatherer{db: db, key: key, site: site, source: source{client: key.client, at: instantOf(ctx)}}
	if err := db.ask(ctx, false, `SELECT coalesce(max(trees), 0) FROM runs WHERE client_id = $1 AND site_id = $2 AND generation = $3`,
		[]any{key.client, site.ID, site.Generation}, scanOne(&g.about)); err != nil {
		return nil, err
	}
	g.about += g.about / 16 // those that do not stand
	if err := g.read(ctx); err != nil {
		return nil, err
	}
	g.rated = nil
	return inPlaces(key, g.trees, g.more, g.tags), nil
}

// read reads all tables, the two large ones side by side.
func (g *gatherer) read(ctx context.Context) error {
	sides, sctx := errgroup.WithContext(ctx)
	side := func(read func(context.Context) error) {
		sides.Go(func() (err error) {
			defer inventory.Recover(&err)
			return read(sctx)
		})
	}
	side(g.readTrees)
	side(g.readRated)
	if err := sides.Wait(); err != nil {
		return err
	}
	for i := range g.rated {
		r := &g.rated[i]
		if at, ok := g.at.find(r.id); ok {
			p, m := &g.trees[at], &g.more[at]
			p.Rated, p.Rating, p.Harm, p.People, p.Vehicles = true, r.rating, r.harm, float32(r.people), float32(r.vehicles)
			m.persons, m.over = r.people, r.over
		}
	}
	if err := g.readMarks(ctx, "m", "m.tree_id, m.kinds, m.last_topped", func(m *treeMore, raw [][]byte) {
		m.cutKinds = uint32(integer(raw[1]))
		if raw[2] != nil {
			m.topped = int16(integer(raw[2]))
		}
	}); err != nil {
		return err
	}
	return g.readMarks(ctx, "w", "w.tree_id, w.last_visit", func(m *treeMore, raw [][]byte) {
		if raw[1] != nil {
			m.visited = int32(integer(raw[1]))
		}
	})
}

// ask asks a table for the rows of the client, or of the trees that are wanted.
func (g *gatherer) ask(ctx context.Context, columns, from, where, id string, args []any, row func([][]byte) error) error {
	args = append([]any{g.key.client}, args...)
	if g.only != nil {
		args = append(args, g.only)
		where += " AND " + id + " = ANY($" + digits(len(args)) + ")"
	}
	alias, _, _ := strings.Cut(id, ".")
	return g.db.ask(ctx, g.only != nil, "SELECT "+columns+" FROM "+from+" WHERE "+alias+".client_id = $1"+where, args, func(rows pgx.Rows) error {
		for rows.Next() {
			if err := row(rows.RawValues()); err != nil {
				return err
			}
		}
		return rows.Err()
	})
}

func digits(n int) string { return string(rune('0' + n)) }

// readTrees reads the trees.
func (g *gatherer) readTrees(ctx context.Context) error {
	statuses := texts(inventory.TreeStatuses)
	g.trees, g.more = make(tiling.Gathered, 0, g.about), make([]treeMore, 0, g.about)
	g.tags = make([]byte, 0, 8*g.about)
	err := g.ask(ctx, "t.tree_id, t.geometry, t.tag, t.status", g.source.from("trees", "t"), " AND t.site_id = $2", "t.tree_id", []any{g.site.ID}, func(raw [][]byte) error {
		at, err := pointOf(raw[1])
		if err != nil {
			return err
		}
		p := tiling.Placed{ID: integer(raw[0])}
		m := treeMore{lon: at[0], lat: at[1], visited: never, status: math.MaxUint8}
		if m.nowhere = !tiling.Finite(at); !m.nowhere {
			p.Put(at)
		}
		if i := slices.Index(statuses, string(raw[3])); i >= 0 {
			m.status = uint8(i)
		}
		g.tags = m.addTag(g.tags, raw[2])
		g.trees, g.more = append(g.trees, p), append(g.more, m)
		return nil
	})
	g.at = newIDIndex(len(g.trees), func(i int) int64 { return g.trees[i].ID })
	return err
}

// readRated reads what is in force of them.
func (g *gatherer) readRated(ctx context.Context) error {
	g.rated = make([]rated, 0, g.about)
	from, on := siteStates{g.site}.exposuresFrom(false)
	return g.ask(ctx, "e.tree_id, e.rating, e.harm, "+peopleSQL+", e.vehicles, e.over", from, on, "e.tree_id", nil, func(raw [][]byte) error {
		g.rated = append(g.rated, rated{id: integer(raw[0]), rating: uint8(integer(raw[1])), harm: number(raw[2]), people: number(raw[3]), vehicles: number(raw[4]), over: uint32(integer(raw[5]))})
		return nil
	})
}

// readMarks reads what a tree's cuts or visits come to, from the join of that
// alias.
func (g *gatherer) readMarks(ctx context.Context, alias, columns string, put func(*treeMore, [][]byte)) error {
	table := featureTables["trees"]
	f := &featureSQL{table: table, source: g.source}
	for _, j := range table.joins {
		if j.alias != alias {
			continue
		}
		from, _ := f.joined(j)
		return g.ask(ctx, columns, from, "", alias+".tree_id", nil, func(raw [][]byte) error {
			if at, ok := g.at.find(integer(raw[0])); ok {
				put(&g.more[at], raw)
			}
			return nil
		})
	}
	return inventory.Errorf(inventory.Internal, "trees have no join %q", alias)
}
