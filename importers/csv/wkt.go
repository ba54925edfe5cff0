package csv

import (
	"errors"
	"fmt"
	"strings"

	"github.com/paulmach/orb"
)

// ReadWKT reads a geometry from a cell of well-known text, as a row's own
// geometry is read.
func ReadWKT(cell string) (orb.Geometry, error) { return readWKT(cell) }

// readWKT reads well-known text (OGC 06-103r4, section 7) of the types POINT,
// LINESTRING, POLYGON and their MULTI forms. Z and M are dropped. The prefix
// "SRID=4326;" of PostGIS is accepted, and no other.
func readWKT(cell string) (orb.Geometry, error) {
	text := strings.TrimSpace(cell)
	if text == "" {
		return nil, errors.New("no geometry: the cell is empty")
	}
	if srid, rest, ok := strings.Cut(text, ";"); ok {
		if !strings.EqualFold(strings.TrimSpace(srid), "SRID=4326") {
			return nil, fmt.Errorf("%q: expected SRID=4326, longitude and latitude in WGS 84", shortened(srid))
		}
		text = rest
	}
	w := wktReader{text: text}
	shape, err := w.geometry()
	if err == nil && w.peek() != 0 {
		err = fmt.Errorf("there is more after its end, from %q on", shortened(w.text[w.i:]))
	}
	if err != nil {
		return nil, fmt.Errorf("well-known text %q: %w", shortened(cell), err)
	}
	return shape, nil
}

// wktReader walks over well-known text.
type wktReader struct {
	text string
	i    int
}

// peek skips space and returns the byte after it; 0 at the end.
func (w *wktReader) peek() byte {
	for w.i < len(w.text) && strings.IndexByte(" \t\r\n", w.text[w.i]) >= 0 {
		w.i++
	}
	if w.i == len(w.text) {
		return 0
	}
	return w.text[w.i]
}

// token returns the next run of bytes that is neither space nor punctuation.
func (w *wktReader) token() string {
	w.peek()
	rest := w.text[w.i:]
	end := strings.IndexAny(rest, " \t\r\n(),")
	if end < 0 {
		end = len(rest)
	}
	w.i += end
	return rest[:end]
}

func (w *wktReader) geometry() (orb.Geometry, error) {
	kind := strings.ToUpper(w.token())
	if w.peek() != '(' {
		word := strings.ToUpper(w.token())
		if word == "Z" || word == "M" || word == "ZM" {
			word = ""
			if w.peek() != '(' {
				word = strings.ToUpper(w.token())
			}
		}
		switch word {
		case "":
		case "EMPTY":
			return nil, errors.New("the geometry is empty")
		default:
			return nil, fmt.Errorf("found %q; expected (", shortened(word))
		}
	}
	switch strings.TrimRight(kind, "ZM") {
	case "POINT":
		points, err := w.positions()
		if err == nil && len(points) != 1 {
			err = fmt.Errorf("it has %d positions; expected 1", len(points))
		}
		if err != nil {
			return nil, err
		}
		return points[0], nil
	case "MULTIPOINT":
		points, err := list(w, "position", w.bracketed)
		return orb.MultiPoint(points), err
	case "LINESTRING":
		return w.line()
	case "MULTILINESTRING":
		lines, err := list(w, "line", w.line)
		return orb.MultiLineString(lines), err
	case "POLYGON":
		return w.polygon()
	case "MULTIPOLYGON":
		polygons, err := list(w, "polygon", w.polygon)
		return orb.MultiPolygon(polygons), err
	}
	return nil, fmt.Errorf("type %q; expected POINT, LINESTRING, POLYGON or their MULTI forms", shortened(kind))
}

func (w *wktReader) line() (orb.LineString, error) {
	points, err := w.positions()
	if err == nil && len(points) < 2 {
		err = errors.New("a line has 1 position; expected at least 2")
	}
	return points, err
}

func (w *wktReader) polygon() (orb.Polygon, error) {
	return list(w, "ring", w.ring)
}

func (w *wktReader) ring() (orb.Ring, error) {
	points, err := w.positions()
	if err != nil {
		return nil, err
	}
	if first, last := points[0], points[len(points)-1]; first != last {
		return nil, fmt.Errorf("the ring is not closed: it begins at %v and ends at %v; repeat its first position as its last", first, last)
	}
	if len(points) < 4 {
		return nil, fmt.Errorf("the ring has %d positions; expected at least 4", len(points))
	}
	return points, nil
}

// list reads what is in brackets, one or more with commas between them.
func list[T any](w *wktReader, what string, read func() (T, error)) ([]T, error) {
	if w.peek() != '(' {
		return nil, fmt.Errorf("expected ( before %s 1", what)
	}
	var all []T
	for {
		w.i++ // the bracket, or the comma
		one, err := read()
		if err != nil {
			return nil, fmt.Errorf("%s %d: %w", what, len(all)+1, err)
		}
		all = append(all, one)
		switch w.peek() {
		case ',':
		case ')':
			w.i++
			return all, nil
		default:
			return nil, fmt.Errorf("expected a comma or ) after %s %d", what, len(all))
		}
	}
}

func (w *wktReader) positions() ([]orb.Point, error) {
	return list(w, "position", w.position)
}

// bracketed reads a position that may have brackets of its own, as those of a
// MULTIPOINT do in one of the two spellings in use.
func (w *wktReader) bracketed() (orb.Point, error) {
	if w.peek() != '(' {
		return w.position()
	}
	w.i++
	point, err := w.position()
	if err == nil && w.peek() != ')' {
		err = errors.New("expected )")
	}
	w.i++
	return point, err
}

// position reads two to four numbers and keeps the first two.
func (w *wktReader) position() (orb.Point, error) {
	var point orb.Point
	n := 0
	for c := w.peek(); c != 0 && c != ',' && c != ')' && c != '('; c = w.peek() {
		text := w.token()
		value, ok := number(text)
		if !ok {
			return point, fmt.Errorf("found %q; expected a number", shortened(text))
		}
		if n < len(point) {
			point[n] = value
		}
		n++
	}
	if n < 2 || n > 4 {
		return point, fmt.Errorf("it has %d numbers; expected longitude and latitude", n)
	}
	return point, nil
}
