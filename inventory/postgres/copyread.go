package postgres

import (
	"bytes"
	"context"
	"encoding/binary"
	"fmt"
	"math"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// chunkBytes is about how much of a COPY is handed on at a time.
const chunkBytes = 128 << 10

// copyOut runs query as a binary COPY and hands its rows on in chunks of about
// size bytes, each of whole rows. It blocks until the last chunk is taken. The
// chunk belongs to fn.
func copyOut(ctx context.Context, tx pgx.Tx, query string, size int, fn func(chunk []byte) error) error {
	w := &chunker{fn: fn, size: size}
	if _, err := tx.Conn().PgConn().CopyTo(ctx, w, "COPY ("+query+") TO STDOUT BINARY"); err != nil {
		return err
	}
	return w.flush()
}

// chunker gathers rows. The server sends one message a row (the first brings
// the header too), so that a message's end is a row's end.
type chunker struct {
	fn     func([]byte) error
	size   int
	chunk  []byte
	header bool
}

func (w *chunker) Write(p []byte) (int, error) {
	n := len(p)
	if !w.header {
		if len(p) < len(copyHeader) || !bytes.Equal(p[:11], copyHeader[:11]) {
			return 0, fmt.Errorf("the server's COPY does not start with the binary header")
		}
		w.header = true
		p = p[len(copyHeader):]
	}
	if bytes.Equal(p, copyTrailer) {
		return n, nil
	}
	if w.chunk == nil {
		w.chunk = make([]byte, 0, w.size+4096)
	}
	w.chunk = append(w.chunk, p...)
	if len(w.chunk) >= w.size {
		return n, w.flush()
	}
	return n, nil
}

func (w *chunker) flush() error {
	if len(w.chunk) == 0 {
		return nil
	}
	chunk := w.chunk
	w.chunk = nil
	return w.fn(chunk)
}

// rowReader reads the fields of rows one after the other.
type rowReader struct{ b []byte }

// next starts a row; it reports false at the end of the chunk.
func (r *rowReader) next() bool {
	if len(r.b) < 2 {
		return false
	}
	r.b = r.b[2:] // the number of fields, which the query fixes
	return true
}

// field returns the next field's bytes; nil for NULL.
func (r *rowReader) field() []byte {
	n := int32(binary.BigEndian.Uint32(r.b))
	r.b = r.b[4:]
	if n < 0 {
		return nil
	}
	f := r.b[:n:n]
	r.b = r.b[n:]
	return f
}

// skip passes over n fields.
func (r *rowReader) skip(n int) {
	for range n {
		if size := int32(binary.BigEndian.Uint32(r.b)); size > 0 {
			r.b = r.b[4+size:]
		} else {
			r.b = r.b[4:]
		}
	}
}

func (r *rowReader) int64() int64 { return int64(binary.BigEndian.Uint64(r.field())) }

func (r *rowReader) text() string { return string(r.field()) }

func (r *rowReader) float64() inventory.Opt[float64] {
	f := r.field()
	if f == nil {
		return inventory.Opt[float64]{}
	}
	return inventory.Some(math.Float64frombits(binary.BigEndian.Uint64(f)))
}

func (r *rowReader) int16() inventory.Opt[int] {
	f := r.field()
	if f == nil {
		return inventory.Opt[int]{}
	}
	return inventory.Some(int(int16(binary.BigEndian.Uint16(f))))
}

func (r *rowReader) int32() inventory.Opt[int] {
	f := r.field()
	if f == nil {
		return inventory.Opt[int]{}
	}
	return inventory.Some(int(int32(binary.BigEndian.Uint32(f))))
}

func (r *rowReader) bool() inventory.Opt[bool] {
	f := r.field()
	if f == nil {
		return inventory.Opt[bool]{}
	}
	return inventory.Some(f[0] != 0)
}

func (r *rowReader) date() inventory.Opt[time.Time] {
	f := r.field()
	if f == nil {
		return inventory.Opt[time.Time]{}
	}
	return inventory.Some(epoch2000.AddDate(0, 0, int(int32(binary.BigEndian.Uint32(f)))))
}

// point reads a PostGIS point.
func (r *rowReader) point() (orb.Point, error) {
	f := r.field()
	if len(f) != 25 || f[0] != 1 {
		return orb.Point{}, fmt.Errorf("a stored point is not 25 bytes of little-endian EWKB")
	}
	return orb.Point{
		math.Float64frombits(binary.LittleEndian.Uint64(f[9:])),
		math.Float64frombits(binary.LittleEndian.Uint64(f[17:])),
	}, nil
}
