//go:build clients

package api_test

import (
	"bytes"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"github.com/underbough/underbough/api"
)

// TestMapBasemap draws tiles of another host under the map, names who made them,
// and asks nobody besides.
func TestMapBasemap(t *testing.T) {
	tile := image.NewRGBA(image.Rect(0, 0, 256, 256))
	draw.Draw(tile, tile.Bounds(), image.NewUniform(color.RGBA{20, 20, 20, 255}), image.Point{}, draw.Src)
	var body bytes.Buffer
	if err := png.Encode(&body, tile); err != nil {
		t.Fatal(err)
	}
	tiles := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Access-Control-Allow-Origin", "*")
		w.Header().Set("Content-Type", "image/png")
		w.Write(body.Bytes())
	}))
	t.Cleanup(tiles.Close)
	s := serve(t, func(c *api.Config) { c.Basemap, c.BasemapCredit = tiles.URL+"/{z}/{x}/{y}.png", "Survey of the town" })
	s.run(t)
	ctx, b := open(t)
	look := func(at string) int {
		t.Helper()
		do(t, ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(at+"/map"), shown("#list li"))
		do(t, ctx, drawn("trees", 100), until("Number(document.getElementById('map').dataset.idle) > 0"))
		// Half of the grey over paper.
		return shaded(t, ctx, "map", color.RGBA{0x87, 0x87, 0x85, 255})
	}
	do(t, ctx, window(900, 600, "light"))
	if n := look(s.web.URL); n < 60_000 {
		t.Errorf("the basemap covers %d pixels", n)
	}
	if credit := value[string](t, ctx, "document.querySelector('.credit').textContent"); !strings.Contains(credit, "Survey of the town") {
		t.Errorf("the credit is %q", credit)
	}
	keep(t, ctx, "basemap")
	accessible(t, ctx, axe(t), "basemap")
	b.mu.Lock()
	asked := 0
	for _, r := range b.requests {
		switch {
		case strings.HasPrefix(r, tiles.URL+"/"):
			asked++
		case !strings.HasPrefix(r, s.web.URL+"/") && !strings.HasPrefix(r, "data:") && r != "about:blank":
			t.Errorf("a request goes to %s", r)
		}
	}
	b.mu.Unlock()
	if asked == 0 {
		t.Error("no tile was asked for")
	}
	noTrouble(t, b)
	// Tiles of the same host, which a proxy serves beside us.
	own := serveOn(t, s, func(c *api.Config) { c.Basemap = "/base/{z}/{x}/{y}.png" })
	front := http.NewServeMux()
	front.Handle("/", own.server.Handler())
	front.Handle("/base/", tiles.Config.Handler)
	web := httptest.NewServer(front)
	t.Cleanup(web.Close)
	b.mu.Lock()
	b.requests = nil
	b.mu.Unlock()
	if n := look(web.URL); n < 60_000 {
		t.Errorf("the basemap of the same host covers %d pixels", n)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, r := range b.requests {
		if !strings.HasPrefix(r, web.URL+"/") && !strings.HasPrefix(r, "data:") && r != "about:blank" {
			t.Errorf("a request leaves: %s", r)
		}
	}
}
