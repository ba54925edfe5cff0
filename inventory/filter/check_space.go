package filter

import (
	"fmt"
	"math"

	"github.com/twpayne/go-geom"
)

// spatial sees that both operands are geometries; a collection of different
// dimensions has no interior that DE-9IM defines, so that it can only meet
// another geometry or not.
func (c *checker) spatial(e *Op, path string, types []Type) error {
	if err := c.all(e, path, types, "a geometry", GeometryType); err != nil {
		return err
	}
	if e.Name == "s_intersects" || e.Name == "s_disjoint" {
		return nil
	}
	for i, arg := range e.Args {
		if g, ok := arg.(*Geometry); ok && mixed(g.Geometry) {
			return c.fail(g, fmt.Sprintf("%s/%d", path, i), "%s has a collection of points, lines and areas: expected geometries of one dimension, or S_INTERSECTS or S_DISJOINT", shown(e.Name))
		}
	}
	return nil
}

// mixed reports whether a collection has geometries of different dimensions.
func mixed(g geom.T) bool {
	c, ok := g.(*geom.GeometryCollection)
	if !ok {
		return false
	}
	for _, part := range c.Geoms() {
		if dimension(part) != dimension(c.Geom(0)) {
			return true
		}
	}
	return false
}

// dimension is 0 of points, 1 of lines and 2 of areas.
func dimension(g geom.T) int {
	switch g.(type) {
	case *geom.Point, *geom.MultiPoint:
		return 0
	case *geom.LineString, *geom.MultiLineString:
		return 1
	}
	return 2
}

// geographic reports whether coordinates in a reference system are longitude and
// latitude in degrees.
func geographic(srid int) bool { return srid == 0 || srid == 4326 }

// geometry sees that longitudes and latitudes are on the globe and that no
// number is without bounds.
func (c *checker) geometry(e *Geometry, path string) error {
	if collection, ok := e.Geometry.(*geom.GeometryCollection); ok {
		for _, part := range collection.Geoms() {
			if err := c.geometry(&Geometry{e.at, part}, path); err != nil {
				return err
			}
		}
		return nil
	}
	flat, stride := e.Geometry.FlatCoords(), e.Geometry.Stride()
	for i := 0; i+1 < len(flat); i += stride {
		if err := c.onGlobe(e, path, flat[i], flat[i+1], e.Geometry.SRID()); err != nil {
			return err
		}
	}
	return nil
}

func (c *checker) onGlobe(e Expr, path string, x, y float64, srid int) error {
	if !finite([]float64{x, y}) {
		return c.fail(e, path, "a coordinate is no number")
	}
	if !geographic(srid) {
		return nil
	}
	if math.Abs(x) > 180 || math.Abs(y) > 90 {
		return c.fail(e, path, "the position %s %s is not on the globe: expected longitude (-180 to 180) and then latitude (-90 to 90); for other coordinates give filter-crs", number(x), number(y))
	}
	return nil
}

// box sees that the lower corner comes first. Only longitudes may wrap around.
func (c *checker) box(e *BBox, path string) error {
	n := e.Numbers
	if len(n) != 4 && len(n) != 6 || !finite(n) {
		return c.fail(e, path, "BBOX has %d numbers: expected 4 or 6", len(n))
	}
	half := len(n) / 2
	for _, corner := range [][]float64{n[:half], n[half:]} {
		if err := c.onGlobe(e, path, corner[0], corner[1], e.SRID); err != nil {
			return err
		}
	}
	if n[1] > n[half+1] || half == 3 && n[2] > n[5] || n[0] > n[half] && !geographic(e.SRID) {
		return c.fail(e, path, "BBOX has its upper corner before its lower one: expected the lower corner first")
	}
	return nil
}
