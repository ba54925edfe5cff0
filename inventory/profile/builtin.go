package profile

import (
	"bytes"
	"fmt"
)

// BuiltinNames lists the profiles that are built in.
var BuiltinNames = []string{"default", "points"}

// Builtin returns the text of a built-in profile. "points" has the numbers of
// "default" and rates by points.
func Builtin(name string) (text []byte, ok bool) {
	switch name {
	case "default":
		return DefaultText(), true
	case "points":
		text = changedLine(defaultText, "name: default", "name: points")
		return changedLine(text, "  method: matrices", "  method: points"), true
	}
	return nil, false
}

// changedLine puts one line that begins with from in the place of to. The text
// is our own: a line that is missing or there twice is a slip of ours.
func changedLine(text []byte, from, to string) []byte {
	old := []byte("\n" + from)
	if n := bytes.Count(text, old); n != 1 {
		panic(fmt.Sprintf("the built-in profile has %d lines %q, expected 1", n, from))
	}
	return bytes.Replace(text, old, []byte("\n"+to), 1)
}
