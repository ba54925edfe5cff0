package postgres

import (
	"fmt"
	"slices"
	"strings"

	"github.com/underbough/underbough/inventory/filter"
)

// array compiles a list of scalars. One of texts alone is a single parameter.
func (c *filterSQL) array(list *filter.Array, as filter.Type) (string, error) {
	if as == filter.ListType || as == filter.UnknownType {
		as = filter.TextType
	}
	if texts, ok := textsOf(list); ok {
		return c.arg(texts) + "::text[]", nil
	}
	items := make([]string, len(list.Items))
	for i, item := range list.Items {
		var err error
		if items[i], err = c.value(item, as); err != nil {
			return "", err
		}
	}
	return "ARRAY[" + strings.Join(items, ", ") + "]::" + wireTypes[as] + "[]", nil
}

// textsOf returns the items of a list that are all literal texts.
func textsOf(list *filter.Array) (texts []string, ok bool) {
	texts = []string{}
	for _, item := range list.Items {
		s, ok := item.(*filter.String)
		if !ok {
			return nil, false
		}
		texts = append(texts, s.Value)
	}
	return texts, len(texts) > 0
}

// lists compares two lists as sets.
func (c *filterSQL) lists(e *filter.Op) (string, error) {
	name, a, b := e.Name, e.Args[0], e.Args[1]
	if s, ok, err := c.words(name, a, b); ok || err != nil {
		return s, err
	}
	if s, ok, err := c.words(converse[name], b, a); ok || err != nil {
		return s, err
	}
	as := filter.TextType
	for _, operand := range e.Args {
		if list, ok := operand.(*filter.Array); ok && len(list.Items) > 0 {
			as = c.common(list.Items...)
			if as == filter.DateType {
				as = c.finest(list.Items)
			}
		}
	}
	left, err := c.list(a, as)
	if err != nil {
		return "", err
	}
	right, err := c.list(b, as)
	if err != nil {
		return "", err
	}
	switch name {
	case "a_contains":
		return fmt.Sprintf("(%s @> %s)", left, right), nil
	case "a_containedBy":
		return fmt.Sprintf("(%s <@ %s)", left, right), nil
	case "a_overlaps":
		return fmt.Sprintf("(%s && %s)", left, right), nil
	}
	return fmt.Sprintf("(SELECT l @> r AND l <@ r FROM (SELECT %s AS l, %s AS r) both_sides)", left, right), nil
}

// converse is what is said of b and a by what is said of a and b.
var converse = map[string]string{
	"a_equals": "a_equals", "a_overlaps": "a_overlaps", "a_contains": "a_containedBy", "a_containedBy": "a_contains",
}

// finest is timestamps where there is one among dates.
func (c *filterSQL) finest(items []filter.Expr) filter.Type {
	for _, item := range items {
		if c.typeOf(item) == filter.TimestampType {
			return filter.TimestampType
		}
	}
	return filter.DateType
}

func (c *filterSQL) list(e filter.Expr, as filter.Type) (string, error) {
	switch e := e.(type) {
	case *filter.Property:
		col, err := c.column(e)
		return "(" + col.sql + ")::" + wireTypes[as] + "[]", err
	case *filter.Array:
		return c.array(e, as)
	}
	return "", unchecked(e)
}

// unknownWord is a bit that no stored set has: it stands for a word that is none
// of the column's.
const unknownWord = 1 << 62

// words compares a list that is stored as bits with literal words, by whole
// numbers; ok is false where the operands are not of that kind. The column's own
// NULL stays.
func (c *filterSQL) words(name string, a, b filter.Expr) (sql string, ok bool, err error) {
	p, isProperty := a.(*filter.Property)
	list, isList := b.(*filter.Array)
	if !isProperty || !isList {
		return "", false, nil
	}
	col, err := c.column(p)
	if err != nil || col.bits == "" {
		return "", false, err
	}
	texts, ok := textsOf(list)
	if !ok && len(list.Items) > 0 {
		return "", false, nil
	}
	var set int64
	for _, t := range texts {
		if i := slices.Index(col.words, t); i >= 0 {
			set |= 1 << i
		} else {
			set |= unknownWord
		}
	}
	bits := "(" + col.bits + ")::bigint"
	switch name {
	case "a_contains":
		all := c.arg(set)
		return fmt.Sprintf("(%s & %s::bigint = %s::bigint)", bits, all, all), true, nil
	case "a_containedBy":
		return fmt.Sprintf("(%s & %s::bigint = 0)", bits, c.arg(^set)), true, nil
	case "a_overlaps":
		return fmt.Sprintf("(%s & %s::bigint <> 0)", bits, c.arg(set&^unknownWord)), true, nil
	}
	return fmt.Sprintf("(%s = %s::bigint)", bits, c.arg(set)), true, nil
}
