package api_test

import (
	"io"
	"net/http"
	"testing"

	"github.com/underbough/underbough/api"
)

// benchmarkGet asks for one path again and again over one connection.
func benchmarkGet(b *testing.B, path string) {
	// Several times the quarter, so that a page of 1,000 is full.
	s := serve(b, func(c *api.Config) { c.Log = nil })
	s.exec(b, `INSERT INTO trees (client_id, site_id, tag, species, status, dbh_m, height_m, crown_radius_m, planted_year, extra, geometry)
		SELECT client_id, site_id, tag || '-' || n, species, status, dbh_m, height_m, crown_radius_m, planted_year, extra, geometry
		FROM trees CROSS JOIN generate_series(1, 4) n`)
	s.run(b)
	bytes := int64(0)
	for b.Loop() {
		r, err := http.Get(s.web.URL + path)
		if err != nil {
			b.Fatal(err)
		}
		bytes, err = io.Copy(io.Discard, r.Body)
		r.Body.Close()
		if err != nil || r.StatusCode != http.StatusOK {
			b.Fatal(r.StatusCode, err)
		}
	}
	b.SetBytes(bytes)
}

func BenchmarkItemsPage(b *testing.B) { benchmarkGet(b, "/collections/trees/items?limit=1000") }

func BenchmarkItem(b *testing.B) { benchmarkGet(b, "/collections/trees/items/12") }

func BenchmarkQuestion(b *testing.B) {
	benchmarkGet(b, "/collections/trees/items?filter=A_OVERLAPS(over,('parking','walkway'))%20AND%20A_CONTAINS(cut_kinds,('topping'))")
}
