package filter

import (
	"fmt"
	"strings"
)

// family groups the operations that take the same kinds of arguments.
type family uint8

const (
	logic      family = iota + 1 // and, or, not
	comparison                   // = <> < > <= >=
	like
	between
	in
	isNull
	arithmetic
	folding  // casei, accenti
	spatial  // s_*
	temporal // t_*
	array    // a_*
)

// operation is what the standard says of an operation's shape.
type operation struct {
	family family
	args   int // how many; -1 for two or more
}

// operations are by the names of the JSON encoding (the schema cql2.json).
var operations = map[string]operation{
	"and": {logic, -1}, "or": {logic, -1}, "not": {logic, 1},
	"=": {comparison, 2}, "<>": {comparison, 2}, "<": {comparison, 2}, ">": {comparison, 2}, "<=": {comparison, 2}, ">=": {comparison, 2},
	"like": {like, 2}, "between": {between, 3}, "in": {in, 2}, "isNull": {isNull, 1},
	"+": {arithmetic, 2}, "-": {arithmetic, 2}, "*": {arithmetic, 2}, "/": {arithmetic, 2}, "%": {arithmetic, 2}, "div": {arithmetic, 2}, "^": {arithmetic, 2},
	"casei": {folding, 1}, "accenti": {folding, 1},
	"s_intersects": {spatial, 2}, "s_equals": {spatial, 2}, "s_disjoint": {spatial, 2}, "s_touches": {spatial, 2},
	"s_within": {spatial, 2}, "s_overlaps": {spatial, 2}, "s_crosses": {spatial, 2}, "s_contains": {spatial, 2},
	"t_after": {temporal, 2}, "t_before": {temporal, 2}, "t_contains": {temporal, 2}, "t_disjoint": {temporal, 2}, "t_during": {temporal, 2},
	"t_equals": {temporal, 2}, "t_finishedBy": {temporal, 2}, "t_finishes": {temporal, 2}, "t_intersects": {temporal, 2}, "t_meets": {temporal, 2},
	"t_metBy": {temporal, 2}, "t_overlappedBy": {temporal, 2}, "t_overlaps": {temporal, 2}, "t_startedBy": {temporal, 2}, "t_starts": {temporal, 2},
	"a_equals": {array, 2}, "a_contains": {array, 2}, "a_containedBy": {array, 2}, "a_overlaps": {array, 2},
}

// named are the operations that the text writes like functions, by their names
// in small letters.
var named = func() map[string]string {
	m := map[string]string{}
	for name, o := range operations {
		if o.family >= folding {
			m[strings.ToLower(name)] = name
		}
	}
	return m
}()

// reserved are the words that cannot be a property unless quoted.
var reserved = map[string]bool{
	"and": true, "or": true, "not": true, "like": true, "between": true, "in": true,
	"is": true, "null": true, "true": true, "false": true, "div": true,
}

// literals are the words that begin a literal where a bracket follows.
var literals = map[string]bool{
	"date": true, "timestamp": true, "interval": true, "bbox": true,
	"point": true, "linestring": true, "polygon": true, "multipoint": true,
	"multilinestring": true, "multipolygon": true, "geometrycollection": true,
}

// infix reports whether the text writes an expression with a word or a sign
// between, before or after its operands.
func infix(e Expr) bool {
	op, ok := e.(*Op)
	return ok && operations[op.Name].family < folding
}

// shape checks what holds of an operation's arguments whatever their types: how
// many, and where lists may be. Both encodings can write exactly what passes.
func shape(name string, args []Expr) error {
	o := operations[name]
	switch {
	case o.args >= 0 && len(args) != o.args:
		return fmt.Errorf("%s has %s: expected %d", shown(name), arguments(len(args)), o.args)
	case o.args < 0 && len(args) < 2:
		return fmt.Errorf("%s has %s: expected two or more", shown(name), arguments(len(args)))
	}
	for i, a := range args {
		list, isList := a.(*Array)
		wanted := o.family == in && i == 1
		switch {
		case wanted && (!isList || len(list.Items) == 0):
			return fmt.Errorf("after IN comes %s: expected a list of one value or more", describe(a))
		case wanted:
			for _, item := range list.Items {
				if _, nested := item.(*Array); nested {
					return fmt.Errorf("the list after IN has a list in it: expected single values")
				}
			}
		case isList && o.family != array:
			return fmt.Errorf("%s has a list for an operand: expected a single value", shown(name))
		}
		if o.family == array && !isList {
			switch a.(type) {
			case *Property, *Call:
			default:
				return fmt.Errorf("%s has %s for an operand: expected a list in brackets, a property or a function", shown(name), describe(a))
			}
		}
	}
	return nil
}

func arguments(n int) string {
	if n == 1 {
		return "1 operand"
	}
	return fmt.Sprintf("%d operands", n)
}

// shown is an operation's name as the text writes it.
func shown(name string) string {
	if name == "isNull" {
		return "IS NULL"
	}
	return strings.ToUpper(name)
}

// describe names an expression for people.
func describe(e Expr) string {
	switch e := e.(type) {
	case nil:
		return "an open end"
	case *Property:
		return "the property " + quoted(e.Name)
	case *String:
		return "the text " + quoted(e.Value)
	case *Number:
		return "the number " + number(e.Value)
	case *Bool:
		return strings.ToUpper(fmt.Sprint(e.Value))
	case *Date:
		return "a date"
	case *Timestamp:
		return "a timestamp"
	case *Interval:
		return "an interval"
	case *Geometry:
		return "a geometry"
	case *BBox:
		return "a box"
	case *Array:
		return "a list"
	case *Op:
		return shown(e.Name)
	case *Call:
		return "the function " + quoted(e.Name)
	}
	return fmt.Sprintf("%T", e)
}

// callName checks the name of a function, so that both encodings can write it.
func callName(name string) error {
	small := strings.ToLower(name)
	if known, ok := named[small]; ok {
		return fmt.Errorf("op is %s: write %s", quoted(name), quoted(known))
	}
	switch {
	case small == "isnull":
		return fmt.Errorf(`op is %s: write "isNull"`, quoted(name))
	case reserved[small] || literals[small]:
		return fmt.Errorf("op is %s, a word of the language: expected an operator or a function in small letters", quoted(name))
	case !identifier(name):
		return fmt.Errorf("op is %s: expected an operator or the name of a function", quoted(name))
	}
	return nil
}

// intervalMember checks what an end of an interval is; nil is an open one.
func intervalMember(e Expr) error {
	switch e.(type) {
	case nil, *Date, *Timestamp, *Property, *Call:
		return nil
	}
	return fmt.Errorf("an interval has %s for an end: expected a date, a timestamp, a property or '..'", describe(e))
}
