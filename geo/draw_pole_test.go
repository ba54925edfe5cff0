package geo_test

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
)

// No position that is drawn lies beyond a pole: latitudes of GeoJSON are those of
// WGS 84, -90 to 90 (RFC 7946, section 4).
func TestPolygonEndsAtThePole(t *testing.T) {
	crown, err := geo.Outline(orb.Polygon{{{9.99, 89.9999}, {10.01, 89.9999}, {10, 89.99999}, {9.99, 89.9999}}}, orb.Point{10, 89.9999})
	if err != nil {
		t.Fatal(err)
	}
	for _, z := range []geo.Zone{{Radius: 30, Width: 360}, {Radius: 30, Bearing: 10, Width: 90}, crown} {
		for _, at := range []orb.Point{{10, 90}, {10, 89.99999}, {179.9, 89.9999}, {-10, -90}, {10, -89.9999}, {0, 60}} {
			if z.IsOutline() && at[1] != 89.99999 {
				continue
			}
			var points []orb.Point
			switch g := z.Polygon(at, 32).(type) {
			case orb.Polygon:
				points = append(points, g[0]...)
			case orb.MultiPolygon:
				for _, p := range g {
					points = append(points, p[0]...)
				}
			}
			for _, p := range points {
				if !(math.Abs(p[1]) <= 90 && math.Abs(p[0]) <= 180) {
					t.Errorf("%v at %v: %v", z, at, p)
					break
				}
			}
			if at[1] == 60 && len(points) < 5 {
				t.Errorf("%v at %v: %v", z, at, points)
			}
		}
	}
}
