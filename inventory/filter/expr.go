// Package filter holds CQL2 (OGC 21-065r2), whole: its text and its JSON encoding
// are both read into one syntax tree, which is checked against the properties of
// what is filtered before anything is done with it. It is pure.
//
// Where the standard leaves something open, this is how it is here:
//
//   - A text is never taken for a number or a date: DATE('2026-01-31').
//   - A literal date beside a timestamp is the whole of that day in UTC; the day
//     that a property holds, beside a timestamp, is its midnight.
//   - BETWEEN takes texts, dates and timestamps as well as numbers.
//   - A backslash before a character that it does not escape stays, so that a
//     pattern of LIKE writes 100\% for a percent sign; \\ is one backslash.
//   - A property whose name is a word of the language, or is no identifier at all,
//     stands in double quotes; a double quote in it is doubled.
//   - A minus binds more strongly than ^, as in the grammar: -2 ^ 2 is 4.
//   - Brackets about one argument of a function are a list, unless they hold an
//     operator; a comma makes a list of that: f((a + 1,)).
//   - Numbers are doubles. What is divided by zero is NULL.
package filter

import (
	"time"

	"github.com/twpayne/go-geom"
)

// Expr is a node of the syntax tree: a pointer to one of the types below.
type Expr interface {
	// At is where the node begins in the text, in bytes from 0; -1 where it did
	// not come from text.
	At() int
	// Column is the same in characters from 1; 0 where it did not come from text.
	Column() int
}

// at is embedded by every node. Left out, it says that the node did not come
// from text.
type at struct{ offset, column int32 }

// At is where the node begins.
func (a at) At() int {
	if a.column == 0 {
		return -1
	}
	return int(a.offset)
}

// Column is where the node begins.
func (a at) Column() int { return int(a.column) }

// The leaves.
type (
	// Property is the value of a property by its name.
	Property struct {
		at
		Name string
	}
	// String is a literal text.
	String struct {
		at
		Value string
	}
	// Number is a literal number.
	Number struct {
		at
		Value float64
	}
	// Bool is true or false.
	Bool struct {
		at
		Value bool
	}
	// Date is a day, at midnight UTC.
	Date struct {
		at
		Value time.Time
	}
	// Timestamp is an instant, in UTC.
	Timestamp struct {
		at
		Value time.Time
	}
	// Interval is from Start to End; each is a Date, a Timestamp or a Property,
	// and nil where the interval is open on that side.
	Interval struct {
		at
		Start, End Expr
	}
	// Geometry is a literal geometry. Its SRID is the reference system of its
	// coordinates, which are x and y in that order; 0 stands for longitude and
	// latitude on WGS 84.
	Geometry struct {
		at
		Geometry geom.T
	}
	// BBox is a box of 4 or 6 numbers, the lower corner first, in the reference
	// system SRID as in Geometry. West of more than east crosses the antimeridian.
	BBox struct {
		at
		Numbers []float64
		SRID    int
	}
)

// The branches.
type (
	// Array is a list of expressions.
	Array struct {
		at
		Items []Expr
	}
	// Op is a predicate or an operation of the standard by the name of its JSON
	// encoding, such as "and", "<=", "isNull", "between", "s_intersects". Its
	// arguments are those of the JSON encoding: NOT BETWEEN, NOT IN, NOT LIKE and
	// IS NOT NULL are "not" of the positive form; "between" has three arguments
	// and the second argument of "in" is an Array.
	Op struct {
		at
		Name string
		Args []Expr
	}
	// Call is a function that the service declares itself.
	Call struct {
		at
		Name string
		Args []Expr
	}
)

// Type is the type of a property, of an argument or of an expression.
type Type uint8

// The types.
const (
	UnknownType Type = iota // of an expression that is NULL whatever comes
	TextType
	NumberType
	BoolType
	DateType      // a day
	TimestampType // an instant
	IntervalType
	GeometryType
	ListType // of texts
)

// Schema says what a filter may speak of.
type Schema interface {
	// PropertyType returns the type of a property; false where there is none.
	PropertyType(name string) (Type, bool)
}

// And joins conditions, leaving out those that are nil; nil where all are.
func And(list ...Expr) Expr {
	var args []Expr
	for _, e := range list {
		if e != nil {
			args = append(args, e)
		}
	}
	switch len(args) {
	case 0:
		return nil
	case 1:
		return args[0]
	}
	return &Op{Name: "and", Args: args}
}

// In says that a property has one of some values. There must be one at least.
func In(property string, values ...Expr) Expr {
	p := &Property{Name: property}
	if len(values) == 1 {
		return &Op{Name: "=", Args: []Expr{p, values[0]}}
	}
	return &Op{Name: "in", Args: []Expr{p, &Array{Items: values}}}
}

// Overlaps says that a list has one of some words.
func Overlaps(property string, words ...string) Expr {
	items := make([]Expr, len(words))
	for i, w := range words {
		items[i] = &String{Value: w}
	}
	return &Op{Name: "a_overlaps", Args: []Expr{&Property{Name: property}, &Array{Items: items}}}
}
