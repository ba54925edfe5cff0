//go:build clients

package clients_test

import (
	"fmt"
	"net/url"
	"strings"
	"testing"
)

var (
	red   = rgb{255, 0, 0}
	cyan  = rgb{0, 255, 255}
	white = rgb{255, 255, 255}
)

// onMap are some trees all over the place, and inHouses and inCourts places within
// the walls of the houses and in the holes of them, as longitude|latitude.
const (
	onMap    = `SELECT ST_X(geometry), ST_Y(geometry), tag FROM trees WHERE tree_id % 771 = 0`
	inHouses = `SELECT ST_XMin(geometry) + 0.0001, ST_YMin(geometry) + 0.00015 FROM targets WHERE name LIKE 'House %'`
	inCourts = `SELECT ST_XMin(geometry) + 0.0003, ST_YMin(geometry) + 0.00015 FROM targets WHERE name LIKE 'House %'`
)

// middle is where maps are opened.
func middle(s *service, zoom float64, draw string) url.Values {
	return url.Values{"service": {s.url}, "lon": {"25.2924"}, "lat": {"54.68558"}, "zoom": {fmt.Sprint(zoom)}, "draw": {draw}, "site": {"Birch Reach"}}
}

// TestBrowsers draws the service with three map libraries in a page of another
// origin.
func TestBrowsers(t *testing.T) {
	s, web, b := serve(t), site(t), open(t)
	t.Run("Leaflet", func(t *testing.T) { leaflet(t, s, web, b) })
	t.Run("OpenLayers", func(t *testing.T) { openLayers(t, s, web, b) })
	t.Run("MapLibre GL", func(t *testing.T) { mapLibre(t, s, web, b) })
}

// shows looks for a colour where it must be drawn, three pixels about: a tree may
// stand on what is looked for.
func shows(t *testing.T, what string, p canvas, at [][2]int, of rgb) {
	t.Helper()
	wrong := 0
	for _, xy := range at {
		if !p.has(xy[0], xy[1], 3, of) {
			wrong++
		}
	}
	if len(at) == 0 || wrong > 0 {
		t.Errorf("%s: %d of %d places are not drawn", what, wrong, len(at))
	}
}

// courts must be open: they are holes of the houses, with trees in them at most.
func courts(t *testing.T, what string, p canvas, at [][2]int) {
	t.Helper()
	for _, xy := range at {
		if p.has(xy[0], xy[1], 2, cyan) {
			t.Errorf("%s: the court at %v is filled", what, xy)
		}
	}
}

// outside looks at the corners, where there is nothing to draw.
func outside(t *testing.T, what string, p canvas, ground rgb) {
	t.Helper()
	for _, xy := range [][2]int{{5, 5}, {width - 6, 5}, {5, height - 6}, {width - 6, height - 6}} {
		if c := p.at(xy[0], xy[1]); !c.near(ground) {
			t.Errorf("%s: the corner at %v is %v", what, xy, c)
		}
	}
}

func leaflet(t *testing.T, s *service, web string, b *browser) {
	var none, got struct {
		Trees, Pages int
		Kinds        map[string]int
	}
	// Leaflet's zoom 16 has 256 pixels a tile: 1.4 m a pixel here.
	empty := b.drawn(t, "leaflet empty", web+"/leaflet.html", middle(s, 16, ""), &none)
	p := b.drawn(t, "leaflet", web+"/leaflet.html", middle(s, 16, "items"), &got)
	if want := s.one(t, "SELECT count(*) FROM trees"); fmt.Sprint(got.Trees) != want || got.Pages != 20 {
		t.Errorf("Leaflet has %d trees in %d pages, expected %s in 20", got.Trees, got.Pages, want)
	}
	var kinds []string
	for kind, n := range got.Kinds {
		kinds = append(kinds, fmt.Sprintf("%s|%d", kind, n))
	}
	same(t, "types of targets in Leaflet", kinds, s.sql(t, "SELECT substr(ST_GeometryType(geometry), 4), count(*) FROM targets GROUP BY 1"))
	shows(t, "trees by Leaflet", p, b.pixels(t, s.sql(t, onMap)), red)
	shows(t, "houses by Leaflet", p, b.pixels(t, s.sql(t, inHouses)), cyan)
	courts(t, "Leaflet", p, b.pixels(t, s.sql(t, inCourts)))
	outside(t, "Leaflet", p, white)
	if n := p.differs(empty); n < 50_000 || empty.differs(empty) != 0 {
		t.Errorf("Leaflet draws on %d pixels", n)
	}
}

func openLayers(t *testing.T, s *service, web string, b *browser) {
	trees := s.one(t, "SELECT count(*) FROM trees")
	var none, got struct {
		Trees int
		State string
	}
	empty := b.drawn(t, "openlayers empty", web+"/openlayers.html", middle(s, 16, ""), &none)
	for _, draw := range []string{"tiles", "items"} {
		p := b.drawn(t, "openlayers "+draw, web+"/openlayers.html", middle(s, 16, draw), &got)
		if fmt.Sprint(got.Trees) != trees || draw == "tiles" && got.State != "ready" {
			t.Errorf("OpenLayers has %d trees by %s, expected %s: %s", got.Trees, draw, trees, got.State)
		}
		shows(t, "trees by OpenLayers' "+draw, p, b.pixels(t, s.sql(t, onMap)), red)
		if draw == "tiles" {
			shows(t, "houses by OpenLayers", p, b.pixels(t, s.sql(t, inHouses)), cyan)
			courts(t, "OpenLayers", p, b.pixels(t, s.sql(t, inCourts)))
		}
		outside(t, "OpenLayers", p, white)
		if n := p.differs(empty); n < 50_000 {
			t.Errorf("OpenLayers draws on %d pixels by %s", n, draw)
		}
	}
}

// glReady is what the page with MapLibre GL says.
type glReady struct {
	Trees, Drawn int
	Errors       []string
	Zoom         float64
	Center       []float64
}

func mapLibre(t *testing.T, s *service, web string, b *browser) {
	trees := s.one(t, "SELECT count(*) FROM trees")
	page := web + "/maplibre.html"
	var none glReady
	// MapLibre's zoom 15 has 512 pixels a tile: 1.4 m a pixel here.
	empty := b.drawn(t, "maplibre empty", page, middle(s, 15, ""), &none)
	outside(t, "MapLibre GL", empty, white)

	var own glReady
	p := b.drawn(t, "maplibre tilejson", page, middle(s, 15, "tilejson"), &own)
	if fmt.Sprint(own.Trees) != trees || fmt.Sprint(own.Drawn) != trees || len(own.Errors) > 0 {
		t.Errorf("MapLibre GL has %d trees and draws %d, expected %s: %v", own.Trees, own.Drawn, trees, own.Errors)
	}
	shows(t, "trees by MapLibre GL", p, b.pixels(t, s.sql(t, onMap)), red)
	shows(t, "houses by MapLibre GL", p, b.pixels(t, s.sql(t, inHouses)), cyan)
	courts(t, "MapLibre GL", p, b.pixels(t, s.sql(t, inCourts)))
	outside(t, "MapLibre GL", p, white)
	if n := p.differs(empty); n < 50_000 {
		t.Errorf("MapLibre GL draws on %d pixels", n)
	}

	// The style of the site, as it opens by its address alone.
	var opened glReady
	b.drawn(t, "maplibre style", page, url.Values{"service": {s.url}, "draw": {"style"}, "site": {"Birch Reach"}}, &opened)
	if opened.Drawn == 0 || len(opened.Errors) > 0 || opened.Zoom < 5 {
		t.Errorf("the style opens at zoom %v, with %d marks: %v", opened.Zoom, opened.Drawn, opened.Errors)
	}
	if at := s.one(t, fmt.Sprintf("SELECT ST_Within(ST_SetSRID(ST_MakePoint(%v, %v), 4326), ST_SetSRID(ST_Extent(geometry)::geometry, 4326)) FROM trees", opened.Center[0], opened.Center[1])); at != "t" {
		t.Errorf("the style opens at %v, away from the trees", opened.Center)
	}
	// Closer by, each tree in the colour of its harm index.
	var close glReady
	p = b.drawn(t, "maplibre style close", page, middle(s, 15, "style"), &close)
	if fmt.Sprint(close.Trees) != trees || len(close.Errors) > 0 {
		t.Errorf("by the style MapLibre GL has %d trees, expected %s: %v", close.Trees, trees, close.Errors)
	}
	ramp := []string{"#aebfc9", "#7fa3b8", "#4f82a6", "#2b5b8c", "#14305f"}
	for i, colour := range ramp {
		// Away from the steps, since tiles have three digits of it.
		where := []string{"harm_index < 0.00099", "harm_index BETWEEN 0.00101 AND 0.0099", "harm_index BETWEEN 0.0101 AND 0.099", "harm_index BETWEEN 0.101 AND 0.99", "harm_index > 1.01"}[i]
		places := s.sql(t, "SELECT ST_X(geometry), ST_Y(geometry) FROM gis.trees WHERE "+where+" ORDER BY tree_id LIMIT 40")
		if len(places) == 0 {
			t.Logf("no tree has %s", where)
			continue
		}
		shows(t, "trees with "+where+" by the style", p, b.pixels(t, places), hex(t, colour))
	}
}

func hex(t *testing.T, s string) (c rgb) {
	t.Helper()
	if _, err := fmt.Sscanf(strings.TrimPrefix(s, "#"), "%02x%02x%02x", &c.r, &c.g, &c.b); err != nil {
		t.Fatal(err)
	}
	return c
}
