package api_test

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"
)

// TestGeoJSONClass goes through the abstract tests of the class geojson.
func TestGeoJSONClass(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	t.Run("/conf/geojson/definition", func(t *testing.T) {
		for path, want := range map[string]string{"/": "application/json", "/collections": "application/json", treeItems: "application/geo+json", treeItems + "/1": "application/geo+json"} {
			if r := s.get(t, path); r.header.Get("Content-Type") != want {
				t.Error(path, r.header.Get("Content-Type"))
			}
		}
		if r := s.get(t, treeItems, "Accept", "application/geo+json"); r.header.Get("Content-Type") != "application/geo+json" {
			t.Error(r.header)
		}
	})
	// RFC 7946 has neither the member crs nor other positions than longitude and
	// latitude; the schema of the definition says which members there are.
	t.Run("/conf/geojson/content", func(t *testing.T) {
		for _, id := range collectionIDs {
			body := string(s.get(t, "/collections/"+id+"/items?limit=1000").body)
			if strings.Contains(body, `"crs":`) {
				t.Errorf("%s has a member crs", id)
			}
			for _, f := range parse[collection](t, []byte(body)).Features {
				if f.Type != "Feature" {
					t.Fatal(f)
				}
				checkPositions(t, f.Geometry)
			}
		}
	})
}

var positions = regexp.MustCompile(`\[(-?[0-9.]+),(-?[0-9.]+)\]`)

func checkPositions(t *testing.T, g *geometry) {
	t.Helper()
	if g == nil {
		return
	}
	for _, part := range g.Geometries {
		checkPositions(t, &part)
	}
	for _, m := range positions.FindAllStringSubmatch(string(g.Coordinates), -1) {
		var x, y float64
		if _, err := fmt.Sscan(m[1], &x); err != nil {
			t.Fatal(err)
		}
		if _, err := fmt.Sscan(m[2], &y); err != nil {
			t.Fatal(err)
		}
		if math.Abs(x-25.28) > 0.02 || math.Abs(y-54.68) > 0.02 {
			t.Errorf("%v, %v is not where the quarter is", x, y)
		}
	}
}
