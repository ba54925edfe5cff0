package api

import (
	"fmt"

	"github.com/paulmach/orb"
)

// appendOutline appends a point, or an outline as geo.Zone draws it, whose
// rings go the right way round already.
func appendOutline(dst []byte, g orb.Geometry) ([]byte, error) { return lonLat.appendOutline(dst, g) }

func (f form) appendOutline(dst []byte, g orb.Geometry) (_ []byte, err error) {
	switch g := g.(type) {
	case nil:
		return append(dst, "null"...), nil
	case orb.Point:
		dst = append(dst, `{"type":"Point","coordinates":`...)
		if dst, err = f.appendPosition(dst, g[0], g[1]); err != nil {
			return dst, err
		}
		return append(dst, '}'), nil
	case orb.Polygon:
		dst = append(dst, `{"type":"Polygon","coordinates":`...)
		if dst, err = f.appendRings(dst, g); err != nil {
			return dst, err
		}
		return append(dst, '}'), nil
	case orb.MultiPolygon:
		dst = append(dst, `{"type":"MultiPolygon","coordinates":[`...)
		for i, p := range g {
			if i > 0 {
				dst = append(dst, ',')
			}
			if dst, err = f.appendRings(dst, p); err != nil {
				return dst, err
			}
		}
		return append(dst, ']', '}'), nil
	}
	return dst, fmt.Errorf("a computed geometry is a %T", g)
}

func (f form) appendRings(dst []byte, p orb.Polygon) (_ []byte, err error) {
	dst = append(dst, '[')
	for i, ring := range p {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = append(dst, '[')
		for k, at := range ring {
			if k > 0 {
				dst = append(dst, ',')
			}
			if dst, err = f.appendPosition(dst, at[0], at[1]); err != nil {
				return dst, err
			}
		}
		dst = append(dst, ']')
	}
	return append(dst, ']'), nil
}
