package tiling

import (
	"encoding/binary"
	"math"
)

// Layer is a layer of a tile in the form of Mapbox Vector Tile version 2
// (github.com/mapbox/vector-tile-spec, 2.1): features are added one after the
// other, each by Begin, its values, a geometry and End. A tile is the bytes of
// its layers after one another.
type Layer struct {
	name     string
	features []byte
	keys     map[string]uint32
	keyList  []string
	texts    map[string]uint32
	ints     map[int64]uint32
	floats   map[float64]uint32
	values   []byte // encoded
	known    uint32 // number of values

	id       uint64
	tags     []uint32
	commands []uint32
	kind     uint64
	x, y     int32
	count    int
}

// The types of geometry.
const (
	pointType   = 1
	lineType    = 2
	polygonType = 3
)

// NewLayer returns a layer without features.
func NewLayer(name string) *Layer {
	return &Layer{name: name, keys: make(map[string]uint32), texts: make(map[string]uint32), ints: make(map[int64]uint32), floats: make(map[float64]uint32)}
}

// Begin starts a feature.
func (l *Layer) Begin(id int64) {
	l.id, l.kind, l.x, l.y = uint64(id), 0, 0, 0
	l.tags, l.commands = l.tags[:0], l.commands[:0]
}

// Len is how many features there are.
func (l *Layer) Len() int { return l.count }

func (l *Layer) key(name string) {
	at, ok := l.keys[name]
	if !ok {
		at = uint32(len(l.keyList))
		l.keys[name], l.keyList = at, append(l.keyList, name)
	}
	l.tags = append(l.tags, at)
}

// Text sets a value; one without bytes is left out.
func (l *Layer) Text(key string, value []byte) {
	if len(value) == 0 {
		return
	}
	l.key(key)
	at, ok := l.texts[string(value)]
	if !ok {
		at = l.newValue(1 + uvarintLen(uint64(len(value))) + len(value))
		l.texts[string(value)] = at
		l.values = append(l.values, 1<<3|2)
		l.values = binary.AppendUvarint(l.values, uint64(len(value)))
		l.values = append(l.values, value...)
	}
	l.tags = append(l.tags, at)
}

// Int sets a whole number.
func (l *Layer) Int(key string, value int64) {
	l.key(key)
	at, ok := l.ints[value]
	if !ok {
		field, v := byte(5<<3), uint64(value) // uint_value
		if value < 0 {
			field, v = 6<<3, zigzag64(value) // sint_value
		}
		at = l.newValue(1 + uvarintLen(v))
		l.ints[value] = at
		l.values = append(l.values, field)
		l.values = binary.AppendUvarint(l.values, v)
	}
	l.tags = append(l.tags, at)
}

// Float sets a number. A tile has no form for what is not one.
func (l *Layer) Float(key string, value float64) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return
	}
	if value == 0 {
		value = 0 // no zero below zero
	}
	l.key(key)
	at, ok := l.floats[value]
	if !ok {
		at = l.newValue(9)
		l.floats[value] = at
		l.values = append(l.values, 3<<3|1)
		l.values = binary.LittleEndian.AppendUint64(l.values, math.Float64bits(value))
	}
	l.tags = append(l.tags, at)
}

// newValue begins an encoded value of some bytes.
func (l *Layer) newValue(size int) uint32 {
	l.values = append(l.values, 4<<3|2)
	l.values = binary.AppendUvarint(l.values, uint64(size))
	l.known++
	return l.known - 1
}

func zigzag64(v int64) uint64 { return uint64(v<<1) ^ uint64(v>>63) }

func (l *Layer) moveTo(n int) { l.commands = append(l.commands, 1|uint32(n)<<3) }
func (l *Layer) lineTo(n int) { l.commands = append(l.commands, 2|uint32(n)<<3) }

func (l *Layer) to(p [2]int32) {
	dx, dy := p[0]-l.x, p[1]-l.y
	l.commands = append(l.commands, uint32(dx<<1)^uint32(dx>>31), uint32(dy<<1)^uint32(dy>>31))
	l.x, l.y = p[0], p[1]
}

// Points gives the feature points.
func (l *Layer) Points(list ...[2]int32) {
	if len(list) == 0 {
		return
	}
	l.kind = pointType
	l.moveTo(len(list))
	for _, p := range list {
		l.to(p)
	}
}

// Line gives the feature a line, or one more. Points that repeat the one before
// are left out; a line that is one point then is none.
func (l *Layer) Line(line [][2]int32) {
	l.kind = max(l.kind, lineType)
	l.path(line, 2)
}

// Ring gives the feature a ring, the first of a polygon or a hole of the one
// before: the former must turn clockwise as seen, the latter the other way
// (vector-tile-spec 4.3.4.4). The ring need not repeat its first point. One
// without area is left out; Ring reports whether it was taken.
func (l *Layer) Ring(ring [][2]int32, hole bool) bool {
	if n := len(ring); n > 1 && ring[0] == ring[n-1] {
		ring = ring[:n-1]
	}
	area := Area(ring)
	if area == 0 || len(ring) < 3 {
		return false
	}
	if area > 0 == hole {
		turned := make([][2]int32, len(ring))
		for i, p := range ring {
			turned[len(ring)-1-i] = p
		}
		ring = turned
	}
	l.kind = polygonType
	if !l.path(ring, 3) {
		return false
	}
	l.commands = append(l.commands, 7|1<<3)
	return true
}

func (l *Layer) path(list [][2]int32, least int) bool {
	n := 0
	for i, p := range list {
		if i == 0 || p != list[i-1] {
			n++
		}
	}
	if n < least {
		return false
	}
	l.moveTo(1)
	l.to(list[0])
	l.lineTo(n - 1)
	for i, p := range list[1:] {
		if p != list[i] {
			l.to(p)
		}
	}
	return true
}

// Area is the area of a ring by the surveyor's formula, positive where it turns
// clockwise as seen, with y downwards.
func Area(ring [][2]int32) float64 {
	sum := int64(0)
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		sum += int64(p[0])*int64(q[1]) - int64(q[0])*int64(p[1])
	}
	return float64(sum) / 2
}

// End adds the feature; one without geometry is left out.
func (l *Layer) End() {
	if l.kind == 0 || len(l.commands) == 0 {
		return
	}
	l.count++
	tags, commands := packedLen(l.tags), packedLen(l.commands)
	size := 1 + uvarintLen(l.id) + 2 + 1 + uvarintLen(uint64(commands)) + commands
	if tags > 0 {
		size += 1 + uvarintLen(uint64(tags)) + tags
	}
	b := l.features
	b = append(b, 2<<3|2)
	b = binary.AppendUvarint(b, uint64(size))
	b = append(b, 1<<3)
	b = binary.AppendUvarint(b, l.id)
	if tags > 0 {
		b = appendPacked(append(b, 2<<3|2), l.tags, tags)
	}
	b = append(b, 3<<3, byte(l.kind))
	l.features = appendPacked(append(b, 4<<3|2), l.commands, commands)
}

func appendPacked(b []byte, list []uint32, size int) []byte {
	b = binary.AppendUvarint(b, uint64(size))
	for _, v := range list {
		b = binary.AppendUvarint(b, uint64(v))
	}
	return b
}

func packedLen(list []uint32) (n int) {
	for _, v := range list {
		n += uvarintLen(uint64(v))
	}
	return n
}

func uvarintLen(v uint64) int {
	n := 1
	for ; v >= 0x80; v >>= 7 {
		n++
	}
	return n
}

// Bytes returns the layer as part of a tile; nil without features.
func (l *Layer) Bytes() []byte {
	if l.count == 0 {
		return nil
	}
	head := []byte{15 << 3, 2} // version
	head = append(head, 1<<3|2)
	head = binary.AppendUvarint(head, uint64(len(l.name)))
	head = append(head, l.name...)
	var keys []byte
	for _, k := range l.keyList {
		keys = append(keys, 3<<3|2)
		keys = binary.AppendUvarint(keys, uint64(len(k)))
		keys = append(keys, k...)
	}
	tail := binary.AppendUvarint([]byte{5 << 3}, Extent)
	size := len(head) + len(l.features) + len(keys) + len(l.values) + len(tail)
	out := make([]byte, 0, size+8)
	out = append(out, 3<<3|2)
	out = binary.AppendUvarint(out, uint64(size))
	for _, part := range [][]byte{head, l.features, keys, l.values, tail} {
		out = append(out, part...)
	}
	return out
}
