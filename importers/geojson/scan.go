package geojson

import "fmt"

// value moves past the JSON value at pos without checking what is inside it;
// false if the stream ends first. A scalar ends at a comma, a bracket or space.
func (w *window) value() bool {
	c, ok := w.peek()
	if !ok {
		return false
	}
	switch c {
	case '{':
		return w.balanced(&braces)
	case '[':
		return w.balanced(&square)
	case '"':
		return w.text()
	}
	return w.scalar()
}

// balanced moves past the closing bracket that matches the opening one at pos,
// whatever the other kind of bracket does in between: a Feature that lacks one
// square bracket must not swallow the Features after it.
//
// Quotes and brackets come every few bytes and in no order a processor could
// foresee, so they are counted without a branch.
func (w *window) balanced(steps *[256]int32) bool {
	var depth, quoted int32 // quoted is -1 within a string, else 0
	for {
		b, i := w.buf, w.pos
		for i < len(b) {
			c := b[i]
			if c == '\\' && quoted != 0 {
				if i+1 == len(b) {
					break
				}
				i += 2
				continue
			}
			i++
			quoted ^= quotes[c]
			if depth += steps[c] &^ quoted; depth == 0 {
				w.pos = i
				return true
			}
		}
		w.pos = i
		if !w.fill() {
			w.pos = len(w.buf)
			return false
		}
	}
}

var (
	quotes = [256]int32{'"': -1}
	braces = [256]int32{'{': 1, '}': -1}
	square = [256]int32{'[': 1, ']': -1}
)

// text moves past the string that opens at pos.
func (w *window) text() bool {
	w.pos++
	for {
		end, closed := stringEnd(w.buf, w.pos)
		w.pos = end
		if closed {
			return true
		}
		if !w.fill() {
			w.pos = len(w.buf)
			return false
		}
	}
}

// stringEnd returns the place after the quote that ends the string b[i] lies
// in. Where b ends first it returns the place to go on from with more.
func stringEnd(b []byte, i int) (int, bool) {
	for i < len(b) {
		switch b[i] {
		case '"':
			return i + 1, true
		case '\\':
			if i+1 == len(b) {
				return i, false
			}
			i += 2
		default:
			i++
		}
	}
	return i, false
}

func (w *window) scalar() bool {
	from := w.offset()
	for {
		c, ok := w.peek()
		if !ok || isSpace(c) || c == ',' || c == ']' || c == '}' {
			return w.offset() > from
		}
		w.pos++
	}
}

// syntaxError says where the stream stops being JSON.
type syntaxError struct {
	offset int64
	want   string
	found  string
}

func (e *syntaxError) Error() string {
	return fmt.Sprintf("the file is not valid GeoJSON from byte %d on: expected %s, found %s", e.offset, e.want, e.found)
}

// expected makes the error for what stands at pos.
func (w *window) expected(want string) *syntaxError {
	return &syntaxError{offset: w.offset(), want: want, found: w.found()}
}

func (w *window) found() string {
	if _, ok := w.peek(); !ok {
		return "the end of the file"
	}
	return fmt.Sprintf("%q", firstRune(w.atLeast(4)))
}

func firstRune(b []byte) string {
	for _, r := range string(b) {
		return string(r)
	}
	return ""
}

// key moves past one member's name and colon, and the bracket or comma before
// it, and returns the name. The object has ended where it returns false. The
// window must be holding.
func (w *window) key(first bool) (string, bool, error) {
	if first {
		w.pos++ // the opening brace
	}
	c, ok := w.space()
	switch {
	case ok && c == '}':
		w.pos++
		return "", false, nil
	case !first && (!ok || c != ','):
		return "", false, w.expected("a comma or }")
	case !first:
		w.pos++
		c, ok = w.space()
	}
	if !ok || c != '"' {
		return "", false, w.expected("a member name in double quotes")
	}
	from := w.offset()
	if !w.text() {
		return "", false, w.expected("the end of a member name")
	}
	name := unquoted(w.since(from))
	if c, ok = w.space(); !ok || c != ':' {
		return "", false, w.expected("a colon after a member name")
	}
	w.pos++
	w.space()
	return name, true, nil
}
