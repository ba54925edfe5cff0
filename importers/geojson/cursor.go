package geojson

import (
	"bytes"

	"github.com/go-json-experiment/json/jsontext"
)

// cursor walks over JSON that is known to be valid.
type cursor struct {
	b     []byte
	i     int
	level int // how deep the cursor is in the record
	depth int // the deepest nesting skipped over so far
}

// space skips white space and returns the byte after it.
func (c *cursor) space() byte {
	for isSpace(c.b[c.i]) {
		c.i++
	}
	return c.b[c.i]
}

// more moves to the next element or member of an array or object and reports
// whether there is one. It is called with the cursor on the opening bracket or
// after an element, and leaves the array or object where there is none.
func (c *cursor) more() bool {
	switch c.space() {
	case '{', '[', ',':
		c.i++
		if next := c.space(); next != '}' && next != ']' {
			return true
		}
	}
	c.i++
	return false
}

// key moves past a member's name and colon and returns the name, which may lie
// in the cursor's bytes.
func (c *cursor) key() []byte {
	from := c.i
	c.skipString()
	name := c.b[from+1 : c.i-1]
	if bytes.IndexByte(name, '\\') >= 0 {
		name, _ = jsontext.AppendUnquote(nil, c.b[from:c.i])
	}
	c.space()
	c.i++
	c.space()
	return name
}

func (c *cursor) skipString() {
	c.i, _ = stringEnd(c.b, c.i+1)
}

// value moves past a value and returns its text.
func (c *cursor) value() []byte {
	from := c.i
	switch c.b[c.i] {
	case '"':
		c.skipString()
	case '{', '[':
		c.skipNested()
	default:
		c.skipScalar()
	}
	return c.b[from:c.i]
}

func (c *cursor) skipNested() {
	for depth := 0; ; {
		switch c.b[c.i] {
		case '"':
			c.skipString()
			continue
		case '{', '[':
			depth++
			c.depth = max(c.depth, c.level+depth)
		case '}', ']':
			if depth--; depth == 0 {
				c.i++
				return
			}
		}
		c.i++
	}
}

func (c *cursor) skipScalar() {
	for c.i < len(c.b) {
		switch c.b[c.i] {
		case ',', ']', '}', ' ', '\n', '\r', '\t':
			return
		}
		c.i++
	}
}

// unquoted returns the string a JSON string stands for; "" for anything else.
func unquoted(text []byte) string {
	value, err := jsontext.AppendUnquote(nil, text)
	if err != nil {
		return ""
	}
	return string(value)
}

// kindOf names the kind of a JSON value in words.
func kindOf(text []byte) string {
	switch text[0] {
	case '{':
		return "an object"
	case '[':
		return "an array"
	case '"':
		return "the string " + shortened(string(text))
	case 't', 'f', 'n':
		return string(text)
	}
	return "the number " + shortened(string(text))
}
