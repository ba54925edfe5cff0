package postgres

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb/encoding/ewkb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
)

// FilterFeatures reports of each feature of a computed collection whether a
// filter holds for it. The features go to the database as rows, so that filters
// mean the same for them as for what is stored.
func (db *DB) FilterFeatures(ctx context.Context, c *inventory.Collection, e filter.Expr, list []inventory.Feature) ([]bool, error) {
	r := &recordset{collection: c, list: list, columns: make(map[string]int)}
	conditions, err := compileFilter(&r.sql, e, r.column)
	if err != nil {
		return nil, err
	}
	if len(r.names) == 0 { // it speaks of no property
		r.column(inventory.GeometryProperty)
	}
	sql := `SELECT r.place FROM (SELECT ` + strings.Join(r.columnSQL, ", ") + `, u.place FROM unnest(` + strings.Join(r.names, ", ") + `) WITH ORDINALITY u(` +
		strings.Join(r.aliases, ", ") + `, place)) r WHERE (` + strings.Join(conditions, ") AND (") + `)`
	wanted := make([]bool, len(list))
	err = db.ask(ctx, true, sql, r.sql.args, func(rows pgx.Rows) error {
		for rows.Next() {
			wanted[integer(rows.RawValues()[0])-1] = true
		}
		return rows.Err()
	})
	return wanted, err
}

// recordset is features as rows of a statement, an array for each column that a
// filter speaks of.
type recordset struct {
	sql        featureSQL
	collection *inventory.Collection
	list       []inventory.Feature
	columns    map[string]int
	names      []string // the arrays, as parameters
	aliases    []string
	columnSQL  []string
}

func (r *recordset) column(name string) (column, bool) {
	if at, ok := r.columns[name]; ok {
		return r.described(name, at), true
	}
	array, cast, ok := r.array(name)
	if !ok {
		return column{}, false
	}
	at := len(r.names)
	r.columns[name] = at
	alias := fmt.Sprintf("c%d", at)
	r.names = append(r.names, r.sql.arg(array)+"::"+cast+"[]")
	r.aliases = append(r.aliases, alias)
	if cast == "bytea" {
		r.columnSQL = append(r.columnSQL, "ST_GeomFromEWKB(u."+alias+") AS "+alias)
	} else {
		r.columnSQL = append(r.columnSQL, "u."+alias)
	}
	return r.described(name, at), true
}

func (r *recordset) described(name string, at int) column {
	sql := fmt.Sprintf("r.c%d", at)
	if name == inventory.GeometryProperty {
		return column{sql: sql, typ: filter.GeometryType}
	}
	p, _ := r.collection.Property(name)
	typ, _ := p.FilterType()
	o := origin{sql: sql}
	return column{sql: o.filterSQL(p), typ: typ}
}

// array gathers the values of one column.
func (r *recordset) array(name string) (array any, cast string, ok bool) {
	if name == inventory.GeometryProperty {
		return gather(r.list, func(f *inventory.Feature) *[]byte {
			if f.Geometry == nil {
				return nil
			}
			b, err := ewkb.Marshal(f.Geometry, 4326)
			if err != nil {
				return nil
			}
			return &b
		}), "bytea", true
	}
	at := slices.IndexFunc(r.collection.Properties, func(p inventory.Property) bool { return p.Name == name })
	if at < 0 {
		return nil, "", false
	}
	switch r.collection.Properties[at].Type {
	case inventory.Text:
		return gather(r.list, valueOf(at, func(v *inventory.Value) string { return string(v.Bytes) })), "text", true
	case inventory.Integer:
		return gather(r.list, valueOf(at, func(v *inventory.Value) int64 { return v.Int })), "bigint", true
	case inventory.Boolean:
		return gather(r.list, valueOf(at, func(v *inventory.Value) bool { return v.Int != 0 })), "boolean", true
	case inventory.Number:
		return gather(r.list, valueOf(at, func(v *inventory.Value) float64 { return v.Float })), "float8", true
	}
	return nil, "", false
}

func gather[T any](list []inventory.Feature, of func(*inventory.Feature) *T) []*T {
	out := make([]*T, len(list))
	for i := range list {
		out[i] = of(&list[i])
	}
	return out
}

func valueOf[T any](at int, of func(*inventory.Value) T) func(*inventory.Feature) *T {
	return func(f *inventory.Feature) *T {
		v := &f.Values[at]
		if v.Null {
			return nil
		}
		out := of(v)
		return &out
	}
}
