package postgres

import (
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
)

// compileFilter turns a filter that filter.Check has passed into conditions of
// SQL, one for each part of its outermost AND, to be joined by AND in a WHERE
// clause. There a condition that is NULL leaves a row out; within a condition
// three-valued logic is SQL's own. Nothing of the filter gets into the text of
// the SQL: literals are parameters, properties and functions are looked up.
//
// No operand's SQL is ever written twice where it may itself hold operations, so
// that the text grows with the filter and not by its powers.
func compileFilter(sql *featureSQL, e filter.Expr, of columnOf) (conjuncts []string, err error) {
	c := &filterSQL{featureSQL: sql, of: of}
	for _, part := range conjunction(e, nil) {
		condition, err := c.condition(part)
		if err != nil {
			return nil, err
		}
		conjuncts = append(conjuncts, condition)
		prefilter, err := c.prefilter(part)
		if err != nil {
			return nil, err
		}
		if prefilter != "" {
			conjuncts = append(conjuncts, prefilter)
		}
	}
	return conjuncts, nil
}

// conjunction appends the parts of the outermost AND.
func conjunction(e filter.Expr, parts []filter.Expr) []filter.Expr {
	if op, ok := e.(*filter.Op); ok && op.Name == "and" {
		for _, a := range op.Args {
			parts = conjunction(a, parts)
		}
		return parts
	}
	if e == nil {
		return parts
	}
	return append(parts, e)
}

// filterSQL compiles a filter into a statement.
type filterSQL struct {
	*featureSQL
	of columnOf
}

// unchecked is the error about a filter that filter.Check would have refused.
func unchecked(e filter.Expr) error {
	return inventory.Errorf(inventory.Internal, "a filter was not checked before it came to the database: %s", filter.Text(e))
}

// column is the column of a property.
func (c *filterSQL) column(e *filter.Property) (column, error) {
	col, ok := c.of(e.Name)
	if !ok {
		return column{}, inventory.Errorf(inventory.Invalid, "there is no property %q", e.Name)
	}
	if col.typ == filter.UnknownType {
		col.sql = "NULL"
	}
	return col, nil
}

// typeOf is the type of an expression.
func (c *filterSQL) typeOf(e filter.Expr) filter.Type {
	switch e := e.(type) {
	case *filter.Property:
		col, _ := c.of(e.Name)
		return col.typ
	case *filter.String:
		return filter.TextType
	case *filter.Number:
		return filter.NumberType
	case *filter.Date:
		return filter.DateType
	case *filter.Timestamp:
		return filter.TimestampType
	case *filter.Interval:
		return filter.IntervalType
	case *filter.Geometry, *filter.BBox:
		return filter.GeometryType
	case *filter.Array:
		return filter.ListType
	case *filter.Call:
		if f, ok := filter.FunctionNamed(e.Name); ok {
			return f.Returns
		}
	case *filter.Op:
		switch e.Name {
		case "casei", "accenti":
			return filter.TextType
		case "+", "-", "*", "/", "%", "div", "^":
			return filter.NumberType
		}
		return filter.BoolType
	case *filter.Bool:
		return filter.BoolType
	}
	return filter.UnknownType
}

// wireTypes are the SQL types in which values are computed and compared.
var wireTypes = map[filter.Type]string{
	filter.TextType:      "text",
	filter.NumberType:    "float8",
	filter.BoolType:      "bool",
	filter.DateType:      "date",
	filter.TimestampType: "timestamptz",
	filter.UnknownType:   "text",
}

// value compiles an expression of a scalar type, given as that type.
func (c *filterSQL) value(e filter.Expr, as filter.Type) (string, error) {
	cast := "::" + wireTypes[as]
	switch e := e.(type) {
	case *filter.Property:
		col, err := c.column(e)
		return "(" + col.sql + ")" + cast, err
	case *filter.String:
		return c.arg(e.Value) + cast, nil
	case *filter.Number:
		return c.arg(e.Value) + cast, nil
	case *filter.Bool:
		return c.arg(e.Value) + cast, nil
	case *filter.Date:
		return c.arg(e.Value) + cast, nil
	case *filter.Timestamp:
		return c.arg(e.Value) + cast, nil
	case *filter.Call:
		return c.call(e)
	case *filter.Op:
		return c.operation(e)
	}
	return "", unchecked(e)
}

// condition compiles an expression that is true, false or NULL.
func (c *filterSQL) condition(e filter.Expr) (string, error) {
	return c.value(e, filter.BoolType)
}

// operation compiles an operation; what it returns can stand as an operand.
func (c *filterSQL) operation(e *filter.Op) (string, error) {
	switch e.Name {
	case "and", "or":
		return c.joined(e)
	case "not":
		s, err := c.condition(e.Args[0])
		return "(NOT " + s + ")", err
	case "=", "<>", "<", ">", "<=", ">=":
		return c.comparison(e.Name, e.Args[0], e.Args[1])
	case "between":
		return c.between(e)
	case "in":
		return c.in(e)
	case "like":
		return c.like(e)
	case "isNull":
		return c.isNull(e.Args[0])
	case "casei", "accenti":
		return c.folded(e)
	case "+", "-", "*", "/", "%", "div", "^":
		return c.arithmetic(e)
	case "a_equals", "a_contains", "a_containedBy", "a_overlaps":
		return c.lists(e)
	}
	switch {
	case strings.HasPrefix(e.Name, "t_"):
		return c.temporal(e)
	case spatialFunctions[e.Name] != "":
		return c.spatial(e)
	}
	return "", unchecked(e)
}

func (c *filterSQL) joined(e *filter.Op) (string, error) {
	parts := make([]string, len(e.Args))
	for i, a := range e.Args {
		var err error
		if parts[i], err = c.condition(a); err != nil {
			return "", err
		}
	}
	if e.Name == "and" {
		return "(" + strings.Join(parts, " AND ") + ")", nil
	}
	return "(" + strings.Join(parts, " OR ") + ")", nil
}
