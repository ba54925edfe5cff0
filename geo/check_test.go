package geo_test

import (
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/underbough/underbough/geo"
)

func TestCheckPoint(t *testing.T) {
	for _, c := range []struct {
		lon, lat float64
		want     string // "" for no error
	}{
		{-71.1, 42.4, ""}, {180, 90, ""}, {-180, -90, ""},
		{42.4, -121.1, "swap the two"},
		{181, 10, "longitude 181 is outside"},
		{10, 91.5, "swap the two"},
		{100, 200, "latitude 200 is outside"},
		{500000, 4700000, "latitude"},
		{math.NaN(), 1, "longitude NaN is outside"},
		{1, math.Inf(1), "latitude +Inf is outside"},
	} {
		err := geo.CheckPoint(c.lon, c.lat)
		if (err == nil) != (c.want == "") || (err != nil && !strings.Contains(err.Error(), c.want)) {
			t.Errorf("(%v, %v): got %v, want %q", c.lon, c.lat, err, c.want)
		}
	}
}

func TestCheckGeometryNamesThePosition(t *testing.T) {
	g := orb.Collection{orb.Point{1, 2}, orb.Polygon{{{0, 0}, {1, 0}, {1, 95}, {0, 0}}}}
	err := geo.CheckGeometry(g)
	if err == nil || !strings.HasPrefix(err.Error(), "position 4: ") {
		t.Errorf("got %v, want position 4", err)
	}
	if err := geo.CheckGeometry(orb.MultiLineString{{{0, 0}, {1, 1}}, {{2, 2}, {-180, 3}}}); err != nil {
		t.Error(err)
	}
}

func TestCheckZone(t *testing.T) {
	for _, z := range []geo.Zone{geo.Disc(0), geo.Disc(12), geo.Sector(5, -400, 0.5)} {
		if err := geo.CheckZone(z); err != nil {
			t.Errorf("%+v: %v", z, err)
		}
	}
	for _, z := range []geo.Zone{geo.Disc(-1), geo.Disc(math.NaN()), geo.Sector(5, 0, 0), geo.Sector(5, math.Inf(1), 10)} {
		if geo.CheckZone(z) == nil {
			t.Errorf("%+v: want an error", z)
		}
	}
}
