package api_test

import (
	"compress/gzip"
	"io"
	"net/url"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"

	"github.com/underbough/underbough/api"
)

// TestHTTP goes through what clients and HTTP (RFC 9110) ask for besides the
// classes of the standards.
func TestHTTP(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	const trees = treeItems

	for path, want := range map[string]int{
		"/collections/shrubs":                           404,
		"/collections/shrubs/items":                     404,
		"/collections/trees/items/99999":                404,
		"/collections/trees/items/abc":                  404,
		"/collections/trees/items/-1":                   404,
		"/collections/trees/items/1e3":                  404,
		"/collections/zones/items/7":                    404, // no zone has a remainder of 3
		"/collections/overlaps/items/4":                 404,
		"/collections/overlaps/items/4-99":              404,
		"/collections/overlaps/items/4-3-2":             404,
		"/collections/trees/items/%F0%28":               404,
		"/no/such/thing":                                404,
		"/map/no-such-part.js":                          404,
		"/map/../viewer.go":                             404,
		"/collections/trees/items/1?limit=1":            400,
		"/ranking?site=Elsewhere":                       400,
		"/ranking?over=lava":                            400,
		"/ranking?cut=haircut":                          400,
		"/ranking?by=luck":                              400,
		"/ranking?since=long+ago":                       400,
		"/ranking?bbox=0,0,1,1":                         400,
		"/collections/trees/?f=html":                    200,
		"/collections/trees/?f=csv":                     400,
		"/collections/trees/items/":                     200, // a slash at the end makes no difference
		"/collections/":                                 200,
		"/collections/trees/items/92233720368547758079": 404,
	} {
		t.Run("status of "+path, func(t *testing.T) {
			r := s.get(t, path)
			if r.status != want {
				t.Error(r.status, string(r.body))
			}
			if want >= 400 && r.header.Get("Content-Type") != "application/problem+json" {
				t.Error(r.header)
			}
		})
	}
	t.Run("methods: read only, and says so", func(t *testing.T) {
		for _, m := range []string{"PUT", "POST", "PATCH", "DELETE"} {
			r := s.do(t, m, trees+"/1")
			if r.status != 405 || r.header.Get("Allow") != "GET, HEAD, OPTIONS" || r.header.Get("Content-Type") != "application/problem+json" {
				t.Error(m, r.status, r.header)
			}
		}
		if r := s.do(t, "OPTIONS", trees); r.status != 200 || r.header.Get("Allow") == "" {
			t.Error(r.status, r.header)
		}
	})
	t.Run("HEAD has the headers of GET and no body", func(t *testing.T) {
		for _, path := range []string{"/", "/?f=html", "/api", "/api?f=html", "/conformance", "/functions", "/collections", "/collections/trees/schema", trees, trees + "?f=html", trees + "/1", trees + "/1?f=html", "/ranking", "/ranking?f=csv", "/ranking?season=leaf-on", "/places", "/grid", "/rankings",
			"/explain?tag=T30", "/hours?tag=T30", "/hours?tag=T30&f=csv", "/hours.svg?tag=T30", "/hours?tag=nobody", "/what-if?change=tree+T30+removed", "/what-if?change=tree+nobody+removed", "/map"} {
			get, head := s.get(t, path), s.do(t, "HEAD", path)
			if len(head.body) != 0 || head.status != get.status {
				t.Error(path, head.status, len(head.body))
			}
			for _, h := range []string{"Content-Type", "ETag", "Access-Control-Allow-Origin", "Vary"} {
				if get.header.Get(h) != head.header.Get(h) {
					t.Errorf("%s: %s %q, HEAD %q", path, h, get.header.Get(h), head.header.Get(h))
				}
			}
		}
	})
	t.Run("Accept", func(t *testing.T) {
		for _, c := range []struct {
			path, accept string
			status       int
			mediaType    string
		}{
			{"/", "text/html,application/xhtml+xml,*/*;q=0.8", 200, "text/html; charset=utf-8"},
			{"/", "application/json", 200, "application/json"},
			{"/?f=json", "text/html", 200, "application/json"},
			{"/", "image/png", 406, "application/problem+json"},
			{trees, "application/json", 200, "application/geo+json"},
			{trees, "application/geo+json, application/json", 200, "application/geo+json"},
			{trees, "text/html, */*;q=0.1", 200, "text/html; charset=utf-8"},
			{"/collections/trees/queryables", "application/json", 200, "application/schema+json"},
			{"/api", "application/json", 200, "application/vnd.oai.openapi+json;version=3.0"},
			{"/api", "application/vnd.oai.openapi+json;version=3.0", 200, "application/vnd.oai.openapi+json;version=3.0"},
			{trees, "image/png", 406, "application/problem+json"},
			{trees, "application/geo+json;q=0, image/*", 406, "application/problem+json"},
		} {
			if r := s.get(t, c.path, "Accept", c.accept); r.status != c.status || r.header.Get("Content-Type") != c.mediaType {
				t.Errorf("%s for %s: %d %s", c.path, c.accept, r.status, r.header.Get("Content-Type"))
			}
		}
	})
	t.Run("compressed as asked for, and the same", func(t *testing.T) {
		want := s.get(t, trees).body
		for coding, open := range map[string]func(io.Reader) (io.Reader, error){
			"gzip": func(r io.Reader) (io.Reader, error) { return gzip.NewReader(r) },
			"zstd": func(r io.Reader) (io.Reader, error) { return zstd.NewReader(r) },
		} {
			r := s.get(t, trees, "Accept-Encoding", coding)
			if r.header.Get("Content-Encoding") != coding || !strings.Contains(strings.Join(r.header["Vary"], ","), "Accept-Encoding") || len(r.body)*2 > len(want) {
				t.Fatal(coding, r.header, len(r.body))
			}
			plain, err := open(strings.NewReader(string(r.body)))
			if err != nil {
				t.Fatal(err)
			}
			if got, err := io.ReadAll(plain); err != nil || string(got) != string(want) {
				t.Error(coding, err, len(got), len(want))
			}
			if again := s.get(t, trees, "Accept-Encoding", coding, "If-None-Match", r.header.Get("ETag")); again.status != 304 {
				t.Error(coding, again.status, r.header.Get("ETag"))
			}
		}
	})
	t.Run("cross-origin reading, of errors too", func(t *testing.T) {
		for _, path := range []string{"/", trees, "/nope", trees + "?limit=0"} {
			r := s.get(t, path, "Origin", "https://elsewhere.example")
			if r.header.Get("Access-Control-Allow-Origin") != "*" || !strings.Contains(r.header.Get("Access-Control-Expose-Headers"), "ETag") {
				t.Error(path, r.header)
			}
		}
		r := s.do(t, "OPTIONS", trees, "Origin", "https://elsewhere.example", "Access-Control-Request-Method", "GET")
		if r.status != 200 || !strings.Contains(r.header.Get("Access-Control-Allow-Methods"), "GET") {
			t.Error(r.status, r.header)
		}
	})
	t.Run("alive and ready", func(t *testing.T) {
		for _, path := range []string{"/healthz", "/readyz"} {
			if r := s.get(t, path); r.status != 200 {
				t.Error(path, r.status)
			}
		}
	})
}

func TestLinks(t *testing.T) {
	proxy := []string{"X-Forwarded-Proto", "https", "X-Forwarded-Host", "trees.example", "X-Forwarded-Prefix", "/gis/"}
	for _, c := range []struct {
		name    string
		config  func(*api.Config)
		headers []string
		want    string
	}{
		{"by the Host header", nil, []string{"Host", "inventory.example:8080"}, "http://inventory.example:8080"},
		{"forwarded headers of anyone are not believed", nil, append([]string{"Host", "inventory.example"}, proxy...), "http://inventory.example"},
		{"by a trusted proxy's headers", func(c *api.Config) { c.TrustProxy = true }, proxy, "https://trees.example/gis"},
		{"by configuration above all", func(c *api.Config) { c.TrustProxy = true; c.PublicURL = "https://city.example/trees/" }, proxy, "https://city.example/trees"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := serve(t, c.config)
			r := s.get(t, "/collections/trees/items?limit=1&status=alive", c.headers...)
			next := rel(parse[collection](t, r.body).Links, "next")
			if !strings.HasPrefix(next, c.want+"/collections/trees/items?") || !strings.Contains(next, "status=alive") || !strings.Contains(next, "limit=1") {
				t.Error(next)
			}
			public, err := url.Parse(c.want)
			if err != nil {
				t.Fatal(err)
			}
			if page := s.get(t, "/map", c.headers...); !strings.Contains(string(page.body), `href="`+public.Path+`/map/app.css"`) {
				t.Errorf("the map page does not ask for its parts below %q: %.300s", public.Path, page.body)
			}
		})
	}
	if err := (api.Config{PublicURL: "trees.example"}).Validate(); err == nil {
		t.Error("an address without a scheme passes")
	}
}

func TestETag(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	paths := []string{"/collections/trees/items", "/collections/zones/items", "/collections/overlaps/items?limit=3", "/collections", "/ranking",
		"/ranking?draws=20", "/places", "/grid", "/explain?tag=T6", "/hours?tag=T6", "/hours.svg?tag=T6", "/what-if?change=tree+T6+removed", "/collections/trees/items/5"}
	last := map[string]string{}
	ask := func(t *testing.T) {
		for _, p := range paths {
			last[p] = s.get(t, p).header.Get("ETag")
		}
	}
	ask(t)
	for _, p := range paths {
		if r := s.get(t, p, "If-None-Match", `"other", `+last[p]); r.status != 304 || len(r.body) != 0 {
			t.Errorf("%s: %d with its own tag", p, r.status)
		}
		if r := s.get(t, p, "If-None-Match", `"other"`); r.status != 200 {
			t.Errorf("%s: %d with another tag", p, r.status)
		}
	}
	for _, sql := range []string{
		`UPDATE trees SET height_m = 21 WHERE tree_id = 5`,
		`DELETE FROM cuts WHERE tree_id = 5 OR tree_id = 6`,
		`INSERT INTO visits (client_id, site_id, tree_id, visited_on, limb) VALUES (1, 1, 6, '2026-01-01', 'imminent')`,
		`UPDATE targets SET kind = 'plaza' WHERE name = 'Lot'`,
		`UPDATE sites SET name = 'Upper Quarter'`,
	} {
		t.Run("an edit in plain SQL shows: "+sql, func(t *testing.T) {
			s.exec(t, sql)
			for _, p := range paths[:len(paths)-1] {
				r := s.get(t, p, "If-None-Match", last[p])
				if r.status != 200 {
					t.Errorf("%s: still %d", p, r.status)
				}
			}
			ask(t)
		})
	}
	t.Run("one feature's tag is strong and changes with it alone", func(t *testing.T) {
		a, b := s.get(t, "/collections/trees/items/7").header.Get("ETag"), s.get(t, "/collections/trees/items/8").header.Get("ETag")
		if strings.HasPrefix(a, "W/") {
			t.Error(a)
		}
		s.exec(t, `UPDATE trees SET condition = 'fair' WHERE tree_id = 7`)
		if s.get(t, "/collections/trees/items/7", "If-None-Match", a).status != 200 || s.get(t, "/collections/trees/items/8", "If-None-Match", b).status != 304 {
			t.Error("the tag does not follow the feature")
		}
	})
}
