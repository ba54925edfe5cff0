package api

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/crs"
)

// decimalsOfDegrees is about a centimetre on the ground.
const decimalsOfDegrees = 7

// form is how coordinates are written.
type form struct {
	yFirst   bool // the second of the coordinates that are held goes first
	decimals int
}

// lonLat is GeoJSON's own form (RFC 7946).
var lonLat = form{decimals: decimalsOfDegrees}

// formOf is the form of a reference system.
func formOf(r crs.Reference) form { return form{r.YFirst, r.Decimals} }

// errOutside is where a geometry cannot be expressed in the reference system
// that was asked for: there it has no coordinates.
var errOutside = inventory.Errorf(inventory.Invalid, "a geometry lies outside of what the reference system asked for can express: ask with another crs")

var typeNames = [...]string{1: "Point", "LineString", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon", "GeometryCollection"}

var errShort = errors.New("well-known binary: it ends too soon")

// ewkb reads PostGIS's extended well-known binary from front to back.
type ewkb struct {
	b     []byte
	order binary.ByteOrder
	skip  int // bytes of each position beyond x and y
	form  form
}

// appendEWKB appends a geometry as GeoJSON (RFC 7946): exterior rings
// anticlockwise and holes clockwise, as seen with x to the right and y up,
// whichever is written first. No bytes and an empty geometry are null.
func (f form) appendEWKB(dst, b []byte) ([]byte, error) {
	if b == nil {
		return append(dst, "null"...), nil
	}
	r := &ewkb{b: b, form: f}
	start := len(dst)
	dst, empty, err := r.geometry(dst)
	if err != nil {
		return dst[:start], err
	}
	if empty {
		dst = append(dst[:start], "null"...)
	}
	return dst, nil
}

// header reads byte order, type and flags, and a reference system, which
// is known to be the one asked for.
func (r *ewkb) header() (kind uint32, err error) {
	if len(r.b) < 5 {
		return 0, errShort
	}
	r.order = binary.LittleEndian
	if r.b[0] == 0 {
		r.order = binary.BigEndian
	}
	word := r.order.Uint32(r.b[1:])
	r.b = r.b[5:]
	const hasZ, hasM, hasSRID = 0x80000000, 0x40000000, 0x20000000
	r.skip = 0
	for _, flag := range []uint32{hasZ, hasM} {
		if word&flag != 0 {
			r.skip += 8
		}
	}
	if word&hasSRID != 0 {
		if len(r.b) < 4 {
			return 0, errShort
		}
		r.b = r.b[4:]
	}
	kind = word &^ (hasZ | hasM | hasSRID)
	if kind < 1 || kind > 7 {
		return 0, fmt.Errorf("well-known binary: geometry type %d has no GeoJSON form", kind)
	}
	return kind, nil
}

func (r *ewkb) count() (int, error) {
	if len(r.b) < 4 {
		return 0, errShort
	}
	n := int(r.order.Uint32(r.b))
	r.b = r.b[4:]
	if n > len(r.b) {
		return 0, errShort
	}
	return n, nil
}

// geometry appends one geometry whole.
func (r *ewkb) geometry(dst []byte) (_ []byte, empty bool, err error) {
	kind, err := r.header()
	if err != nil {
		return dst, false, err
	}
	dst = append(dst, `{"type":"`...)
	dst = append(dst, typeNames[kind]...)
	if kind == 7 {
		dst = append(dst, `","geometries":`...)
	} else {
		dst = append(dst, `","coordinates":`...)
	}
	dst, empty, err = r.body(dst, kind)
	return append(dst, '}'), empty, err
}

// body appends what comes after the header: coordinates, or a collection's
// members.
func (r *ewkb) body(dst []byte, kind uint32) (_ []byte, empty bool, err error) {
	switch kind {
	case 1:
		if len(r.b) < 16+r.skip {
			return dst, false, errShort
		}
		x, y := r.position(0)
		r.b = r.b[16+r.skip:]
		if math.IsNaN(x) {
			return dst, true, nil
		}
		dst, err = r.form.appendPosition(dst, x, y)
		return dst, false, err
	case 2:
		return r.positions(dst, 0)
	case 3:
		n, err := r.count()
		if err != nil {
			return dst, false, err
		}
		dst = append(dst, '[')
		for i := range n {
			turn := 1
			if i > 0 {
				dst = append(dst, ',')
				turn = -1
			}
			if dst, _, err = r.positions(dst, turn); err != nil {
				return dst, false, err
			}
		}
		return append(dst, ']'), n == 0, nil
	}
	n, err := r.count()
	if err != nil {
		return dst, false, err
	}
	dst = append(dst, '[')
	written := 0
	for range n {
		start := len(dst)
		if written > 0 {
			dst = append(dst, ',')
		}
		if kind == 7 {
			dst, empty, err = r.geometry(dst)
		} else {
			var part uint32
			if part, err = r.header(); err == nil {
				dst, empty, err = r.body(dst, part)
			}
		}
		if err != nil {
			return dst, false, err
		}
		if empty {
			dst = dst[:start]
			continue
		}
		written++
	}
	return append(dst, ']'), written == 0, nil
}

func (r *ewkb) position(i int) (x, y float64) {
	at := r.b[i*(16+r.skip):]
	return math.Float64frombits(r.order.Uint64(at)), math.Float64frombits(r.order.Uint64(at[8:]))
}

// positions appends a list of positions: as it stands for turn 0, else as a
// ring that goes anticlockwise (1) or clockwise (-1).
func (r *ewkb) positions(dst []byte, turn int) (_ []byte, empty bool, err error) {
	n, err := r.count()
	if err != nil || n > len(r.b)/(16+r.skip) {
		return dst, false, errors.Join(err, errShort)
	}
	back := turn != 0 && float64(turn)*r.twiceArea(n) < 0
	dst = append(dst, '[')
	for i := range n {
		if i > 0 {
			dst = append(dst, ',')
		}
		if back {
			i = n - 1 - i
		}
		x, y := r.position(i)
		if dst, err = r.form.appendPosition(dst, x, y); err != nil {
			return dst, false, err
		}
	}
	r.b = r.b[n*(16+r.skip):]
	return append(dst, ']'), n == 0, nil
}

// twiceArea is twice the signed area of a ring, positive where it goes
// anticlockwise; taken about its first position, for digits.
func (r *ewkb) twiceArea(n int) float64 {
	if n == 0 {
		return 0
	}
	x0, y0 := r.position(0)
	sum, px, py := 0.0, 0.0, 0.0
	for i := 1; i < n; i++ {
		x, y := r.position(i)
		x, y = x-x0, y-y0
		sum += px*y - x*py
		px, py = x, y
	}
	return sum
}

// mostCoordinate is above any coordinate on the globe, in whatever unit a
// reference system counts: seven times the way round in feet.
const mostCoordinate = 1e9

func (f form) appendPosition(dst []byte, x, y float64) ([]byte, error) {
	// Nor undefined or infinite; near what a projection makes endless it gives
	// numbers that no place has.
	if !(math.Abs(x) <= mostCoordinate && math.Abs(y) <= mostCoordinate) {
		return dst, errOutside
	}
	if f.yFirst {
		x, y = y, x
	}
	dst = append(dst, '[')
	dst = appendFloat(dst, x, f.decimals)
	dst = append(dst, ',')
	dst = appendFloat(dst, y, f.decimals)
	return append(dst, ']'), nil
}
