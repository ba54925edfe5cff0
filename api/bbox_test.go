package api_test

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// TestBoxCRS asks for the same places by boxes of several reference systems.
func TestBoxCRS(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	s.withReferences(t)
	text := func(v ...float64) string {
		words := make([]string, len(v))
		for i, f := range v {
			words[i] = strconv.FormatFloat(f, 'f', -1, 64)
		}
		return strings.Join(words, ",")
	}
	// Between the rows and columns of trees.
	const west, south, east, north = 25.280650, 54.680225, 25.281941, 54.680766
	degrees := text(west, south, east, north)
	corners := cs2cs(t, 3857, [][2]float64{{west, south}, {east, north}})
	mercator := text(corners[0][0], corners[0][1], corners[1][0], corners[1][1])
	for _, id := range collectionIDs {
		want := ids(s.walk(t, "/collections/"+id+"/items?limit=1000&bbox="+degrees, nil))
		all := s.walk(t, "/collections/"+id+"/items?limit=1000", nil)
		if id == "trees" && (len(want) < 20 || len(want) == len(all)) {
			t.Fatalf("%d of %d trees", len(want), len(all))
		}
		for _, q := range []string{
			query("bbox", text(south, west, north, east), "bbox-crs", epsg+"4326"),
			query("bbox", text(south, west, -5, north, east, 5), "bbox-crs", epsg+"4326"),
			query("bbox", mercator, "bbox-crs", epsg+"3857"),
			query("bbox", mercator, "bbox-crs", "EPSG:3857", "crs", epsg+"3346"),
			query("bbox", degrees, "bbox-crs", crs84, "crs", epsg+"3857"),
		} {
			if got := ids(s.walk(t, "/collections/"+id+"/items?limit=1000&"+q, nil)); !slices.Equal(got, want) {
				t.Errorf("%s with %s: %d features, %d in degrees", id, q, len(got), len(want))
			}
		}
	}

	// A box of a projected system is not one of degrees: what it holds is told by
	// PROJ, place by place.
	trees := s.features(t, "/collections/trees/items?limit=1000").Features
	var places [][2]float64
	for _, f := range trees {
		places = append(places, placesOf(t, f.Geometry)...)
	}
	for _, srid := range []int{utmOfTown, grid1994} {
		at := cs2cs(t, srid, places)
		a, b := at[43], at[136]
		box := [4]float64{min(a[0], b[0]) - 3, min(a[1], b[1]) - 3, max(a[0], b[0]) + 3, max(a[1], b[1]) + 3}
		var want []string
		for i, f := range trees {
			if p := at[i]; p[0] >= box[0] && p[0] <= box[2] && p[1] >= box[1] && p[1] <= box[3] {
				want = append(want, fmt.Sprint(f.ID))
			}
		}
		if len(want) < 10 || len(want) > len(trees)/2 {
			t.Fatalf("%d of %d trees: this says too little", len(want), len(trees))
		}
		uri := fmt.Sprintf("%s%d", epsg, srid)
		for _, q := range []string{
			query("bbox", text(box[:]...), "bbox-crs", uri),
			query("bbox", text(box[0], box[1], 0, box[2], box[3], 100), "bbox-crs", uri, "crs", uri),
			query("filter", "S_INTERSECTS(geometry,BBOX("+text(box[:]...)+"))", "filter-crs", uri),
			query("bbox", text(box[:]...), "bbox-crs", uri, "filter", "S_INTERSECTS(geometry,BBOX("+degreesAround+"))"),
		} {
			if got := ids(s.walk(t, "/collections/trees/items?limit=20&"+q, nil)); !slices.Equal(got, want) {
				t.Errorf("EPSG:%d, %s: %v, PROJ says %v", srid, q, got, want)
			}
		}
		// What is worked out: each zone reaches into the box, and those of the trees
		// in it are among them.
		found := make(map[string]bool)
		for _, f := range s.walk(t, "/collections/zones/items?limit=1000&"+query("bbox", text(box[:]...), "bbox-crs", uri, "crs", uri), nil) {
			found[fmt.Sprint(f.Properties["tree_id"])] = true
			low, high := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
			for _, p := range placesOf(t, f.Geometry) {
				for i := range 2 {
					low[i], high[i] = min(low[i], p[i]), max(high[i], p[i])
				}
			}
			if low[0] > box[2] || high[0] < box[0] || low[1] > box[3] || high[1] < box[1] {
				t.Errorf("EPSG:%d: zone %v lies outside of the box", srid, f.ID)
			}
		}
		for _, f := range trees {
			if id := fmt.Sprint(f.ID); slices.Contains(want, id) && f.Properties["status"] != "stump" && !found[id] {
				t.Errorf("EPSG:%d: the zones of tree %s in the box are missing", srid, id)
			}
		}
		// What has no geometry meets every box.
		if got := s.features(t, "/collections/sites/items?"+query("bbox", text(box[:]...), "bbox-crs", uri)); got.NumberReturned != 4 {
			t.Errorf("EPSG:%d: %d sites", srid, got.NumberReturned)
		}
	}
	t.Run("a box that a reference system cannot have", func(t *testing.T) {
		for uri, boxes := range map[string][]string{
			epsg + "4326":  {"25,54,26,55,1", "95,0,96,1", "0,185,1,186", "1,0,0,1"},
			epsg + "3857":  {"0,0,20048967,1", "0,-20048967,1,0", "1,0,0,1", "0,1,1,0", "a,0,1,1"},
			epsg + "32635": {"600000,6000000,500000,6100000", "500000,6100000,600000,6000000", "-1e12,0,1e12,1", "0,0,1e300,1e300", "-3e7,-3e7,3e7,3e7"},
			epsg + "3346":  {"6000000,600000,6000001,500000", "-1e9,-1e9,1e9,1e9"},
		} {
			for _, box := range boxes {
				for _, id := range []string{"trees", "zones"} {
					s.problem(t, "/collections/"+id+"/items?"+query("bbox", box, "bbox-crs", uri), 400, "bbox")
				}
			}
		}
	})
	t.Run("the edges of the map of the web", func(t *testing.T) {
		most := "20037508.342789"
		got := s.features(t, "/collections/trees/items?limit=1000&"+query("bbox", "-"+most+",-"+most+","+most+","+most, "bbox-crs", epsg+"3857"))
		if got.NumberReturned != len(trees) {
			t.Errorf("%d of %d trees", got.NumberReturned, len(trees))
		}
	})
	t.Run("a place or a line for a box", func(t *testing.T) {
		at := cs2cs(t, utmOfTown, places[:1])[0]
		x, y := math.Round(at[0]*1000)/1000, math.Round(at[1]*1000)/1000
		if got := ids(s.walk(t, "/collections/trees/items?"+query("bbox", text(x, y, x, y), "bbox-crs", epsg+"32635"), nil)); !slices.Equal(got, ids(trees[:1])) {
			t.Errorf("%v", got)
		}
	})
}

const degreesAround = "25,54,26,55"

// TestOutsideOfReference has a tree a quarter of the globe away, where UTM's
// coordinates have no end.
func TestOutsideOfReference(t *testing.T) {
	s := serve(t, nil)
	s.exec(t, `INSERT INTO trees (client_id, site_id, tree_id, height_m, geometry) VALUES (1, 1, 990, 12, ST_SetSRID(ST_MakePoint(117, 0), 4326))`)
	for _, path := range []string{"trees/items?limit=1000&crs=", "trees/items/990?crs=", "zones/items?limit=10000&crs="} {
		r := s.get(t, "/collections/"+path+epsg+"32635")
		if r.status != 400 || !json.Valid(r.body) || r.header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: %d %.300s", path, r.status, r.body)
		}
	}
	if n := s.features(t, "/collections/trees/items?limit=1000&crs="+epsg+"4326").NumberReturned; n != 261 {
		t.Errorf("%d trees", n)
	}
}
