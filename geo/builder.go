package geo

import (
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// Shape is what a piece, and so a hit, measures.
type Shape uint8

// The three shapes: counted, measured in metres, measured in square metres.
const (
	ShapePoint Shape = iota
	ShapeLine
	ShapeArea
)

// Targets are stored in pieces small enough for a grid to tell them apart: a
// tree beside a lot of 100,000 corners should meet only the few near it.
const (
	ringCorners  = 64    // most corners of a piece of a ring
	ringSpanM    = 125.0 // most extent of a piece of a ring, metres
	lineSegments = 16    // most segments of a piece of a line
	lineSpanM    = 125.0 // most extent of a piece of a line, metres
	ringPieces   = 256   // most pieces along one side of a huge polygon
	linePieces   = 4096  // most pieces along one side of a huge line
	tinySpanM    = 2.0   // crowded corners are not cut further than this
)

// rawPiece is a piece as it is gathered.
type rawPiece struct {
	box
	start uint32 // of its first position, in positions
	n     int32
	ref   int32
	shape Shape
}

// Builder gathers targets for an Index.
type Builder struct {
	pieces []rawPiece
	coords []float64 // longitude, latitude, …
	buf    []orb.Point
}

// NewBuilder returns an empty Builder.
func NewBuilder() *Builder { return &Builder{} }

// Add stores a geometry under the caller's number for it. Several geometries
// may share a number; their measures add up. Coordinates must have passed
// CheckGeometry.
func (b *Builder) Add(ref int32, g orb.Geometry) {
	switch g := g.(type) {
	case orb.Point:
		b.buf = append(b.buf[:0], g)
		b.store(ref, ShapePoint, b.buf, boxOf(b.buf))
	case orb.MultiPoint:
		addEach(b, ref, g)
	case orb.LineString:
		b.addLine(ref, g)
	case orb.MultiLineString:
		addEach(b, ref, g)
	case orb.Ring:
		b.addRing(ref, g, false)
	case orb.Polygon:
		for i, ring := range g {
			b.addRing(ref, ring, i > 0)
		}
	case orb.MultiPolygon:
		addEach(b, ref, g)
	case orb.Collection:
		addEach(b, ref, g)
	case orb.Bound:
		b.Add(ref, g.ToPolygon())
	}
}

func addEach[G orb.Geometry](b *Builder, ref int32, parts []G) {
	for _, g := range parts {
		b.Add(ref, g)
	}
}

// span is a size in degrees of longitude and latitude.
type span struct{ lon, lat float64 }

func spanOf(metres, lat float64) span {
	p := NewPlane(orb.Point{0, lat})
	return span{metres / p.kx, metres / p.ky}
}

func (s span) times(n float64) span { return span{s.lon * n, s.lat * n} }

func (s span) holds(b box) bool { return b.maxX-b.minX <= s.lon && b.maxY-b.minY <= s.lat }

// grown is the span, made larger where a box would need more than n of them.
func (s span) grown(b box, n float64) span {
	return span{max(s.lon, (b.maxX-b.minX)/n), max(s.lat, (b.maxY-b.minY)/n)}
}

// addLine cuts a line at its corners where it can, within a segment where that
// alone is too long. Smaller pieces than these were tried: looking through more
// of them costs more than the edges they save.
func (b *Builder) addLine(ref int32, line []orb.Point) {
	if len(line) < 2 {
		return
	}
	b.buf = unwrap(b.buf, line, 0)
	whole := boxOf(b.buf)
	metre := spanOf(1, (whole.minY+whole.maxY)/2)
	limit := metre.times(lineSpanM).grown(whole, linePieces)
	piece := make([]orb.Point, 1, lineSegments+1)
	piece[0] = b.buf[0]
	around := boxOf(piece)
	for i := 1; i < len(b.buf); i++ {
		from, to := b.buf[i-1], b.buf[i]
		steps := math.Ceil(max(math.Abs(to[0]-from[0])/limit.lon, math.Abs(to[1]-from[1])/limit.lat, 1))
		for k := 1.0; k <= steps; k++ {
			next := between(from, to, k/steps)
			wider := around.with(next)
			if len(piece) > lineSegments || (len(piece) > 1 && !limit.holds(wider)) {
				b.store(ref, ShapeLine, piece, around)
				piece[0] = piece[len(piece)-1]
				piece = piece[:1]
				wider = boxOf(piece).with(next)
			}
			piece, around = append(piece, next), wider
		}
	}
	b.store(ref, ShapeLine, piece, around)
}

func (b *Builder) addRing(ref int32, points []orb.Point, hole bool) {
	ring := openRing(points)
	if ring == nil {
		return
	}
	b.buf = unwrap(b.buf, ring, 0)
	orient(b.buf, hole)
	whole := boxOf(b.buf)
	lat := (whole.minY + whole.maxY) / 2
	metre := spanOf(1, lat)
	limit := metre.times(ringSpanM).grown(whole, ringPieces)
	b.split(ref, b.buf, whole, limit, metre.times(tinySpanM))
}

// split cuts a ring across its longer side until the pieces are small.
func (b *Builder) split(ref int32, ring []orb.Point, e box, limit, tiny span) {
	if len(ring) < 3 {
		return
	}
	if e.minX == e.maxX || e.minY == e.maxY {
		return // only edges to and fro along a cut
	}
	width, height := (e.maxX-e.minX)/limit.lon, (e.maxY-e.minY)/limit.lat
	crowded := len(ring) > ringCorners && (e.maxX-e.minX > tiny.lon || e.maxY-e.minY > tiny.lat)
	if !crowded && width <= 1 && height <= 1 {
		b.store(ref, ShapeArea, ring, e)
		return
	}
	axis, middle := 0, (e.minX+e.maxX)/2
	if height > width {
		axis, middle = 1, (e.minY+e.maxY)/2
	}
	for _, above := range []bool{false, true} {
		half := halfPlane{axis, middle, above}.cut(nil, ring)
		b.split(ref, half, boxOf(half), limit, tiny)
	}
}

// store adds a piece. Its longitudes are left as unwrap made them: those of a
// target across the antimeridian run past ±180, which the search allows for.
func (b *Builder) store(ref int32, shape Shape, points []orb.Point, around box) {
	start := uint32(len(b.coords) / 2)
	b.coords = room(b.coords, 2*len(points))
	for _, p := range points {
		b.coords = append(b.coords, p[0], p[1])
	}
	b.pieces = append(room(b.pieces, 1), rawPiece{box: around, start: start, n: int32(len(points)), ref: ref, shape: shape})
}

// room makes room for n more by doubling: append's own steps of a quarter
// copy a long list several times over.
func room[T any](list []T, n int) []T {
	if len(list)+n > cap(list) {
		list = slices.Grow(list, max(n, len(list)))
	}
	return list
}
