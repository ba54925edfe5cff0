package api_test

import (
	"math"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/geojson"
)

// At the poles zones end at 90 degrees (RFC 7946, section 4), and a projection
// that puts a pole without end says so rather than a number.
func TestPoles(t *testing.T) {
	s := serve(t, nil)
	s.exec(t, `INSERT INTO trees (client_id, site_id, tree_id, height_m, geometry) VALUES
		(1, 1, 990, 12, ST_SetSRID(ST_MakePoint(0, 90), 4326)), (1, 1, 991, 12, ST_SetSRID(ST_MakePoint(10, 89.99999), 4326)), (1, 1, 992, 12, ST_SetSRID(ST_MakePoint(10, -89.99999), 4326))`)
	s.run(t)
	s.exec(t, `UPDATE sites SET epsg = 32761`)
	// PROJ's cs2cs has 4.1e23 m for it.
	r := s.get(t, "/collections/trees/items/990?crs="+epsg+"32761")
	if r.status != 400 || !strings.Contains(string(r.body), "ask with another crs") {
		t.Errorf("%d %.300s", r.status, r.body)
	}
	zones := s.get(t, "/collections/zones/items?limit=10000")
	list, err := geojson.UnmarshalFeatureCollection(zones.body)
	if err != nil {
		t.Fatal(err)
	}
	far := 0
	for _, f := range list.Features {
		if f.Geometry == nil {
			t.Errorf("zone %v has no geometry", f.ID)
			continue
		}
		b := f.Geometry.Bound()
		if math.Max(-b.Min[1], b.Max[1]) > 89 {
			far++
		}
		for _, p := range []orb.Point{b.Min, b.Max} {
			if math.Abs(p[1]) > 90 || math.Abs(p[0]) > 180 {
				t.Errorf("zone %v reaches %v", f.ID, p)
			}
		}
	}
	if far < 4 {
		t.Errorf("%d zones at the poles", far)
	}
}
