package filter

import (
	"fmt"
	"strings"
)

// comparable sees that values can be compared with the first of them: all texts,
// all numbers, all booleans, or all dates and timestamps.
func (c *checker) comparable(e *Op, path string, args []Expr, types []Type) error {
	if e.Name == "between" && types[0] == BoolType {
		return c.fail(args[0], path+"/0", "BETWEEN has %s, a boolean: expected a number", describe(args[0]))
	}
	first, firstType := args[0], UnknownType
	for i, t := range types {
		place := fmt.Sprintf("%s/%d", path, i)
		switch {
		case t == GeometryType:
			return c.fail(args[i], place, "%s has %s, a geometry: expected S_EQUALS or another S_ function for geometries", shown(e.Name), describe(args[i]))
		case t == ListType:
			return c.fail(args[i], place, "%s has %s, a list: expected A_EQUALS or another A_ function for lists", shown(e.Name), describe(args[i]))
		case t == IntervalType:
			return c.fail(args[i], place, "%s has an interval: expected T_EQUALS or another T_ function for intervals", shown(e.Name))
		case t == UnknownType:
		case firstType == UnknownType:
			first, firstType = args[i], t
		case t == firstType, t.instant() && firstType.instant():
		default:
			return c.fail(args[i], place, "%s compares %s, %s, with %s, %s: %s", shown(e.Name), describe(first), a(firstType), describe(args[i]), a(t), hint(firstType, t))
		}
	}
	return nil
}

// hint says how a literal of the right type is written.
func hint(x, y Type) string {
	if x != TextType && y != TextType {
		return "expected the same type on both sides"
	}
	switch {
	case x == DateType || y == DateType:
		return "a date is written DATE('2026-01-31')"
	case x == TimestampType || y == TimestampType:
		return "a timestamp is written TIMESTAMP('2026-01-31T12:00:00Z')"
	case x == NumberType || y == NumberType:
		return "a number is written without quotes"
	case x == BoolType || y == BoolType:
		return "a boolean is written TRUE or FALSE"
	}
	return "expected the same type on both sides"
}

// like sees to the pattern, which is a literal, folded or not (rule
// patternExpression).
func (c *checker) like(e *Op, path string, types []Type) error {
	if err := c.all(e, path, types, "a text", TextType); err != nil {
		return err
	}
	pattern := e.Args[1]
	for {
		op, ok := pattern.(*Op)
		if !ok || operations[op.Name].family != folding {
			break
		}
		pattern = op.Args[0]
	}
	s, ok := pattern.(*String)
	if !ok {
		return c.fail(pattern, path+"/1", "the pattern of LIKE is %s: expected a text in quotes, alone or in CASEI or ACCENTI", describe(pattern))
	}
	if n := len(s.Value) - len(strings.TrimRight(s.Value, `\`)); n%2 == 1 {
		return c.fail(s, path+"/1", `the pattern %s ends with a \ that escapes nothing`, quoted(s.Value))
	}
	return nil
}

// in sees that the items can be compared with the value before them.
func (c *checker) in(e *Op, path string) error {
	items := e.Args[1].(*Array).Items
	t, err := c.typeOf(e.Args[0], path+"/0")
	if err != nil {
		return err
	}
	types, err := c.types(items, path+"/1")
	if err != nil {
		return err
	}
	for i, item := range items {
		if err := c.comparable(e, path, []Expr{e.Args[0], item}, []Type{t, types[i]}); err != nil {
			if at, ok := err.(*Error); ok && at.Path == path+"/1" {
				at.Path = fmt.Sprintf("%s/1/%d", path, i)
			}
			return err
		}
	}
	return nil
}

// lists sees that both operands of an A_ function are lists of the same.
func (c *checker) lists(e *Op, path string) error {
	var of [2]Type
	for i, arg := range e.Args {
		place := fmt.Sprintf("%s/%d", path, i)
		if list, ok := arg.(*Array); ok {
			t, err := c.items(list, place)
			if err != nil {
				return err
			}
			of[i] = t
			continue
		}
		t, err := c.typeOf(arg, place)
		switch {
		case err != nil:
			return err
		case t == ListType:
			of[i] = TextType
		case t != UnknownType:
			return c.fail(arg, place, "%s has %s, %s: expected a list", shown(e.Name), describe(arg), a(t))
		}
	}
	if of[0] != of[1] && of[0] != UnknownType && of[1] != UnknownType {
		return c.fail(e.Args[1], path+"/1", "%s compares a list of %ss with one of %ss", shown(e.Name), of[0], of[1])
	}
	return nil
}

// items checks a list and returns the type of its items; UnknownType where there
// are none.
func (c *checker) items(list *Array, path string) (of Type, err error) {
	types, err := c.types(list.Items, path)
	if err != nil {
		return 0, err
	}
	for i, t := range types {
		place := fmt.Sprintf("%s/%d", path, i)
		switch {
		case t == UnknownType:
		case !t.is(TextType, NumberType, BoolType, DateType, TimestampType):
			return 0, c.fail(list.Items[i], place, "the list has %s, %s: expected a text, a number, a boolean, a date or a timestamp", describe(list.Items[i]), a(t))
		case of == UnknownType:
			of = t
		case t != of:
			return 0, c.fail(list.Items[i], place, "the list has %s, %s, among items that are each %s", describe(list.Items[i]), a(t), a(of))
		}
	}
	return of, nil
}
