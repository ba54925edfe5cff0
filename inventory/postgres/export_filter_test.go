package postgres

import "github.com/underbough/underbough/inventory/filter"

// FilterColumn is a column that a test filters by.
type FilterColumn struct {
	SQL     string
	Type    filter.Type
	Bits    string
	Words   []string
	Indexed string
	ReachM  float64
}

// CompileFilter lets a test see the SQL of a filter and its parameters.
func CompileFilter(e filter.Expr, columns map[string]FilterColumn) (conjuncts []string, args []any, err error) {
	var sql featureSQL
	conjuncts, err = compileFilter(&sql, e, func(property string) (column, bool) {
		c, ok := columns[property]
		return column{sql: c.SQL, typ: c.Type, bits: c.Bits, words: c.Words, indexed: c.Indexed, reachM: c.ReachM}, ok
	})
	return conjuncts, sql.args, err
}

// FoldingSQL is the constant SQL of CASEI and ACCENTI, about what is folded.
var FoldingSQL = []string{caseFold, accentFold}

// Translate is what becomes of a database's error.
var Translate = translate
