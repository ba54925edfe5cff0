package api

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
)

// takeGeometry takes a geometry object, or null, into the edit.
func (e *editing) takeGeometry(given any) error {
	ref, err := e.contentCRS(e.r)
	if err != nil {
		return err
	}
	e.edit.SRID = ref.SRID
	if given == nil {
		e.edit.Geometry = inventory.Opt[orb.Geometry]{OK: true}
		return nil
	}
	r := geometryReader{yFirst: ref.YFirst}
	g, err := r.read(given, 0)
	if err != nil {
		return geometryFault("%v", err)
	}
	c := e.edit.Collection
	if kind := g.GeoJSONType(); !slices.Contains(c.Geometries, kind) && !slices.Contains(c.Geometries, "Multi"+kind) {
		return geometryFault("a %s: expected %s", kind, strings.Join(c.Geometries, " or "))
	}
	if ref.Degrees() {
		if err := geo.CheckGeometry(g); err != nil {
			return geometryFault("%v", err)
		}
	}
	e.edit.Geometry = inventory.Some(g)
	return nil
}

func geometryFault(format string, args ...any) error {
	return &inventory.Error{Kind: inventory.Invalid, Message: "geometry: " + fmt.Sprintf(format, args...), Field: inventory.GeometryProperty}
}

// geometryReader reads geometry objects (RFC 7946, 3.1). Numbers beyond the
// second of a position are left out: nothing here has heights.
type geometryReader struct {
	yFirst bool // the order of the reference system that they are in
}

// maxCollections is how deep GeometryCollections may nest; RFC 7946 advises
// against nesting them at all.
const maxCollections = 4

func (r geometryReader) read(given any, depth int) (orb.Geometry, error) {
	object, ok := given.(map[string]any)
	if !ok {
		return nil, fmt.Errorf("it is %s, expected an object", kindOfJSON(given))
	}
	if _, ok := object["crs"]; ok {
		return nil, fmt.Errorf("it has a member crs, which GeoJSON no longer has (RFC 7946, 4): name the reference system in the header Content-Crs")
	}
	kind, _ := object["type"].(string)
	if kind == "GeometryCollection" {
		if depth == maxCollections {
			return nil, fmt.Errorf("GeometryCollections nest deeper than %d", maxCollections)
		}
		return eachOf(object["geometries"], "geometries", 1, func(v any) (orb.Geometry, error) { return r.read(v, depth+1) },
			func(list []orb.Geometry) (orb.Geometry, error) { return orb.Collection(list), nil })
	}
	at := object["coordinates"]
	if at == nil {
		return nil, fmt.Errorf(`%.40q has no "coordinates"`, kind)
	}
	switch kind {
	case "Point":
		return r.position(at)
	case "MultiPoint":
		return eachOf(at, "positions", 1, r.position, func(list []orb.Point) (orb.Geometry, error) { return orb.MultiPoint(list), nil })
	case "LineString":
		return r.line(at)
	case "MultiLineString":
		return eachOf(at, "lines", 1, r.line, func(list []orb.LineString) (orb.Geometry, error) { return orb.MultiLineString(list), nil })
	case "Polygon":
		return r.polygon(at)
	case "MultiPolygon":
		return eachOf(at, "polygons", 1, r.polygon, func(list []orb.Polygon) (orb.Geometry, error) { return orb.MultiPolygon(list), nil })
	}
	return nil, fmt.Errorf("type is %s, expected Point, LineString, Polygon, their Multi forms or GeometryCollection", kindOfJSON(object["type"]))
}

// eachOf reads a list of least or more things and makes something of them.
func eachOf[T, G any](given any, what string, least int, read func(any) (T, error), whole func([]T) (G, error)) (none G, err error) {
	list, ok := given.([]any)
	if !ok || len(list) < least {
		found := kindOfJSON(given)
		if ok {
			found = fmt.Sprintf("a list of %d", len(list))
		}
		return none, fmt.Errorf("it is %s, expected a list of %d %s or more", found, least, what)
	}
	out := make([]T, len(list))
	for i, v := range list {
		if out[i], err = read(v); err != nil {
			return none, fmt.Errorf("%s, number %d: %w", what, i+1, err)
		}
	}
	return whole(out)
}

func (r geometryReader) line(given any) (orb.LineString, error) {
	return eachOf(given, "positions", 2, r.position, func(list []orb.Point) (orb.LineString, error) { return list, nil })
}

func (r geometryReader) polygon(given any) (orb.Polygon, error) {
	return eachOf(given, "rings", 1, r.ring, func(list []orb.Ring) (orb.Polygon, error) { return list, nil })
}

// ring reads a linear ring: closed, of four or more positions (RFC 7946, 3.1.6).
func (r geometryReader) ring(given any) (orb.Ring, error) {
	return eachOf(given, "positions", 4, r.position, func(list []orb.Point) (orb.Ring, error) {
		if list[0] != list[len(list)-1] {
			return nil, fmt.Errorf("the ring is not closed: repeat its first position as its last")
		}
		return list, nil
	})
}

func (r geometryReader) position(given any) (p orb.Point, err error) {
	list, ok := given.([]any)
	if !ok || len(list) < 2 {
		return p, fmt.Errorf("a position is %s, expected a list of two numbers", kindOfJSON(given))
	}
	for i, v := range list {
		n, ok := v.(literalNumber)
		if !ok {
			return p, fmt.Errorf("%s among the coordinates, expected a number", kindOfJSON(v))
		}
		if i >= len(p) {
			continue
		}
		if p[i], err = strconv.ParseFloat(string(n), 64); err != nil || math.IsInf(p[i], 0) {
			return p, fmt.Errorf("the coordinate %.40s is out of the range of numbers", n)
		}
	}
	if r.yFirst {
		p[0], p[1] = p[1], p[0]
	}
	return p, nil
}
