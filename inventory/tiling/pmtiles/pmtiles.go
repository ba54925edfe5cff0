// Package pmtiles writes tiles as one file in the form of PMTiles, version 3
// (github.com/protomaps/PMTiles, spec/v3): a header, a directory of tiles by
// their place along a Hilbert curve, and the tiles, the same bytes once. It is
// pure: it makes what stands before the tiles.
//
// The module of the format's authors brings the clients of three clouds and a
// web server with it and doubles the program; the tests let its own tool judge
// what is written here.
package pmtiles

import (
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"math"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory/tiling"
)

// ID is a tile's place: the levels one after the other, and within a level along
// a Hilbert curve.
func ID(t tiling.Tile) uint64 {
	id := uint64(0)
	for z := range t.Z {
		id += 1 << (2 * z)
	}
	x, y := t.X, t.Y
	for s := 1 << t.Z >> 1; s > 0; s >>= 1 {
		right, low := 0, 0
		if x&s > 0 {
			right = 1
		}
		if y&s > 0 {
			low = 1
		}
		id += uint64(s) * uint64(s) * uint64(3*right^low)
		if low == 0 {
			if right == 1 {
				x, y = s-1-x, s-1-y
			}
			x, y = y, x
		}
	}
	return id
}

// Entry says where the bytes of tiles are that follow one another and are the
// same.
type Entry struct {
	id     uint64
	offset uint64 // among the tiles
	length uint32
	run    uint32 // tiles; 0 for a leaf of the directory
}

// Directory gathers the tiles of a file in the order of their places.
type Directory struct {
	entries  []Entry
	known    map[string]Entry // by digest
	bytes    uint64           // of all tiles
	tiles    uint64
	contents uint64
}

// Add notes a tile, whose bytes have a digest. It reports whether the bytes are
// new and are to be written after those before. Tiles come in the order of their
// places.
func (d *Directory) Add(id uint64, digest string, length int) (fresh bool) {
	if d.known == nil {
		d.known = make(map[string]Entry)
	}
	d.tiles++
	e, ok := d.known[digest]
	if !ok {
		e = Entry{offset: d.bytes, length: uint32(length)}
		d.known[digest] = e
		d.bytes += uint64(length)
		d.contents++
	}
	if n := len(d.entries); n > 0 {
		if last := &d.entries[n-1]; last.offset == e.offset && last.id+uint64(last.run) == id {
			last.run++
			return !ok
		}
	}
	d.entries = append(d.entries, Entry{id: id, offset: e.offset, length: e.length, run: 1})
	return !ok
}

// Tiles is how many tiles there are, and Contents how many different ones.
func (d *Directory) Tiles() (tiles, contents uint64) { return d.tiles, d.contents }

// Head is what is said of the tiles.
type Head struct {
	MinZoom, MaxZoom, CenterZoom int
	Bounds                       orb.Bound // degrees
	Metadata                     []byte    // JSON
}

const (
	headerBytes = 127
	// rootBytes is what a header and a root directory may take together.
	rootBytes = 16384
	gzipped   = 2
	mvt       = 1
)

// Before returns what stands before the tiles, which are gzipped vector tiles.
func (d *Directory) Before(h Head) []byte {
	metadata := zip(h.Metadata)
	root, leaves := d.serialize()
	var b []byte
	b = append(b, "PMTiles\x03"...)
	at := uint64(headerBytes)
	for _, part := range [][]byte{root, metadata, leaves} {
		b = binary.LittleEndian.AppendUint64(b, at)
		b = binary.LittleEndian.AppendUint64(b, uint64(len(part)))
		at += uint64(len(part))
	}
	for _, n := range []uint64{at, d.bytes, d.tiles, uint64(len(d.entries)), d.contents} {
		b = binary.LittleEndian.AppendUint64(b, n)
	}
	// Clustered: the tiles lie in the order of their places.
	b = append(b, 1, gzipped, gzipped, mvt, byte(h.MinZoom), byte(h.MaxZoom))
	center := h.Bounds.Center()
	for _, v := range []float64{h.Bounds.Min[0], h.Bounds.Min[1], h.Bounds.Max[0], h.Bounds.Max[1]} {
		b = appendDegrees(b, v)
	}
	b = append(b, byte(h.CenterZoom))
	b = appendDegrees(appendDegrees(b, center[0]), center[1])
	for _, part := range [][]byte{root, metadata, leaves} {
		b = append(b, part...)
	}
	return b
}

func appendDegrees(b []byte, v float64) []byte {
	return binary.LittleEndian.AppendUint32(b, uint32(int32(math.Round(v*1e7))))
}

// serialize writes the directory: whole in the root where it fits there, else in
// leaves that the root points to, each of as few entries as make them fit.
func (d *Directory) serialize() (root, leaves []byte) {
	if root = directory(d.entries); len(root) <= rootBytes-headerBytes {
		return root, nil
	}
	for size := 4096; ; size *= 2 {
		leaves = nil
		var pointers []Entry
		for from := 0; from < len(d.entries); from += size {
			part := d.entries[from:min(from+size, len(d.entries))]
			leaf := directory(part)
			pointers = append(pointers, Entry{id: part[0].id, offset: uint64(len(leaves)), length: uint32(len(leaf))})
			leaves = append(leaves, leaf...)
		}
		if root = directory(pointers); len(root) <= rootBytes-headerBytes {
			return root, leaves
		}
	}
}

// directory writes entries column by column, gzipped: places as differences, runs,
// lengths, and offsets, 0 where one follows the entry before.
func directory(list []Entry) []byte {
	b := binary.AppendUvarint(nil, uint64(len(list)))
	last := uint64(0)
	for _, e := range list {
		b = binary.AppendUvarint(b, e.id-last)
		last = e.id
	}
	for _, e := range list {
		b = binary.AppendUvarint(b, uint64(e.run))
	}
	for _, e := range list {
		b = binary.AppendUvarint(b, uint64(e.length))
	}
	for i, e := range list {
		if i > 0 && e.offset == list[i-1].offset+uint64(list[i-1].length) {
			b = append(b, 0)
		} else {
			b = binary.AppendUvarint(b, e.offset+1)
		}
	}
	return zip(b)
}

func zip(b []byte) []byte {
	var out bytes.Buffer
	w, _ := gzip.NewWriterLevel(&out, gzip.BestCompression)
	w.Write(b) // into memory: it does not fail
	w.Close()
	return out.Bytes()
}
