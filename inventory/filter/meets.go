package filter

import (
	"github.com/paulmach/orb"
	"github.com/twpayne/go-geom"
)

// Meets is that a geometry meets an area of longitudes and latitudes or is not
// there: what the parameter bbox asks for (OGC API - Features, fc-bbox-response).
func Meets(property string, area orb.MultiPolygon) Expr {
	var flat []float64
	var ends [][]int
	for _, polygon := range area {
		var of []int
		for _, ring := range polygon {
			for _, p := range ring {
				flat = append(flat, p[0], p[1])
			}
			of = append(of, len(flat))
		}
		ends = append(ends, of)
	}
	p := &Property{Name: property}
	return &Op{Name: "or", Args: []Expr{
		&Op{Name: "isNull", Args: []Expr{p}},
		&Op{Name: "s_intersects", Args: []Expr{p, &Geometry{Geometry: geom.NewMultiPolygonFlat(geom.XY, flat, ends)}}},
	}}
}
