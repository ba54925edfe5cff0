package geojson

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strconv"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/paulmach/orb"

	"github.com/underbough/underbough/importers/source"
)

// ReadGeometry reads a geometry object that stands as text in a value, and says
// what was left out of it.
func ReadGeometry(text string) (g orb.Geometry, repair string, err error) {
	var rec source.Record
	p := Parser{dec: new(jsontext.Decoder)}
	p.Parse(source.Raw{Text: []byte(`{"type":"Feature","geometry":` + text + `}`)}, &rec)
	switch {
	case rec.Problem != nil:
		return nil, "", errors.New("it is not a GeoJSON geometry")
	case rec.GeometryProblem != nil:
		return nil, "", errors.New(rec.GeometryProblem.Reason)
	}
	return rec.Geometry, rec.Repair, nil
}

// shapeReader reads geometry objects (RFC 7946, 3.1) from valid JSON.
type shapeReader struct {
	points []orb.Point // the positions of the array being read
	holes  int         // holes left out because they cover no ground
}

// maxLevels is how deep GeometryCollections may nest. RFC 7946 advises against
// nesting them at all.
const maxLevels = 16

// read reads the geometry at the cursor and moves past it. After an error the
// cursor may be anywhere in it.
func (s *shapeReader) read(c *cursor, level int) (orb.Geometry, error) {
	switch c.space() {
	case 'n':
		c.value()
		return nil, errors.New("geometry is null")
	case '{':
	default:
		return nil, fmt.Errorf("geometry is %s; expected an object", kindOf(c.value()))
	}
	var kind, coordinates, geometries, crs []byte
	for c.more() {
		switch name := c.key(); string(name) {
		case "type":
			kind = c.value()
		case "coordinates":
			coordinates = c.value()
		case "geometries":
			geometries = c.value()
		case "crs":
			crs = c.value()
		default:
			c.value()
		}
	}
	if crs != nil {
		if err := checkCRS(crs); err != nil {
			return nil, err
		}
	}
	if kind == nil {
		return nil, errors.New(`geometry has no "type"`)
	}
	if bytes.IndexByte(kind, '\\') >= 0 {
		kind = strconv.AppendQuote(nil, unquoted(kind))
	}
	if string(kind) == `"GeometryCollection"` {
		return s.collection(geometries, level)
	}
	if coordinates == nil {
		return nil, fmt.Errorf(`%s has no "coordinates"`, shortened(string(kind)))
	}
	shape, err := s.shape(kind, cursor{b: coordinates})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", shortened(string(kind)), err)
	}
	return shape, nil
}

// shape reads the coordinates of a geometry of the type in the JSON string kind.
func (s *shapeReader) shape(kind []byte, c cursor) (orb.Geometry, error) {
	switch string(kind) {
	case `"Point"`:
		return s.position(&c)
	case `"MultiPoint"`:
		return s.multiPoint(&c)
	case `"LineString"`:
		return s.line(&c)
	case `"MultiLineString"`:
		return s.multiLine(&c)
	case `"Polygon"`:
		return s.polygon(&c)
	case `"MultiPolygon"`:
		return s.multiPolygon(&c)
	}
	return nil, errors.New("no such geometry type; expected Point, LineString, Polygon, their Multi forms or GeometryCollection")
}

func (s *shapeReader) collection(geometries []byte, level int) (orb.Geometry, error) {
	if level == maxLevels {
		return nil, fmt.Errorf("GeometryCollections nest deeper than %d", maxLevels)
	}
	if geometries == nil {
		return nil, errors.New(`GeometryCollection has no "geometries"`)
	}
	var all orb.Collection
	err := each(&cursor{b: geometries}, "geometry", func(c *cursor) error {
		shape, err := s.read(c, level+1)
		all = append(all, shape)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("GeometryCollection: %w", err)
	}
	return all, nil
}

func (s *shapeReader) multiPoint(c *cursor) (orb.MultiPoint, error) {
	if err := s.positions(c); err != nil {
		return nil, err
	}
	return append(orb.MultiPoint(nil), s.points...), nil
}

func (s *shapeReader) line(c *cursor) (orb.LineString, error) {
	if err := s.positions(c); err != nil {
		return nil, err
	}
	if len(s.points) < 2 {
		return nil, errors.New("it has 1 position; expected at least 2")
	}
	return append(orb.LineString(nil), s.points...), nil
}

func (s *shapeReader) multiLine(c *cursor) (orb.MultiLineString, error) {
	var lines orb.MultiLineString
	return lines, each(c, "line", func(c *cursor) error {
		line, err := s.line(c)
		lines = append(lines, line)
		return err
	})
}

func (s *shapeReader) polygon(c *cursor) (orb.Polygon, error) {
	var rings orb.Polygon
	err := each(c, "ring", func(c *cursor) error {
		ring, err := s.ring(c)
		if few := tooFew(0); errors.As(err, &few) && len(rings) > 0 {
			s.holes++ // a hole there and back takes nothing away
			return nil
		}
		rings = append(rings, ring)
		return err
	})
	return rings, err
}

// tooFew is the error of a ring that covers no ground: its number of positions.
type tooFew int

func (n tooFew) Error() string {
	return fmt.Sprintf("the ring has %d positions; expected at least 4", int(n))
}

// ring reads a linear ring: closed, with four or more positions (RFC 7946,
// 3.1.6).
func (s *shapeReader) ring(c *cursor) (orb.Ring, error) {
	if err := s.positions(c); err != nil {
		return nil, err
	}
	first, last := s.points[0], s.points[len(s.points)-1]
	if first != last {
		return nil, fmt.Errorf("the ring is not closed: it begins at %v and ends at %v; repeat its first position as its last", first, last)
	}
	if len(s.points) < 4 {
		return nil, tooFew(len(s.points))
	}
	return append(orb.Ring(nil), s.points...), nil
}

func (s *shapeReader) multiPolygon(c *cursor) (orb.MultiPolygon, error) {
	var polygons orb.MultiPolygon
	err := each(c, "polygon", func(c *cursor) error {
		polygon, err := s.polygon(c)
		polygons = append(polygons, polygon)
		return err
	})
	return polygons, err
}

// positions reads an array of positions into s.points.
func (s *shapeReader) positions(c *cursor) error {
	s.points = s.points[:0]
	return each(c, "position", func(c *cursor) error {
		point, err := s.position(c)
		s.points = append(s.points, point)
		return err
	})
}

// each reads an array that must not be empty, element by element.
func each(c *cursor, what string, read func(*cursor) error) error {
	if c.space() != '[' {
		return fmt.Errorf("found %s; expected an array with one %s or more", kindOf(c.value()), what)
	}
	n := 0
	for ; c.more(); n++ {
		if err := read(c); err != nil {
			return fmt.Errorf("%s %d: %w", what, n+1, err)
		}
	}
	if n == 0 {
		return fmt.Errorf("empty; expected one %s or more", what)
	}
	return nil
}

// position reads longitude and latitude, and drops the numbers after them.
func (s *shapeReader) position(c *cursor) (orb.Point, error) {
	var point orb.Point
	if c.space() != '[' {
		return point, fmt.Errorf("found %s; expected [longitude, latitude]", kindOf(c.value()))
	}
	n := 0
	for ; c.more(); n++ {
		text := c.value()
		if text[0] != '-' && (text[0] < '0' || text[0] > '9') {
			return point, fmt.Errorf("found %s among the coordinates; expected a number", kindOf(text))
		}
		if n >= len(point) {
			continue
		}
		number, err := strconv.ParseFloat(string(text), 64)
		if err != nil || math.IsInf(number, 0) {
			return point, fmt.Errorf("coordinate %s is out of the range of numbers", shortened(string(text)))
		}
		point[n] = number
	}
	if n < len(point) {
		return point, fmt.Errorf("position has %d of the 2 numbers it needs", n)
	}
	return point, nil
}
