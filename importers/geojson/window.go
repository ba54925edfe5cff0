package geojson

import (
	"bytes"
	"io"
)

const (
	blockSize = 256 << 10
	// headSize is how much of a record over the limit is kept to show.
	headSize = 4 << 10
)

// window is the part of the stream that is in memory. It reads into blocks
// which it never writes to again once part of them has been handed out, so a
// record can be passed on to another goroutine without a copy.
type window struct {
	r    io.Reader
	err  error // why no more can be read; io.EOF at the end
	buf  []byte
	base int64 // offset in the stream of buf[0]
	pos  int   // next byte of buf to look at
	lent bool  // part of buf has been handed out

	hold  bool  // the bytes from start on are still wanted
	start int   // first wanted byte of buf
	mark  int64 // offset in the stream where holding began
	limit int   // how many bytes may be held
	over  bool  // more than limit was held: head is all that is left
	head  []byte
}

func (w *window) offset() int64 { return w.base + int64(w.pos) }

// begin holds on to the bytes from here on.
func (w *window) begin() {
	w.hold, w.start, w.mark, w.over = true, w.pos, w.offset(), false
}

// take lets go and returns the bytes since begin, or just the head of them and
// false where they are more than the limit.
func (w *window) take() ([]byte, bool) {
	w.hold = false
	if w.tooMuch() && !w.over {
		w.behead()
	}
	if w.over {
		return w.head, false
	}
	w.lent = true
	return w.buf[w.start:w.pos:w.pos], true
}

// tooMuch reports whether more than the limit has been passed since begin.
func (w *window) tooMuch() bool { return w.over || w.pos-w.start > w.limit }

func (w *window) behead() {
	w.over = true
	w.head = bytes.Clone(w.buf[w.start : w.start+min(headSize, w.limit)])
}

// since returns the bytes from a held offset on; nil where they are gone.
func (w *window) since(offset int64) []byte {
	if w.over {
		return nil
	}
	return w.buf[offset-w.base : w.pos]
}

// rewind goes back to a held offset.
func (w *window) rewind(offset int64) { w.pos = int(offset - w.base) }

// fill reads more; false means that there is no more, and w.err says why.
func (w *window) fill() bool {
	if w.err != nil {
		return false
	}
	if w.hold && !w.over && w.pos-w.start > w.limit {
		w.behead()
	}
	if !w.hold || w.over {
		w.start = w.pos
	}
	if len(w.buf) == cap(w.buf) {
		w.makeRoom()
	}
	for range 100 {
		n, err := w.r.Read(w.buf[len(w.buf):cap(w.buf)])
		w.buf, w.err = w.buf[:len(w.buf)+n], err
		if n > 0 || err != nil {
			return n > 0
		}
	}
	w.err = io.ErrNoProgress
	return false
}

func (w *window) makeRoom() {
	kept := w.buf[w.start:]
	if !w.lent && len(kept) <= cap(w.buf)/2 && cap(w.buf) > 0 {
		w.buf = w.buf[:copy(w.buf, kept)]
	} else {
		// Doubling keeps the copying linear; there is no use in going past the
		// limit by more than a block.
		room := min(max(2*len(kept), blockSize), w.limit+2*blockSize)
		block := make([]byte, len(kept), max(room, len(kept)+blockSize))
		copy(block, kept)
		w.buf, w.lent = block, false
	}
	w.base += int64(w.start)
	w.pos -= w.start
	w.start = 0
}

// peek returns the byte at pos; false at the end of the stream.
func (w *window) peek() (byte, bool) {
	if w.pos == len(w.buf) && !w.fill() {
		return 0, false
	}
	return w.buf[w.pos], true
}

// atLeast tries to have n bytes from pos on in memory.
func (w *window) atLeast(n int) []byte {
	for len(w.buf)-w.pos < n && w.fill() {
	}
	return w.buf[w.pos:min(len(w.buf), w.pos+n)]
}

// space skips white space as JSON has it and returns the byte after it.
func (w *window) space() (byte, bool) {
	for {
		c, ok := w.peek()
		if !ok || !isSpace(c) {
			return c, ok
		}
		w.pos++
	}
}

func isSpace(c byte) bool { return c == ' ' || c == '\n' || c == '\r' || c == '\t' }

// seek moves past the next c; false, at the end of the stream, if there is none.
func (w *window) seek(c byte) bool {
	for {
		if i := bytes.IndexByte(w.buf[w.pos:], c); i >= 0 {
			w.pos += i + 1
			return true
		}
		w.pos = len(w.buf)
		if !w.fill() {
			return false
		}
	}
}
