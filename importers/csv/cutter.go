package csv

import (
	"bytes"
	"errors"
	"fmt"
	"io"
)

const (
	blockSize = 256 << 10
	// headSize is how much of a row over the limit is kept to show.
	headSize = 4 << 10
)

// row is one row's text with its place in the file.
type row struct {
	text    []byte
	offset  int64
	line    int64
	trouble string // why the text is not a whole row
}

// cutter cuts a stream into rows. It reads into blocks which it never writes to
// again once part of them has been handed out.
type cutter struct {
	r     io.Reader
	err   error // why no more can be read
	buf   []byte
	base  int64 // offset of buf[0]
	start int   // first byte of the row
	pos   int   // next byte to look at
	line  int64 // newlines passed
	limit int
	comma [4]byte // what may stand between cells

	state state
	head  []byte // of a row over the limit, of which no more is kept
	mark  int64  // offset of the row's first byte
}

// state is where in a row the next byte stands.
type state uint8

const (
	cellStart state = iota // a quote here opens a quoted cell
	plain
	quoted
	quoteInQuoted // after a quote that ends the cell or is one half of a double
)

// headBytes is how much of a file is looked at for what no text has.
const headBytes = 4096

// begin skips a byte order mark and refuses what is not text: no text has a NUL.
func (c *cutter) begin() error {
	for len(c.buf)-c.pos < headBytes && c.fill() {
	}
	for _, known := range []struct{ prefix, is string }{
		{"\xFF\xFE", "it is text in UTF-16; convert it to UTF-8"},
		{"\xFE\xFF", "it is text in UTF-16; convert it to UTF-8"},
		{"PK\x03\x04", "it is a zip archive or a spreadsheet; save it as CSV"},
		{"\xD0\xCF\x11\xE0", "it is a spreadsheet; save it as CSV"},
		{"\x1F\x8B", "it is packed with gzip; unpack it first"},
	} {
		if bytes.HasPrefix(c.buf, []byte(known.prefix)) {
			return fmt.Errorf("the file is not CSV: %s", known.is)
		}
	}
	if bytes.IndexByte(c.buf[:min(len(c.buf), headBytes)], 0) >= 0 {
		return errors.New("this is not a table: it is no text; GeoJSON and CSV can be read")
	}
	if bytes.HasPrefix(c.buf, []byte("\xEF\xBB\xBF")) {
		c.pos = 3
	}
	return nil
}

// next returns the next row that is not empty.
func (c *cutter) next() (row, error) {
	for {
		c.start, c.mark, c.state, c.head = c.pos, c.base+int64(c.pos), cellStart, nil
		line := c.line + 1
		ended := c.row()
		if !ended && !errors.Is(c.err, io.EOF) {
			return row{}, c.err
		}
		got := c.take(ended)
		got.line = line
		if len(got.text) > 0 || got.trouble != "" {
			return got, nil
		}
		if !ended {
			return row{}, io.EOF
		}
	}
}

// take returns what has been passed since start as a row.
func (c *cutter) take(ended bool) row {
	length := c.base + int64(c.pos) - c.mark
	if c.head == nil && length > int64(c.limit) {
		c.behead()
	}
	if c.head != nil {
		trouble := fmt.Sprintf("the row is %d bytes long; at most %d are read", length, c.limit)
		if c.state == quoted {
			trouble += "; is a closing quote missing?"
		}
		return row{text: c.head, offset: c.mark, trouble: trouble}
	}
	got := row{text: c.buf[c.start:c.pos:c.pos], offset: c.mark}
	if ended {
		got.text = got.text[: len(got.text)-1 : len(got.text)-1]
	}
	// Of two carriage returns the first is the cell's; encoding/csv, which drops
	// one before the end of its text, must then still find both.
	if n := len(got.text); bytes.HasSuffix(got.text, []byte{'\r'}) && !bytes.HasSuffix(got.text, []byte("\r\r")) && c.state != quoted {
		got.text = got.text[: n-1 : n-1]
	}
	if !ended && c.state == quoted {
		got.trouble = "a quote is opened and never closed: the row goes on to the end of the file"
	}
	return got
}

// row moves past the next newline outside quotes; false if the stream ends first.
func (c *cutter) row() bool {
	for {
		if c.state == cellStart && c.pos == c.start && c.plainRow() {
			return true
		}
		for c.pos < len(c.buf) {
			b := c.buf[c.pos]
			c.pos++
			if b == '\n' {
				c.line++
				if c.state != quoted {
					return true
				}
			}
			c.step(b)
		}
		if !c.fill() {
			return false
		}
	}
}

// plainRow moves past a row that has no quotes and lies in the buffer whole, as
// nearly all do.
func (c *cutter) plainRow() bool {
	rest := c.buf[c.pos:]
	end := bytes.IndexByte(rest, '\n')
	if end < 0 || bytes.IndexByte(rest[:end], '"') >= 0 {
		return false
	}
	c.line++
	c.pos += end + 1
	return true
}

// step is the state after b. A quote within a plain cell is an error for the
// parser to find, and must not make the rows after it part of this one.
func (c *cutter) step(b byte) {
	switch {
	case c.state == quoted:
		if b == '"' {
			c.state = quoteInQuoted
		}
	case b == '"' && c.state != plain:
		c.state = quoted
	case b == c.comma[0] || b == c.comma[1] || b == c.comma[2] || b == c.comma[3]:
		c.state = cellStart
	default:
		c.state = plain
	}
}

func (c *cutter) behead() {
	c.head = bytes.Clone(c.buf[c.start : c.start+min(headSize, c.limit)])
}

// fill reads more; false means that there is no more, and c.err says why.
func (c *cutter) fill() bool {
	if c.err != nil {
		return false
	}
	if c.head == nil && c.pos-c.start > c.limit {
		c.behead()
	}
	if c.head != nil {
		c.start = c.pos
	}
	if len(c.buf) == cap(c.buf) {
		kept := c.buf[c.start:]
		block := make([]byte, len(kept), max(2*len(kept), blockSize))
		copy(block, kept)
		c.buf, c.base, c.pos, c.start = block, c.base+int64(c.start), c.pos-c.start, 0
	}
	for range 100 {
		n, err := c.r.Read(c.buf[len(c.buf):cap(c.buf)])
		c.buf, c.err = c.buf[:len(c.buf)+n], err
		if n > 0 || err != nil {
			return n > 0
		}
	}
	c.err = io.ErrNoProgress
	return false
}
