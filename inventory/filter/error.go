package filter

import "fmt"

// Limits on what is read, in either encoding. They hold memory and time flat
// whatever comes: a filter that people or clients write stays far below them.
const (
	MaxLength   = 1 << 20 // bytes of the whole
	MaxDepth    = 200     // expressions within one another
	MaxNodes    = 10_000  // expressions, literals and items together
	MaxLiteral  = 10_000  // bytes of a text or a name
	MaxItems    = 5_000   // of a list
	MaxVertices = 20_000  // of all geometries together
)

// Error says where a filter is wrong and what was found and expected.
type Error struct {
	At     int    // the place in the text, in bytes from 0; -1 where it was not text
	Column int    // the same in characters from 1; 0 where it was not text
	Path   string // the place in JSON, such as /args/1
	Msg    string
}

func (e *Error) Error() string {
	switch {
	case e.Column > 0:
		return fmt.Sprintf("column %d: %s", e.Column, e.Msg)
	case e.Path != "":
		return fmt.Sprintf("%s: %s", e.Path, e.Msg)
	}
	return e.Msg
}

// errorAt makes an error about a place in the text.
func errorAt(a at, format string, args ...any) *Error {
	return &Error{At: a.At(), Column: a.Column(), Msg: fmt.Sprintf(format, args...)}
}

// quoted shows a piece of what was read, shortened.
func quoted(s string) string {
	const most = 40
	runes := []rune(s)
	if len(runes) > most {
		s = string(runes[:most]) + "…"
	}
	return fmt.Sprintf("%q", s)
}
