package profile

import (
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"

	"github.com/underbough/underbough/inventory"
)

// lineOf finds the line of a field of a profile by the path an error begins
// with, such as "weights.struck.limb: ..." or "weeks.even: ...". Of a field that
// is missing it is the line of what should hold it; ok is false where even that
// is not there.
func lineOf(body []byte, message string) (line int, ok bool) {
	file, err := parser.ParseBytes(body, 0)
	if err != nil || len(file.Docs) == 0 {
		return 0, false
	}
	node, rest := file.Docs[0].Body, message
	for {
		next, at, after := step(node, rest)
		if at == 0 {
			return line, line > 0
		}
		node, line, rest = next, at, after
	}
}

// step goes down by the longest name of node that rest begins with: names may
// hold spaces. It returns the line of what it found, 0 for nothing.
func step(node ast.Node, rest string) (next ast.Node, line int, after string) {
	longest := -1
	try := func(name string, value ast.Node, at int) {
		if name == "" || len(name) <= longest || !strings.HasPrefix(rest, name) {
			return
		}
		end := rest[len(name):]
		if end != "" && !strings.ContainsRune(".: ,", rune(end[0])) {
			return
		}
		longest, next, line = len(name), value, at
		after = strings.TrimPrefix(strings.TrimPrefix(end, ":"), ".")
		after = strings.TrimPrefix(after, " ")
	}
	switch n := node.(type) {
	case *ast.MappingNode:
		for _, v := range n.Values {
			try(v.Key.GetToken().Value, v.Value, v.Key.GetToken().Position.Line)
		}
	case *ast.MappingValueNode:
		try(n.Key.GetToken().Value, n.Value, n.Key.GetToken().Position.Line)
	case *ast.SequenceNode:
		for i, v := range n.Values {
			try(strconv.Itoa(i), v, v.GetToken().Position.Line)
			if name, at := nameIn(v); at > 0 {
				try(name, v, at)
			}
		}
	}
	return next, line, after
}

// nameIn is the value of an entry's field "name" and its line.
func nameIn(node ast.Node) (string, int) {
	m, ok := node.(*ast.MappingNode)
	if !ok {
		return "", 0
	}
	for _, v := range m.Values {
		if v.Key.GetToken().Value == "name" {
			return v.Value.GetToken().Value, v.Key.GetToken().Position.Line
		}
	}
	return "", 0
}

// Fault is an error about a field of a text of assumptions, with its line. what
// is what the text is, such as "profile"; err begins with the field's path.
func Fault(what string, body []byte, err error) error {
	if line, ok := lineOf(body, err.Error()); ok {
		return inventory.Errorf(inventory.Invalid, "%s: line %d: %w", what, line, err)
	}
	return inventory.Errorf(inventory.Invalid, "%s: %w", what, err)
}
