package filter

import (
	"fmt"
	"strings"
)

// Check sees that a filter makes sense for what is filtered: that the properties
// and functions exist and that every operand has a type its operation is defined
// for. Types are not cast (/req/basic-cql2/binary-comparison-predicate D): a text
// is never taken for a date or a number. An error is an *Error that tells the
// place.
func Check(e Expr, s Schema) error {
	c := &checker{schema: s}
	t, err := c.typeOf(e, "")
	if err != nil {
		return err
	}
	if !t.is(BoolType) {
		return c.fail(e, "", "the filter is %s, %s: expected a condition", describe(e), a(t))
	}
	return nil
}

type checker struct{ schema Schema }

// fail makes an error about a node.
func (c *checker) fail(e Expr, path, format string, args ...any) error {
	err := &Error{At: -1, Msg: fmt.Sprintf(format, args...)}
	if e != nil && e.Column() > 0 {
		err.At, err.Column = e.At(), e.Column()
	} else {
		err.Path = path
	}
	return err
}

// is reports whether a value of type t may be one of the wanted types. What is
// NULL whatever comes may be any.
func (t Type) is(wanted ...Type) bool {
	if t == UnknownType {
		return true
	}
	for _, w := range wanted {
		if t == w {
			return true
		}
	}
	return false
}

func (t Type) instant() bool { return t.is(DateType, TimestampType) }

// a is a type with its article.
func a(t Type) string {
	if t == IntervalType || t == UnknownType {
		return "an " + t.String()
	}
	return "a " + t.String()
}

// typeOf checks a node and returns its type.
func (c *checker) typeOf(e Expr, path string) (Type, error) {
	switch e := e.(type) {
	case *Property:
		t, ok := c.schema.PropertyType(e.Name)
		if !ok {
			return 0, c.fail(e, path, "there is no property %s: see the queryables for what there is (a text is put in single quotes)", quoted(e.Name))
		}
		return t, nil
	case *String:
		return TextType, nil
	case *Number:
		return NumberType, nil
	case *Bool:
		return BoolType, nil
	case *Date:
		return DateType, nil
	case *Timestamp:
		return TimestampType, nil
	case *Interval:
		return IntervalType, c.interval(e, path)
	case *Geometry:
		return GeometryType, c.geometry(e, path)
	case *BBox:
		return GeometryType, c.box(e, path)
	case *Array:
		_, err := c.items(e, path)
		return ListType, err
	case *Op:
		return c.operation(e, path+"/args")
	case *Call:
		return c.call(e, path+"/args")
	}
	return 0, c.fail(e, path, "found nothing: expected an expression")
}

// types are those of an operation's operands.
func (c *checker) types(args []Expr, path string) (types []Type, err error) {
	for i, arg := range args {
		t, err := c.typeOf(arg, fmt.Sprintf("%s/%d", path, i))
		if err != nil {
			return nil, err
		}
		types = append(types, t)
	}
	return types, nil
}

func (c *checker) operation(e *Op, path string) (Type, error) {
	o, ok := operations[e.Name]
	if !ok {
		return 0, c.fail(e, path, "there is no operation %s", quoted(e.Name))
	}
	if err := shape(e.Name, e.Args); err != nil {
		return 0, c.fail(e, path, "%s", err)
	}
	if o.family == in {
		return BoolType, c.in(e, path)
	}
	if o.family == array {
		return BoolType, c.lists(e, path)
	}
	types, err := c.types(e.Args, path)
	if err != nil {
		return 0, err
	}
	switch o.family {
	case logic:
		return BoolType, c.all(e, path, types, "a condition", BoolType)
	case comparison, between:
		return BoolType, c.comparable(e, path, e.Args, types)
	case isNull:
		return BoolType, nil
	case like:
		return BoolType, c.like(e, path, types)
	case folding:
		return TextType, c.all(e, path, types, "a text", TextType)
	case arithmetic:
		return NumberType, c.all(e, path, types, "a number", NumberType)
	case spatial:
		return BoolType, c.spatial(e, path, types)
	}
	return BoolType, c.temporal(e, path, types)
}

// all sees that all operands have one of the wanted types.
func (c *checker) all(e *Op, path string, types []Type, expected string, wanted ...Type) error {
	for i, t := range types {
		if !t.is(wanted...) {
			return c.fail(e.Args[i], fmt.Sprintf("%s/%d", path, i), "%s has %s, %s: expected %s", shown(e.Name), describe(e.Args[i]), a(t), expected)
		}
	}
	return nil
}

// call checks the arguments of a function of our own.
func (c *checker) call(e *Call, path string) (Type, error) {
	f, ok := FunctionNamed(e.Name)
	if !ok {
		var names []string
		for _, f := range Functions {
			names = append(names, f.Name)
		}
		return 0, c.fail(e, strings.TrimSuffix(path, "/args"), "there is no function %s: beside those of the standard there are %s", quoted(e.Name), strings.Join(names, " and "))
	}
	if len(e.Args) != len(f.Arguments) {
		return 0, c.fail(e, path, "%s has %d arguments: expected %d", f.Name, len(e.Args), len(f.Arguments))
	}
	types, err := c.types(e.Args, path)
	if err != nil {
		return 0, err
	}
	for i, t := range types {
		place := fmt.Sprintf("%s/%d", path, i)
		if want := f.Arguments[i]; !t.is(want.Type) {
			return 0, c.fail(e.Args[i], place, "%s has %s, %s, for %q: expected %s", f.Name, describe(e.Args[i]), a(t), want.Name, a(want.Type))
		}
		if n, ok := e.Args[i].(*Number); ok && n.Value < 0 {
			return 0, c.fail(n, place, "%s has the distance %s: expected 0 or more", f.Name, number(n.Value))
		}
	}
	return f.Returns, nil
}
