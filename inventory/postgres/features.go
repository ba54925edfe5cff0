package postgres

import (
	"context"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

// FindFeatures hands on the features of a stored collection in the order of
// their ids, as they come from the database.
func (db *DB) FindFeatures(ctx context.Context, q inventory.FeatureQuery, fn func(*inventory.Feature) error) error {
	table, err := tableOf(q.Collection)
	if err != nil {
		return err
	}
	var sql featureSQL
	sql.text.WriteString("SELECT " + table.id + "::bigint, " + table.geometry)
	for _, p := range q.Collection.Properties {
		fmt.Fprintf(&sql.text, ", (%s)::%s", table.expression(p.Name), casts[p.Type])
	}
	sql.where(table, q)
	if q.After.OK {
		sql.text.WriteString(" AND " + table.id + " > " + sql.arg(q.After.V[0]))
	}
	sql.text.WriteString(" ORDER BY " + table.id + " LIMIT " + sql.arg(q.Limit))

	return db.reading(ctx, func(tx pgx.Tx) error {
		// One format for all columns: geometry has a binary form too, which pgx
		// would not ask for of a type it does not know.
		rows, err := tx.Query(ctx, sql.text.String(), append([]any{pgx.QueryResultFormats{pgx.BinaryFormatCode}}, sql.args...)...)
		if err != nil {
			return err
		}
		defer rows.Close()
		reader := newFeatureRow(q.Collection)
		for rows.Next() {
			f, err := reader.read(rows.RawValues())
			if err != nil {
				return err
			}
			if err := fn(f); err != nil {
				return err
			}
		}
		return rows.Err()
	})
}

// CountFeatures counts the features that a query holds for, whatever its page,
// and stops at limit + 1.
func (db *DB) CountFeatures(ctx context.Context, q inventory.FeatureQuery, limit int) (n int, err error) {
	table, err := tableOf(q.Collection)
	if err != nil {
		return 0, err
	}
	var sql featureSQL
	sql.text.WriteString("SELECT count(*) FROM (SELECT 1")
	sql.where(table, q)
	sql.text.WriteString(" LIMIT " + sql.arg(limit+1) + ") counted")
	err = db.reading(ctx, func(tx pgx.Tx) error {
		return tx.QueryRow(ctx, sql.text.String(), sql.args...).Scan(&n)
	})
	return n, err
}

// FeatureExtent returns the box about all features of a stored collection.
func (db *DB) FeatureExtent(ctx context.Context, client inventory.ClientID, c *inventory.Collection) (b orb.Bound, ok bool, err error) {
	table, err := tableOf(c)
	if err != nil {
		return b, false, err
	}
	var side [4]*float64
	err = db.pool.QueryRow(ctx, `SELECT ST_XMin(b), ST_YMin(b), ST_XMax(b), ST_YMax(b)
		FROM (SELECT ST_Extent(`+table.geometry+`) b FROM `+table.from+` WHERE `+table.client+` = $1) x`, client).
		Scan(&side[0], &side[1], &side[2], &side[3])
	if err != nil || side[0] == nil {
		return b, false, translate(err)
	}
	return orb.Bound{Min: orb.Point{*side[0], *side[1]}, Max: orb.Point{*side[2], *side[3]}}, true, nil
}

// FeatureState tells states of the inventory apart. Each statement that
// changes something leaves a row in touched until a run takes it into account
// and raises the generation; a sum and a count, unlike a maximum, also see a
// row whose transaction began earlier and ended later.
func (db *DB) FeatureState(ctx context.Context, client inventory.ClientID) (state string, err error) {
	err = db.pool.QueryRow(ctx, `
		SELECT md5(coalesce((SELECT string_agg(concat_ws(e'\x01', s.site_id, s.xmin, s.name, s.time_zone, s.generation), e'\x02' ORDER BY s.site_id)
		                     FROM sites s WHERE s.client_id = $1), '')
		   || e'\x03' || (SELECT concat_ws(e'\x01', count(*), sum(touched_id)) FROM touched WHERE client_id = $1))`, client).Scan(&state)
	return state, translate(err)
}

func tableOf(c *inventory.Collection) (*featureTable, error) {
	table, ok := featureTables[c.ID]
	if !ok {
		return nil, inventory.Errorf(inventory.Internal, "collection %q is not stored", c.ID)
	}
	return table, nil
}

// featureSQL gathers a statement and its parameters.
type featureSQL struct {
	text strings.Builder
	args []any
}

// arg adds a parameter and returns its name.
func (s *featureSQL) arg(v any) string {
	s.args = append(s.args, v)
	return fmt.Sprintf("$%d", len(s.args))
}

// where writes FROM and the conditions of a query but for its page.
func (s *featureSQL) where(table *featureTable, q inventory.FeatureQuery) {
	s.text.WriteString(" FROM " + table.from + " WHERE " + table.client + " = " + s.arg(q.Client))
	if q.ID.OK {
		s.text.WriteString(" AND " + table.id + " = " + s.arg(q.ID.V))
	}
	s.boxes(table, q.Boxes)
	for i := range q.Filters {
		s.text.WriteString(" AND ")
		s.filter(table, q.Collection, &q.Filters[i])
	}
}

// boxes keeps what meets any of the boxes. The index answers && with boxes of
// single precision, so each match is looked at again. What has no geometry
// meets every box (OGC API - Features, fc-bbox-response).
func (s *featureSQL) boxes(table *featureTable, boxes []orb.Bound) {
	if len(boxes) == 0 {
		return
	}
	var any []string
	for _, b := range boxes {
		w, so, e, n := s.arg(b.Min[0]), s.arg(b.Min[1]), s.arg(b.Max[0]), s.arg(b.Max[1])
		envelope := fmt.Sprintf("ST_MakeEnvelope(%s, %s, %s, %s, 4326)", w, so, e, n)
		if table.points {
			any = append(any, fmt.Sprintf("(%[1]s && %[2]s AND ST_X(%[1]s) BETWEEN %[3]s AND %[4]s AND ST_Y(%[1]s) BETWEEN %[5]s AND %[6]s)",
				table.geometry, envelope, w, e, so, n))
		} else {
			any = append(any, fmt.Sprintf("ST_Intersects(%s, %s)", table.geometry, envelope))
		}
	}
	if !table.points {
		any = append(any, table.geometry+" IS NULL")
	}
	s.text.WriteString(" AND (" + strings.Join(any, " OR ") + ")")
}

func (s *featureSQL) filter(table *featureTable, c *inventory.Collection, f *inventory.Filter) {
	p, ok := c.Property(f.Property)
	if !ok {
		s.text.WriteString("false")
		return
	}
	sql := table.expression(f.Property)
	switch p.Type {
	case inventory.Integer:
		fmt.Fprintf(&s.text, "(%s)::bigint = ANY(%s::bigint[])", sql, s.arg(f.Ints))
	case inventory.Boolean:
		fmt.Fprintf(&s.text, "(%s)::int = ANY(%s::bigint[])", sql, s.arg(f.Ints))
	case inventory.Number:
		// The figure asked for is one that was served, rounded.
		fmt.Fprintf(&s.text, "EXISTS (SELECT FROM unnest(%s::float8[]) v WHERE abs((%s)::float8 - v) < %s)", s.arg(f.Floats), sql, s.arg(p.Tolerance()))
	case inventory.Date:
		fmt.Fprintf(&s.text, "(%s)::date = ANY(%s::date[])", sql, s.arg(f.Times))
	case inventory.Timestamp:
		fmt.Fprintf(&s.text, "date_trunc('milliseconds', (%s)::timestamptz) = ANY(%s::timestamptz[])", sql, s.arg(f.Times))
	case inventory.TextList:
		if p.Name == "over" || p.Name == "within" {
			fmt.Fprintf(&s.text, "e.%s & %s <> 0", p.Name, s.arg(kindSet(f.Texts)))
			return
		}
		if p.Name == "cut_kinds" {
			// By the cuts' own key rather than by building every tree's list. The
			// client is named by the first parameter, as in where: compared with
			// the tree's, it would make the planner take the matches for few.
			fmt.Fprintf(&s.text, "EXISTS (SELECT FROM cuts k WHERE k.client_id = $1 AND k.tree_id = t.tree_id AND k.kind = ANY(%s::text[]))", s.arg(f.Texts))
			return
		}
		fmt.Fprintf(&s.text, "(%s) && %s::text[]", sql, s.arg(f.Texts))
	default:
		fmt.Fprintf(&s.text, "(%s)::text = ANY(%s::text[])", sql, s.arg(f.Texts))
	}
}

// kindSet is the set of the kinds of target that words name; a word that is none
// adds nothing.
func kindSet(words []string) int32 {
	var set ranking.Kinds
	for _, w := range words {
		if at := inventory.TargetKind(w).KindIndex(); at >= 0 {
			set |= 1 << at
		}
	}
	return int32(set)
}
