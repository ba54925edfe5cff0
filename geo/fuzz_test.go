package geo_test

import (
	"encoding/binary"
	"math"
	"testing"

	"github.com/paulmach/orb"
	"github.com/underbough/underbough/geo"
)

// FuzzOverlap feeds any ring, line and zone, self-crossing and degenerate ones
// too. What comes out must be a number, not negative, never more than the zone
// holds or the line has, and the index must agree that it is so.
func FuzzOverlap(f *testing.F) {
	f.Add(10.0, 52.0, 15.0, 0.0, 360.0, []byte{0, 0, 0, 0, 200, 0, 0, 0, 200, 0, 200, 0})
	f.Add(180.0, -75.0, 200.0, 90.0, 60.0, []byte{255, 127, 0, 128, 0, 0, 0, 0, 1, 0, 1, 0, 1, 0, 1, 0})
	f.Add(0.0, 89.9, 1e-9, -700.0, 359.0, []byte{})
	f.Fuzz(func(t *testing.T, lon, lat, radius, bearing, width float64, raw []byte) {
		z := geo.Sector(radius, bearing, width)
		if geo.CheckPoint(lon, lat) != nil || geo.CheckZone(z) != nil || math.Abs(lat) > 85 || radius > 2000 {
			t.Skip("outside what the package promises")
		}
		origin := orb.Point{lon, lat}
		plane := geo.NewPlane(origin)
		var points []orb.Point
		for ; len(raw) >= 4; raw = raw[4:] {
			x := float64(int16(binary.LittleEndian.Uint16(raw))) / 100 * (1 + radius/50)
			y := float64(int16(binary.LittleEndian.Uint16(raw[2:]))) / 100 * (1 + radius/50)
			points = append(points, plane.ToPoint(x, y))
		}
		line, polygon := orb.LineString(points), orb.Polygon{orb.Ring(points)}
		m := geo.Overlap(z, origin, orb.Collection{orb.MultiPoint(points), line, polygon})
		within(t, "length", m.LengthM, geo.Size(line).LengthM)
		within(t, "area", m.AreaM2, z.Area())
		if m.Points < 0 || m.Points > len(points) {
			t.Errorf("%d of %d points", m.Points, len(points))
		}
		b := geo.NewBuilder()
		b.Add(0, line)
		b.Add(1, polygon)
		var s geo.Scratch
		for _, h := range b.Build().Overlaps(origin, []geo.Zone{z}, &s) {
			within(t, "indexed length", h.LengthM, geo.Size(line).LengthM)
			within(t, "indexed area", h.AreaM2, z.Area())
		}
	})
}

func within(t *testing.T, what string, v, limit float64) {
	t.Helper()
	if !(v >= 0 && v <= limit*(1+1e-4)+1e-6) {
		t.Errorf("%s %v is not between 0 and %v", what, v, limit)
	}
}
