package api_test

import (
	"bytes"
	"fmt"
	"math"
	"net/url"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const (
	epsg      = "http://www.opengis.net/def/crs/EPSG/0/"
	crs84     = "http://www.opengis.net/def/crs/OGC/1.3/CRS84"
	utmOfTown = 32635 // the zone of 25.28° E
	grid1994  = 3346  // LKS-94 / Lithuania TM, which puts northing first
)

// cs2cs transforms longitudes and latitudes by PROJ's own tool, which gives
// coordinates in the order of the authority's axes.
func cs2cs(t testing.TB, srid int, places [][2]float64) [][2]float64 {
	t.Helper()
	var in, said bytes.Buffer
	for _, p := range places {
		fmt.Fprintf(&in, "%.10f %.10f\n", p[1], p[0])
	}
	cmd := exec.Command("cs2cs", "-f", "%.9f", "EPSG:4326", fmt.Sprintf("EPSG:%d", srid))
	cmd.Stdin, cmd.Stderr = &in, &said
	text, err := cmd.Output()
	if err != nil {
		t.Fatalf("cs2cs, which `.ci/provision test` installs: %v %s", err, said.String())
	}
	var out [][2]float64
	for line := range strings.Lines(string(text)) {
		f := strings.Fields(line)
		a, err := strconv.ParseFloat(f[0], 64)
		b, err2 := strconv.ParseFloat(f[1], 64)
		if err != nil || err2 != nil {
			t.Fatalf("cs2cs: %q", line)
		}
		out = append(out, [2]float64{a, b})
	}
	if len(out) != len(places) {
		t.Fatalf("cs2cs gave %d places for %d", len(out), len(places))
	}
	return out
}

// placesOf are the positions of a geometry, in their order.
func placesOf(t testing.TB, g *geometry) (list [][2]float64) {
	t.Helper()
	if g == nil {
		return nil
	}
	for i := range g.Geometries {
		list = append(list, placesOf(t, &g.Geometries[i])...)
	}
	if g.Coordinates == nil {
		return list
	}
	var walk func(any)
	walk = func(v any) {
		of := v.([]any)
		if x, ok := of[0].(float64); ok {
			list = append(list, [2]float64{x, of[1].(float64)})
			return
		}
		for _, part := range of {
			walk(part)
		}
	}
	walk(parse[any](t, g.Coordinates))
	return list
}

func query(pairs ...string) string {
	v := make(url.Values)
	for i := 0; i < len(pairs); i += 2 {
		v.Set(pairs[i], pairs[i+1])
	}
	return v.Encode()
}

// withReferences has sites beside the first: one with a reference system of its
// own, and two whose codes cannot be served.
func (s *service) withReferences(t testing.TB) {
	s.exec(t, `INSERT INTO sites (client_id, site_id, name, epsg) VALUES (1, 2, 'Grid', 3346), (1, 3, 'No inverse', 22300), (1, 4, 'No such code', 99999)`)
}

// TestReferences goes through OGC API - Features - Part 2 (18-058r1).
func TestReferences(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	s.withReferences(t)
	served := []string{crs84, epsg + "4326", epsg + "3857", epsg + "32635", epsg + "3346"}

	t.Run("a collection lists what it is served in", func(t *testing.T) {
		for _, id := range collectionIDs {
			c := parse[struct {
				CRS        []string
				StorageCRS string
			}](t, s.get(t, "/collections/"+id).body)
			if !slices.Equal(c.CRS, served) || c.StorageCRS != crs84 {
				t.Errorf("%s: %v, stored in %s", id, c.CRS, c.StorageCRS)
			}
		}
	})
	t.Run("a change of a site's is seen at once", func(t *testing.T) {
		s.exec(t, `UPDATE sites SET epsg = 2249 WHERE site_id = 2`)
		s.features(t, "/collections/trees/items?limit=1&crs="+epsg+"2249")
		s.problem(t, "/collections/trees/items?crs="+epsg+"3346", 400, "crs")
		s.exec(t, `UPDATE sites SET epsg = 3346 WHERE site_id = 2`)
	})
	t.Run("what is not served is refused", func(t *testing.T) {
		for _, uri := range []string{"http://www.opengis.net/def/crs/0/unsupported", epsg + "32634", epsg + "22300", epsg + "99999", "EPSG", "4326"} {
			for _, path := range []string{"items?crs=", "items?bbox=1,2,3,4&bbox-crs=", "items?bbox-crs=", "items?filter=tree_id=1&filter-crs=", "items/1?crs="} {
				parameter := strings.TrimPrefix(path[strings.LastIndexAny(path, "?&")+1:], "")
				s.problem(t, "/collections/trees/"+path+url.QueryEscape(uri), 400, strings.TrimSuffix(parameter, "="))
			}
		}
		if r := s.get(t, "/collections/trees/items?crs=x"); !strings.Contains(string(r.body), epsg+"3346") {
			t.Errorf("the answer does not say what is served: %s", r.body)
		}
	})
	t.Run("coordinates are the authority's to the last decimal", func(t *testing.T) {
		trees := s.features(t, "/collections/trees/items?limit=300").Features
		var places [][2]float64
		for _, f := range trees {
			places = append(places, placesOf(t, f.Geometry)...)
		}
		for _, c := range []struct{ srid, decimals int }{{4326, 7}, {3857, 3}, {utmOfTown, 3}, {grid1994, 3}} {
			want := cs2cs(t, c.srid, places)
			for i, f := range s.features(t, fmt.Sprintf("/collections/trees/items?limit=300&crs=%s%d", epsg, c.srid)).Features {
				text := func(v float64) string {
					return strings.TrimRight(strings.TrimRight(strconv.FormatFloat(v, 'f', c.decimals, 64), "0"), ".")
				}
				if got, want := string(f.Geometry.Coordinates), "["+text(want[i][0])+","+text(want[i][1])+"]"; got != want {
					t.Errorf("tree %v in EPSG:%d: %s, PROJ says %s", f.ID, c.srid, got, want)
				}
			}
		}
	})
	for _, id := range collectionIDs {
		t.Run("every position of "+id, func(t *testing.T) {
			all := s.features(t, "/collections/"+id+"/items?limit=400").Features
			for _, srid := range []int{4326, 3857, utmOfTown, grid1994} {
				uri := fmt.Sprintf("%s%d", epsg, srid)
				r := s.get(t, "/collections/"+id+"/items?limit=400&crs="+uri)
				if got := r.header.Get("Content-Crs"); got != "<"+uri+">" || bytes.Contains(r.body, []byte(`"crs"`)) {
					t.Errorf("Content-Crs %s of %s; a member crs: %v", got, uri, bytes.Contains(r.body, []byte(`"crs"`)))
				}
				s.comparePositions(t, srid, all, parse[collection](t, r.body).Features)
			}
			if r := s.get(t, "/collections/"+id+"/items?limit=1"); r.header.Get("Content-Crs") != "<"+crs84+">" {
				t.Error(r.header)
			}
			for _, f := range all[:min(len(all), 3)] {
				path := fmt.Sprintf("/collections/%s/items/%v", id, f.ID)
				r := s.get(t, path+"?crs="+epsg+"3346")
				if got := r.header.Get("Content-Crs"); r.status != 200 || got != "<"+epsg+"3346>" {
					t.Fatalf("%s: %d, Content-Crs %s", path, r.status, got)
				}
				s.comparePositions(t, grid1994, []feature{f}, []feature{parse[feature](t, r.body)})
				if r := s.get(t, path); r.header.Get("Content-Crs") != "<"+crs84+">" {
					t.Errorf("%s: %s", path, r.header.Get("Content-Crs"))
				}
			}
		})
	}
	t.Run("rings turn the same way whichever axis is first", func(t *testing.T) {
		for _, srid := range []int{utmOfTown, grid1994} {
			for _, f := range s.features(t, fmt.Sprintf("/collections/targets/items?kind=parking&crs=%s%d", epsg, srid)).Features {
				for i, ring := range parse[[][][2]float64](t, f.Geometry.Coordinates) {
					sum := 0.0
					for k := range ring[1:] {
						p, q := ring[k], ring[k+1]
						if srid == grid1994 {
							p[0], p[1], q[0], q[1] = p[1], p[0], q[1], q[0]
						}
						sum += (p[0]-ring[0][0])*(q[1]-ring[0][1]) - (q[0]-ring[0][0])*(p[1]-ring[0][1])
					}
					if (sum > 0) != (i == 0) {
						t.Errorf("EPSG:%d: ring %d of %v turns the wrong way", srid, i, f.ID)
					}
				}
			}
		}
	})
	t.Run("pages keep it", func(t *testing.T) {
		path := "/collections/trees/items?crs=" + epsg + "3346"
		all := s.features(t, path+"&limit=1000").Features
		if got := s.walk(t, path+"&limit=37", nil); len(got) != len(all) || string(got[200].Geometry.Coordinates) != string(all[200].Geometry.Coordinates) {
			t.Errorf("%d features, %d at once", len(got), len(all))
		}
	})
}

// comparePositions compares with PROJ what was served in a reference system, to 2
// cm: longitude and latitude were rounded before PROJ got them.
func (s *service) comparePositions(t *testing.T, srid int, degrees, served []feature) {
	t.Helper()
	if len(degrees) != len(served) {
		t.Fatalf("%d features in EPSG:%d, %d in degrees", len(served), srid, len(degrees))
	}
	near := 0.02
	if srid == 4326 {
		near = 1e-9
	} else if srid == 3857 {
		near = 0.04 // its metres are stretched
	}
	var places, got [][2]float64
	for i := range degrees {
		if fmt.Sprint(degrees[i].ID) != fmt.Sprint(served[i].ID) || (degrees[i].Geometry == nil) != (served[i].Geometry == nil) {
			t.Fatalf("feature %v in EPSG:%d, %v in degrees", served[i].ID, srid, degrees[i].ID)
		}
		places, got = append(places, placesOf(t, degrees[i].Geometry)...), append(got, placesOf(t, served[i].Geometry)...)
	}
	if len(places) != len(got) {
		t.Fatalf("%d positions in EPSG:%d, %d in degrees", len(got), srid, len(places))
	}
	if len(places) == 0 {
		return
	}
	for i, want := range cs2cs(t, srid, places) {
		if math.Abs(got[i][0]-want[0]) > near || math.Abs(got[i][1]-want[1]) > near {
			t.Errorf("%v in EPSG:%d: %v, PROJ says %v", places[i], srid, got[i], want)
			return
		}
	}
}

// TestContentCRSOfSites sends a tree in the reference systems of the sites: it
// comes back where it was sent, and lies where PROJ says.
func TestContentCRSOfSites(t *testing.T) {
	s := serve(t, editing)
	s.withReferences(t)
	place := [2]float64{25.2805, 54.6805}
	for _, srid := range []int{utmOfTown, grid1994, 3857} {
		at := cs2cs(t, srid, [][2]float64{place})[0]
		sent := fmt.Sprintf("[%.3f,%.3f]", at[0], at[1])
		uri := fmt.Sprintf("%s%d", epsg, srid)
		for _, header := range []string{uri, "<" + uri + ">"} {
			r := s.send(t, "POST", "/collections/trees/items", geoJSON, strings.NewReplacer("[25.2805,54.6805]", sent, `"properties":{`, `"properties":{"site":"Low Quarter",`).Replace(tree), "Content-Crs", header)
			if r.status != 201 {
				t.Fatalf("%s: %d %s", header, r.status, r.body)
			}
			path := r.header.Get("Location")
			if f := parse[feature](t, s.get(t, path).body); math.Abs(placesOf(t, f.Geometry)[0][0]-place[0]) > 1e-7 || math.Abs(placesOf(t, f.Geometry)[0][1]-place[1]) > 1e-7 {
				t.Errorf("%s: sent %s, it is at %s", header, sent, f.Geometry.Coordinates)
			}
			got := placesOf(t, parse[feature](t, s.get(t, path+"?crs="+uri).body).Geometry)[0]
			if back := fmt.Sprintf("[%.3f,%.3f]", got[0], got[1]); back != sent {
				t.Errorf("%s: sent %s, it comes back as %s", header, sent, back)
			}
		}
	}
	r := s.send(t, "POST", "/collections/trees/items", geoJSON, tree, "Content-Crs", epsg+"32634")
	if r.status != 400 || !strings.Contains(string(r.body), "Content-Crs") || !strings.Contains(string(r.body), epsg+"3346") {
		t.Errorf("%d %s", r.status, r.body)
	}
}
