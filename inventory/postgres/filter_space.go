package postgres

import (
	"fmt"

	"github.com/twpayne/go-geom"
	"github.com/twpayne/go-geom/encoding/ewkb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/filter"
)

// spatialFunctions are PostGIS's by those of the standard.
var spatialFunctions = map[string]string{
	"s_intersects": "ST_Intersects", "s_disjoint": "NOT ST_Intersects", "s_equals": "ST_Equals", "s_touches": "ST_Touches",
	"s_within": "ST_Within", "s_overlaps": "ST_Overlaps", "s_crosses": "ST_Crosses", "s_contains": "ST_Contains",
}

// spatial compiles a spatial function. The geometries of collections are plane,
// in degrees of longitude and latitude.
func (c *filterSQL) spatial(e *filter.Op) (string, error) {
	a, err := c.geometry(e.Args[0])
	if err != nil {
		return "", err
	}
	b, err := c.geometry(e.Args[1])
	return fmt.Sprintf("(%s(%s, %s))", spatialFunctions[e.Name], a, b), err
}

// call compiles a function of our own.
func (c *filterSQL) call(e *filter.Call) (string, error) {
	f, ok := filter.FunctionNamed(e.Name)
	if !ok || len(e.Args) != len(f.Arguments) {
		return "", unchecked(e)
	}
	a, err := c.geometry(e.Args[0])
	if err != nil {
		return "", err
	}
	b, err := c.geometry(e.Args[1])
	if err != nil {
		return "", err
	}
	switch f.Name {
	case "distance_m":
		return fmt.Sprintf("ST_Distance(%s::geography, %s::geography)", a, b), nil
	case "within_m":
		d, err := c.value(e.Args[2], filter.NumberType)
		return fmt.Sprintf("ST_DWithin(%s::geography, %s::geography, %s)", a, b, d), err
	}
	return "", unchecked(e)
}

// geometry compiles a geometry in longitude and latitude.
func (c *filterSQL) geometry(e filter.Expr) (string, error) {
	switch e := e.(type) {
	case *filter.Property:
		col, err := c.column(e)
		if col.typ == filter.UnknownType {
			return "NULL::geometry", err
		}
		return "(" + col.sql + ")", err
	case *filter.Geometry, *filter.BBox:
		g, err := literalGeometry(e)
		if err != nil {
			return "", err
		}
		return c.literal(g)
	}
	return "", unchecked(e)
}

// literal binds a geometry. It, and never a column, is brought to the other's
// reference system, so that the column's index can be used. What a user draws may
// cross itself, which the predicates refuse: such areas are mended first.
func (c *filterSQL) literal(g geom.T) (string, error) {
	b, err := ewkb.Marshal(g, ewkb.NDR)
	if err != nil {
		return "", inventory.Errorf(inventory.Invalid, "a geometry of the filter cannot be sent to the database: %w", err)
	}
	sql := "ST_GeomFromEWKB(" + c.arg(b) + "::bytea)"
	if g.SRID() != wgs84 {
		sql = fmt.Sprintf("ST_Transform(%s, %d)", sql, wgs84)
	}
	switch g := g.(type) {
	case *geom.Polygon, *geom.MultiPolygon:
		sql = "ST_CollectionExtract(ST_MakeValid(" + sql + "), 3)"
	case *geom.GeometryCollection:
		// The predicates other than ST_Intersects take no collection, so that one of
		// a single dimension becomes its union.
		sql = "ST_UnaryUnion(ST_MakeValid(" + sql + "))"
		if d, ok := dimensionOf(g); ok {
			sql = fmt.Sprintf("ST_CollectionExtract(%s, %d)", sql, d+1)
		}
	}
	return sql, nil
}

// dimensionOf is 0 of points, 1 of lines and 2 of areas; false of a mixture.
func dimensionOf(c *geom.GeometryCollection) (d int, same bool) {
	for i, part := range c.Geoms() {
		of := 2
		switch part.(type) {
		case *geom.Point, *geom.MultiPoint:
			of = 0
		case *geom.LineString, *geom.MultiLineString:
			of = 1
		}
		if i > 0 && of != d {
			return 0, false
		}
		d = of
	}
	return d, true
}

// literalGeometry is the plane geometry of a literal, with its reference system.
func literalGeometry(e filter.Expr) (geom.T, error) {
	switch e := e.(type) {
	case *filter.Geometry:
		srid := e.Geometry.SRID()
		if srid == 0 {
			srid = wgs84
		}
		return flattened(e.Geometry, srid), nil
	case *filter.BBox:
		return boxGeometry(e), nil
	}
	return nil, unchecked(e)
}

// flattened is a geometry without heights.
func flattened(g geom.T, srid int) geom.T {
	if c, ok := g.(*geom.GeometryCollection); ok {
		out := geom.NewGeometryCollection().SetSRID(srid)
		for _, part := range c.Geoms() {
			out.MustPush(flattened(part, srid))
		}
		return out
	}
	s := g.Stride()
	flat := make([]float64, 0, len(g.FlatCoords())/s*2)
	for i := 0; i < len(g.FlatCoords()); i += s {
		flat = append(flat, g.FlatCoords()[i:i+2]...)
	}
	ends := func(list []int) []int {
		out := make([]int, len(list))
		for i, n := range list {
			out[i] = n / s * 2
		}
		return out
	}
	switch g.(type) {
	case *geom.Point:
		return geom.NewPointFlat(geom.XY, flat).SetSRID(srid)
	case *geom.LineString:
		return geom.NewLineStringFlat(geom.XY, flat).SetSRID(srid)
	case *geom.Polygon:
		return geom.NewPolygonFlat(geom.XY, flat, ends(g.Ends())).SetSRID(srid)
	case *geom.MultiPoint:
		return geom.NewMultiPointFlat(geom.XY, flat).SetSRID(srid)
	case *geom.MultiLineString:
		return geom.NewMultiLineStringFlat(geom.XY, flat, ends(g.Ends())).SetSRID(srid)
	}
	var endss [][]int
	for _, list := range g.Endss() {
		endss = append(endss, ends(list))
	}
	return geom.NewMultiPolygonFlat(geom.XY, flat, endss).SetSRID(srid)
}

// boxSides is into how many pieces each side of a box is cut where it is in
// another reference system, in which straight is not straight here.
const boxSides = 32

// boxGeometry is the area of a box, two areas where it crosses the antimeridian,
// or a line or a point where it has no area.
func boxGeometry(e *filter.BBox) geom.T {
	n, half, srid := e.Numbers, len(e.Numbers)/2, e.SRID
	w, s, east, north := n[0], n[1], n[half], n[half+1]
	if srid == 0 {
		srid = wgs84
	}
	pieces := 1
	if srid != wgs84 {
		pieces = boxSides
	}
	if w > east {
		return geom.NewMultiPolygon(geom.XY).SetSRID(srid).MustSetCoords([][][]geom.Coord{
			{ring(w, s, 180, north, 1)}, {ring(-180, s, east, north, 1)},
		})
	}
	switch {
	case w == east && s == north:
		return geom.NewPointFlat(geom.XY, []float64{w, s}).SetSRID(srid)
	case w == east || s == north:
		return geom.NewLineStringFlat(geom.XY, []float64{w, s, east, north}).SetSRID(srid)
	}
	return geom.NewPolygon(geom.XY).SetSRID(srid).MustSetCoords([][]geom.Coord{ring(w, s, east, north, pieces)})
}

// ring goes round a box, with each side in pieces.
func ring(w, s, e, n float64, pieces int) (r []geom.Coord) {
	corners := []geom.Coord{{w, s}, {e, s}, {e, n}, {w, n}, {w, s}}
	for i := range corners[:4] {
		from, to := corners[i], corners[i+1]
		for k := range pieces {
			f := float64(k) / float64(pieces)
			r = append(r, geom.Coord{from[0] + f*(to[0]-from[0]), from[1] + f*(to[1]-from[1])})
		}
	}
	return append(r, corners[4])
}
