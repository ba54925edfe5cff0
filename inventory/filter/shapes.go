package filter

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"github.com/twpayne/go-geom"
)

// shapeOf is a type of geometry: its name in GeoJSON, how deep GeoJSON nests its
// coordinates (-1 for a collection), and how it is made of them.
type shapeOf struct {
	name  string
	depth int
	make  func(geom.Layout, coordinates) (geom.T, error)
}

// shapes are by their names in small letters.
var shapes = map[string]*shapeOf{
	"point": {"Point", 0, func(l geom.Layout, c coordinates) (geom.T, error) {
		return geom.NewPointFlat(l, c.position), nil
	}},
	"linestring": {"LineString", 1, func(l geom.Layout, c coordinates) (geom.T, error) {
		return geom.NewLineString(l).SetCoords(line(c))
	}},
	"polygon": {"Polygon", 2, func(l geom.Layout, c coordinates) (geom.T, error) {
		return geom.NewPolygon(l).SetCoords(lines(c))
	}},
	"multipoint": {"MultiPoint", 1, func(l geom.Layout, c coordinates) (geom.T, error) {
		return geom.NewMultiPoint(l).SetCoords(line(c))
	}},
	"multilinestring": {"MultiLineString", 2, func(l geom.Layout, c coordinates) (geom.T, error) {
		return geom.NewMultiLineString(l).SetCoords(lines(c))
	}},
	"multipolygon": {"MultiPolygon", 3, func(l geom.Layout, c coordinates) (geom.T, error) {
		var all [][][]geom.Coord
		for _, p := range c.parts {
			all = append(all, lines(p))
		}
		return geom.NewMultiPolygon(l).SetCoords(all)
	}},
	"geometrycollection": {"GeometryCollection", -1, nil},
}

func line(c coordinates) (all []geom.Coord) {
	for _, p := range c.parts {
		all = append(all, p.position)
	}
	return all
}

func lines(c coordinates) (all [][]geom.Coord) {
	for _, p := range c.parts {
		all = append(all, line(p))
	}
	return all
}

// build makes the geometry of coordinates nested as deep as its type asks.
func (s *shapeOf) build(c coordinates) (geom.T, error) {
	size := 0
	if err := s.check(c, s.depth, &size); err != nil {
		return nil, err
	}
	layout := geom.XY
	if size == 3 {
		layout = geom.XYZ
	}
	return s.make(layout, c)
}

// check sees that all positions have size numbers (0 where none was seen) and
// that lines and rings have enough of them.
func (s *shapeOf) check(c coordinates, depth int, size *int) error {
	if depth == 0 {
		if *size == 0 {
			*size = len(c.position)
		}
		if len(c.position) != *size {
			return fmt.Errorf("a position of %d numbers among others of %d", len(c.position), *size)
		}
		return nil
	}
	if len(c.parts) == 0 {
		return errors.New("a part without coordinates")
	}
	for _, p := range c.parts {
		if err := s.check(p, depth-1, size); err != nil {
			return err
		}
	}
	n := len(c.parts)
	switch {
	case depth > 1 || s.name == "MultiPoint":
	case strings.HasSuffix(s.name, "LineString") && n < 2:
		return fmt.Errorf("a line of %d position: expected two or more", n)
	case strings.HasSuffix(s.name, "Polygon"):
		if n < 4 {
			return fmt.Errorf("a ring of %d positions: expected four or more, the last being the first", n)
		}
		if first, last := c.parts[0].position, c.parts[n-1].position; !geom.Coord(first).Equal(geom.XY, last) {
			return fmt.Errorf("a ring from %s to %s: expected the last position to be the first", place(first), place(last))
		}
	}
	return nil
}

func place(p []float64) string { return number(p[0]) + " " + number(p[1]) }

// collect makes a collection, which has one number of dimensions.
func collect(list []geom.T) (geom.T, error) {
	c := geom.NewGeometryCollection()
	if len(list) == 0 {
		return nil, errors.New("no geometries")
	}
	for _, g := range list {
		if g.Layout() != list[0].Layout() {
			return nil, errors.New("geometries of two and of three dimensions in one")
		}
		if err := c.Push(g); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// InCRS returns a copy in which every literal geometry and box is in the
// reference system srid: that is what coordinates without one are in
// (filter-crs). Where that system's first axis is y, they are swapped.
func InCRS(e Expr, srid int, yFirst bool) Expr {
	return rewrite(e, func(e Expr) Expr {
		switch e := e.(type) {
		case *Geometry:
			return &Geometry{e.at, geometryIn(e.Geometry, srid, yFirst)}
		case *BBox:
			n := append([]float64(nil), e.Numbers...)
			if half := len(n) / 2; yFirst {
				n[0], n[1], n[half], n[half+1] = n[1], n[0], n[half+1], n[half]
			}
			return &BBox{e.at, n, srid}
		}
		return e
	})
}

func geometryIn(g geom.T, srid int, yFirst bool) geom.T {
	if c, ok := g.(*geom.GeometryCollection); ok {
		out := geom.NewGeometryCollection().SetSRID(srid)
		for _, part := range c.Geoms() {
			out.MustPush(geometryIn(part, srid, yFirst))
		}
		return out
	}
	flat := append([]float64(nil), g.FlatCoords()...)
	if yFirst {
		for i := 0; i < len(flat); i += g.Stride() {
			flat[i], flat[i+1] = flat[i+1], flat[i]
		}
	}
	return withFlat(g, g.Layout(), flat, srid)
}

// withFlat is a geometry like g with other coordinates, as many.
func withFlat(g geom.T, l geom.Layout, flat []float64, srid int) geom.T {
	switch g.(type) {
	case *geom.Point:
		return geom.NewPointFlat(l, flat).SetSRID(srid)
	case *geom.LineString:
		return geom.NewLineStringFlat(l, flat).SetSRID(srid)
	case *geom.Polygon:
		return geom.NewPolygonFlat(l, flat, g.Ends()).SetSRID(srid)
	case *geom.MultiPoint:
		return geom.NewMultiPointFlat(l, flat).SetSRID(srid)
	case *geom.MultiLineString:
		return geom.NewMultiLineStringFlat(l, flat, g.Ends()).SetSRID(srid)
	case *geom.MultiPolygon:
		return geom.NewMultiPolygonFlat(l, flat, g.Endss()).SetSRID(srid)
	}
	panic(fmt.Sprintf("filter: a literal of type %T", g))
}

// finite reports whether all numbers are.
func finite(list []float64) bool {
	for _, v := range list {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return false
		}
	}
	return true
}
