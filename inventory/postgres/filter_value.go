package postgres

import (
	"fmt"
	"strings"

	"github.com/underbough/underbough/inventory/filter"
)

// comparison compares two values of one type. Texts are ordered by their
// characters, as the standard's expected counts are; equality is left to the
// column's own collation, whose index serves it.
func (c *filterSQL) comparison(op string, a, b filter.Expr) (string, error) {
	as := c.common(a, b)
	if as == filter.DateType || as == filter.TimestampType {
		return c.instants(a, op, b)
	}
	left, err := c.value(a, as)
	if err != nil {
		return "", err
	}
	right, err := c.value(b, as)
	if err != nil {
		return "", err
	}
	order := ""
	if as == filter.TextType && op != "=" && op != "<>" {
		order = ` COLLATE "C"`
	}
	return fmt.Sprintf("(%s%s %s %s%s)", left, order, comparisons[op], right, order), nil
}

// comparisons are the operators of SQL, by those of the standard.
var comparisons = map[string]string{"=": "=", "<>": "<>", "<": "<", ">": ">", "<=": "<=", ">=": ">="}

// common is the type in which values are compared: that of the first one known.
func (c *filterSQL) common(list ...filter.Expr) filter.Type {
	for _, e := range list {
		if t := c.typeOf(e); t != filter.UnknownType {
			return t
		}
	}
	return filter.TextType
}

func (c *filterSQL) between(e *filter.Op) (string, error) {
	as := c.common(e.Args...)
	if as == filter.DateType || as == filter.TimestampType {
		low, err := c.instants(e.Args[0], ">=", e.Args[1])
		if err != nil {
			return "", err
		}
		high, err := c.instants(e.Args[0], "<=", e.Args[2])
		return "(" + low + " AND " + high + ")", err
	}
	var sql [3]string
	for i, a := range e.Args {
		s, err := c.value(a, as)
		if err != nil {
			return "", err
		}
		if as == filter.TextType {
			s = "(" + s + ` COLLATE "C")`
		}
		sql[i] = s
	}
	return fmt.Sprintf("(%s BETWEEN %s AND %s)", sql[0], sql[1], sql[2]), nil
}

// in compares with each item: an item that is NULL leaves the answer open unless
// another is equal.
func (c *filterSQL) in(e *filter.Op) (string, error) {
	list, ok := e.Args[1].(*filter.Array)
	if !ok {
		return "", unchecked(e)
	}
	as := c.common(append([]filter.Expr{e.Args[0]}, list.Items...)...)
	if as == filter.DateType || as == filter.TimestampType {
		parts := make([]string, len(list.Items))
		for i, item := range list.Items {
			var err error
			if parts[i], err = c.instants(e.Args[0], "=", item); err != nil {
				return "", err
			}
		}
		return "(" + strings.Join(parts, " OR ") + ")", nil
	}
	left, err := c.value(e.Args[0], as)
	if err != nil {
		return "", err
	}
	right, err := c.array(list, as)
	return fmt.Sprintf("(%s = ANY(%s))", left, right), err
}

// like matches a pattern, which comes as a parameter.
func (c *filterSQL) like(e *filter.Op) (string, error) {
	left, err := c.value(e.Args[0], filter.TextType)
	if err != nil {
		return "", err
	}
	pattern, err := c.value(e.Args[1], filter.TextType)
	return fmt.Sprintf(`(%s COLLATE "C" LIKE %s COLLATE "C" ESCAPE '\')`, left, pattern), err
}

// isNull tests whether a value is missing; an interval's is where either end is.
func (c *filterSQL) isNull(e filter.Expr) (string, error) {
	switch e := e.(type) {
	case *filter.Property:
		col, err := c.column(e)
		return "((" + col.sql + ") IS NULL)", err
	case *filter.Interval:
		var parts []string
		for _, end := range []filter.Expr{e.Start, e.End} {
			if end == nil {
				continue
			}
			s, err := c.isNull(end)
			if err != nil {
				return "", err
			}
			parts = append(parts, s)
		}
		if parts == nil {
			return "false", nil
		}
		return "(" + strings.Join(parts, " OR ") + ")", nil
	case *filter.Geometry, *filter.BBox, *filter.Array:
		return "false", nil
	}
	s, err := c.value(e, c.typeOf(e))
	return "(" + s + " IS NULL)", err
}

// arithmetic computes in double precision. What is divided by zero is NULL, so
// that one row with a zero does not spoil the answer about all others; the
// standard does not say. Whatever else cannot be computed is the database's
// error 22…, which translate makes one of the request.
func (c *filterSQL) arithmetic(e *filter.Op) (string, error) {
	a, err := c.value(e.Args[0], filter.NumberType)
	if err != nil {
		return "", err
	}
	b, err := c.value(e.Args[1], filter.NumberType)
	switch e.Name {
	case "+":
		return fmt.Sprintf("(%s + %s)", a, b), err
	case "-":
		return fmt.Sprintf("(%s - %s)", a, b), err
	case "*":
		return fmt.Sprintf("(%s * %s)", a, b), err
	case "/":
		return fmt.Sprintf("(%s / NULLIF(%s, 0))", a, b), err
	case "div": // whole numbers of times, as SQL's div
		return fmt.Sprintf("trunc(%s / NULLIF(%s, 0))", a, b), err
	case "%": // the remainder has the sign of the dividend, as SQL's mod
		return fmt.Sprintf("mod((%s)::numeric, NULLIF(%s, 0)::numeric)::float8", a, b), err
	}
	return fmt.Sprintf("power(%s, %s)", a, b), err
}
