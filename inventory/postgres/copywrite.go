package postgres

import (
	"encoding/binary"
	"math"
	"time"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/ewkb"

	"github.com/underbough/underbough/inventory"
)

// PostgreSQL's binary COPY format: a header, then for each row the number of
// fields and for each field its length and bytes, then a trailer. Writing it
// directly spares a million rows the boxing of each value.
var (
	copyHeader  = []byte("PGCOPY\n\xff\r\n\x00\x00\x00\x00\x00\x00\x00\x00\x00")
	copyTrailer = []byte{0xff, 0xff}
)

// srid is the coordinate system of everything stored: WGS 84.
const srid = 4326

// copyBuffer collects rows in binary COPY form.
type copyBuffer struct{ b []byte }

func (w *copyBuffer) reset() { w.b = append(w.b[:0], copyHeader...) }

// end closes the stream; the buffer then holds a whole COPY.
func (w *copyBuffer) end() []byte { return append(w.b, copyTrailer...) }

func (w *copyBuffer) row(fields int) { w.b = binary.BigEndian.AppendUint16(w.b, uint16(fields)) }

func (w *copyBuffer) null() { w.b = append(w.b, 0xff, 0xff, 0xff, 0xff) }

func (w *copyBuffer) length(n int) { w.b = binary.BigEndian.AppendUint32(w.b, uint32(n)) }

func (w *copyBuffer) text(s string) {
	w.length(len(s))
	w.b = append(w.b, s...)
}

// textOrNull writes the empty text as NULL.
func (w *copyBuffer) textOrNull(s string) {
	if s == "" {
		w.null()
		return
	}
	w.text(s)
}

func (w *copyBuffer) bytes(b []byte) {
	w.length(len(b))
	w.b = append(w.b, b...)
}

// json writes a jsonb value; nil is NULL.
func (w *copyBuffer) json(b []byte) {
	if b == nil {
		w.null()
		return
	}
	w.length(len(b) + 1)
	w.b = append(w.b, 1) // version of the jsonb wire form
	w.b = append(w.b, b...)
}

func (w *copyBuffer) bool(v bool) {
	w.length(1)
	if v {
		w.b = append(w.b, 1)
	} else {
		w.b = append(w.b, 0)
	}
}

func (w *copyBuffer) boolOrNull(v inventory.Opt[bool]) {
	if !v.OK {
		w.null()
		return
	}
	w.bool(v.V)
}

func (w *copyBuffer) int16(v int16) {
	w.length(2)
	w.b = binary.BigEndian.AppendUint16(w.b, uint16(v))
}

func (w *copyBuffer) int16OrNull(v inventory.Opt[int]) {
	if !v.OK {
		w.null()
		return
	}
	w.int16(int16(v.V))
}

func (w *copyBuffer) int32(v int32) {
	w.length(4)
	w.b = binary.BigEndian.AppendUint32(w.b, uint32(v))
}

func (w *copyBuffer) int32OrNull(v inventory.Opt[int]) {
	if !v.OK {
		w.null()
		return
	}
	w.int32(int32(v.V))
}

func (w *copyBuffer) int64(v int64) {
	w.length(8)
	w.b = binary.BigEndian.AppendUint64(w.b, uint64(v))
}

func (w *copyBuffer) float32(v float64) {
	w.length(4)
	w.b = binary.BigEndian.AppendUint32(w.b, math.Float32bits(float32(v)))
}

func (w *copyBuffer) float64(v float64) {
	w.length(8)
	w.b = binary.BigEndian.AppendUint64(w.b, math.Float64bits(v))
}

func (w *copyBuffer) float64OrNull(v inventory.Opt[float64]) {
	if !v.OK {
		w.null()
		return
	}
	w.float64(v.V)
}

var epoch2000 = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

func (w *copyBuffer) date(t time.Time) {
	y, m, d := t.Date()
	days := time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Sub(epoch2000) / (24 * time.Hour)
	w.int32(int32(days))
}

func (w *copyBuffer) dateOrNull(t inventory.Opt[time.Time]) {
	if !t.OK {
		w.null()
		return
	}
	w.date(t.V)
}

// point writes a position as EWKB.
func (w *copyBuffer) point(p orb.Point) {
	w.length(25)
	w.b = append(w.b, 1)
	w.b = binary.LittleEndian.AppendUint32(w.b, 1|0x20000000)
	w.b = binary.LittleEndian.AppendUint32(w.b, srid)
	w.b = binary.LittleEndian.AppendUint64(w.b, math.Float64bits(p[0]))
	w.b = binary.LittleEndian.AppendUint64(w.b, math.Float64bits(p[1]))
}

// geometry writes any geometry as EWKB.
func (w *copyBuffer) geometry(g orb.Geometry) error {
	b, err := ewkb.Marshal(g, srid, binary.LittleEndian)
	if err != nil {
		return err
	}
	w.bytes(b)
	return nil
}
