package postgres

import "github.com/underbough/underbough/inventory/filter"

// column says what SQL a property is in a filter. All of it is constant text:
// what a request brings is only ever a parameter.
type column struct {
	sql string
	typ filter.Type
	// A list that is stored as a set of bits: the SQL of an integer, whose bit i
	// stands for words[i]. It is NULL where the list is.
	bits  string
	words []string
	// A geometry that is worked out from a stored one, beyond which it reaches by
	// no more than reachM metres: what it meets, the stored one's index finds.
	indexed string
	reachM  float64
}

// columnOf finds the column of a property; false where the collection has none.
type columnOf func(property string) (column, bool)
