package postgres

import (
	"fmt"
	"math"

	"github.com/twpayne/go-geom"

	"github.com/underbough/underbough/inventory/filter"
)

// The least metres that a degree of latitude is on WGS 84, at the equator
// (110,574 m), and a little less than any degree of longitude is at the equator
// (111,320 m), times the cosine of the latitude elsewhere.
const metresPerDegree = 110_500

// bulge is by how many metres the shortest line on the ellipsoid between two
// stored positions may leave the box about them: that of a line of 50 km at 60°
// (its square by eight times the Earth's radius, times the tangent of the
// latitude) is 85 m.
const bulge = 100

// The lines of a literal bulge too, the more the longer they are: by 121 m at most
// where it is no more than a degree wide and high (as above, with a line of
// 111 km times the cosine of the latitude).
const (
	widest      = 1 // degrees
	widestBulge = 150
)

// prefilter returns a condition that the index of a stored geometry answers and
// that holds wherever a spatial condition does, or "" where there is none. Only
// a condition that no row can fulfil without meeting it may have one.
func (c *filterSQL) prefilter(e filter.Expr) (string, error) {
	var a, b filter.Expr
	distance, onEllipsoid := 0.0, false
	switch e := e.(type) {
	case *filter.Op:
		if spatialFunctions[e.Name] == "" || e.Name == "s_disjoint" {
			return "", nil
		}
		a, b = e.Args[0], e.Args[1]
	case *filter.Call:
		if f, ok := filter.FunctionNamed(e.Name); !ok || f.Name != "within_m" {
			return "", nil
		}
		n, ok := e.Args[2].(*filter.Number)
		if !ok {
			return "", nil
		}
		a, b, distance, onEllipsoid = e.Args[0], e.Args[1], n.Value, true
	}
	p, ok := a.(*filter.Property)
	if !ok {
		a, b = b, a
		if p, ok = a.(*filter.Property); !ok {
			return "", nil
		}
	}
	switch b.(type) {
	case *filter.Geometry, *filter.BBox:
	default:
		return "", nil
	}
	col, err := c.column(p)
	if err != nil || col.typ != filter.GeometryType {
		return "", err
	}
	indexed := col.indexed
	switch {
	case indexed == "" && !onEllipsoid:
		return "", nil // PostGIS uses the index of the column itself
	case indexed == "":
		indexed = col.sql
	}
	g, err := literalGeometry(b)
	if err != nil {
		return "", err
	}
	reach := distance + col.reachM
	if onEllipsoid {
		reach += bulge
	}
	return c.near(indexed, g, reach, onEllipsoid)
}

// near is a condition that the box of indexed lies no further than reach metres
// from the box of g, and possibly where it lies further.
func (c *filterSQL) near(indexed string, g geom.T, reach float64, onEllipsoid bool) (string, error) {
	if g.SRID() != wgs84 {
		return c.nearProjected(indexed, g, reach, onEllipsoid)
	}
	box := g.Bounds()
	w, s, e, n := box.Min(0), box.Min(1), box.Max(0), box.Max(1)
	if onEllipsoid {
		if e-w > widest || n-s > widest {
			return "", nil
		}
		reach += widestBulge
	}
	lat := reach / metresPerDegree
	s, n = s-lat, n+lat
	// A degree of longitude is shortest at the end nearest a pole.
	cos := math.Cos(math.Min(90, math.Max(math.Abs(s), math.Abs(n))) * math.Pi / 180)
	lon := 360.0
	if cos > 1e-6 {
		lon = math.Min(360, lat/cos)
	}
	w, e = w-lon, e+lon
	sql := c.overlaps(indexed, w, s, e, n)
	// What is stored beyond the antimeridian is a turn away. The text is the same
	// wherever the literal lies.
	return fmt.Sprintf("(%s OR %s OR %s)", sql, c.overlaps(indexed, w-360, s, e-360, n), c.overlaps(indexed, w+360, s, e+360, n)), nil
}

func (c *filterSQL) overlaps(indexed string, w, s, e, n float64) string {
	return fmt.Sprintf("%s && ST_MakeEnvelope(%s::float8, %s::float8, %s::float8, %s::float8, %d)", indexed, c.arg(w), c.arg(s), c.arg(e), c.arg(n), wgs84)
}

// nearProjected is near for a literal in another reference system, whose box in
// longitude and latitude the database works out once for the statement.
func (c *filterSQL) nearProjected(indexed string, g geom.T, reach float64, onEllipsoid bool) (string, error) {
	literal, err := c.literal(g)
	if err != nil {
		return "", err
	}
	limit := 720.0
	if onEllipsoid {
		limit, reach = widest, reach+widestBulge
	}
	lat := c.arg(reach/metresPerDegree) + "::float8"
	box := fmt.Sprintf(`SELECT CASE WHEN greatest(ST_XMax(g) - ST_XMin(g), ST_YMax(g) - ST_YMin(g)) > %[2]s::float8
			THEN ST_MakeEnvelope(-540, -90, 540, 90, %[4]d)
			ELSE ST_Expand(ST_Envelope(g), least(360, %[3]s / greatest(1e-6, cosd(least(90, greatest(abs(ST_YMin(g)), abs(ST_YMax(g))) + %[3]s)))), %[3]s) END
		FROM (SELECT %[1]s AS g) literal`, literal, c.arg(limit), lat, wgs84)
	return fmt.Sprintf("(%[1]s && (%[2]s) OR %[1]s && ST_Translate((%[2]s), 360, 0) OR %[1]s && ST_Translate((%[2]s), -360, 0))", indexed, box), nil
}
