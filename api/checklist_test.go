package api_test

import (
	"compress/gzip"
	"fmt"
	"io"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"

	"github.com/underbough/underbough/api"
)

// collectionIDs are those that are served.
var collectionIDs = []string{"sites", "trees", "cuts", "visits", "targets", "counts", "zones", "overlaps"}

// TestCore goes through the requirements of OGC API - Features - Part 1
// (17-069r4) that this service means to meet, and through what clients and
// HTTP (RFC 9110) ask for besides.
func TestCore(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	const trees = "/collections/trees/items"

	t.Run("root-success: links to conformance and data, each of the type it names", func(t *testing.T) {
		r := s.get(t, "/")
		if r.status != 200 || r.header.Get("Content-Type") != "application/json" {
			t.Fatal(r.status, r.header)
		}
		landing := parse[collection](t, r.body)
		for _, want := range []string{"self", "conformance", "data"} {
			if rel(landing.Links, want) == "" {
				t.Errorf("no link %s", want)
			}
		}
		fill := strings.NewReplacer("{?site,tag}", "?tag=T30", "{?site,tag,part,window,from,to,days}", "?tag=T30", "{?site,change*,by}", "?change=tree+T30+removed")
		for _, l := range landing.Links {
			got := s.get(t, fill.Replace(l.Href))
			if got.status != 200 || !strings.HasPrefix(got.header.Get("Content-Type"), l.Type) {
				t.Errorf("%s: %d %s, the link says %s", l.Href, got.status, got.header.Get("Content-Type"), l.Type)
			}
		}
	})
	t.Run("conformance-success: no class is claimed that does not hold", func(t *testing.T) {
		if got := parse[map[string]any](t, s.get(t, "/conformance").body)["conformsTo"].([]any); len(got) != 0 {
			t.Errorf("claims %v", got)
		}
	})
	t.Run("fc-md-links, fc-md-items-links, sfc-md-success: each entry equals its own document", func(t *testing.T) {
		list := parse[struct {
			Links       []link
			Collections []map[string]any
		}](t, s.get(t, "/collections").body)
		if rel(list.Links, "self") == "" || len(list.Collections) != len(collectionIDs) {
			t.Fatal(list)
		}
		for _, entry := range list.Collections {
			own := parse[map[string]any](t, s.get(t, "/collections/"+entry["id"].(string)).body)
			if fmt.Sprint(own) != fmt.Sprint(entry) {
				t.Errorf("%v differs from %v", own, entry)
			}
			ok := false
			for _, l := range entry["links"].([]any) {
				l := l.(map[string]any)
				ok = ok || l["rel"] == "items" && l["type"] == "application/geo+json"
			}
			if !ok {
				t.Errorf("%v has no link items", entry["id"])
			}
		}
	})
	t.Run("fc-md-extent: the box holds every feature", func(t *testing.T) {
		c := parse[struct {
			Extent struct{ Spatial struct{ Bbox [][4]float64 } }
		}](t, s.get(t, "/collections/trees").body)
		b := c.Extent.Spatial.Bbox[0]
		inside := s.features(t, fmt.Sprintf("%s?bbox=%v,%v,%v,%v&limit=1000", trees, b[0], b[1], b[2], b[3]))
		if inside.NumberReturned != 260 {
			t.Errorf("%d of 260 in %v", inside.NumberReturned, b)
		}
	})
	for _, id := range collectionIDs {
		t.Run("fc-op, fc-response of "+id, func(t *testing.T) {
			r := s.get(t, "/collections/"+id+"/items?limit=5")
			if r.status != 200 || r.header.Get("Content-Type") != "application/geo+json" {
				t.Fatal(r.status, r.header.Get("Content-Type"), string(r.body))
			}
			c := parse[collection](t, r.body)
			if c.Type != "FeatureCollection" || c.NumberReturned != len(c.Features) || len(c.Features) == 0 {
				t.Errorf("%s, %d said, %d there", c.Type, c.NumberReturned, len(c.Features))
			}
			for _, l := range c.Links {
				if l.Type == "" || !strings.HasPrefix(l.Href, s.web.URL) {
					t.Errorf("link %+v", l)
				}
			}
			if rel(c.Links, "self") != s.web.URL+"/collections/"+id+"/items?limit=5" {
				t.Error(c.Links)
			}
			if _, err := time.Parse(time.RFC3339, c.TimeStamp); err != nil {
				t.Error(err)
			}
			for _, f := range c.Features {
				one := s.get(t, fmt.Sprintf("/collections/%s/items/%v", id, f.ID))
				got := parse[feature](t, one.body)
				if one.status != 200 || got.ID != f.ID || fmt.Sprint(got.Properties) != fmt.Sprint(f.Properties) {
					t.Errorf("f-success: %v is %d %s", f.ID, one.status, one.body)
				}
				if rel(got.Links, "self") == "" || rel(got.Links, "collection") != s.web.URL+"/collections/"+id {
					t.Errorf("f-links: %v", got.Links)
				}
			}
		})
	}
	t.Run("fc-limit: as many as asked for", func(t *testing.T) {
		if c := s.features(t, trees+"?limit=1"); len(c.Features) != 1 || c.NumberMatched == nil || *c.NumberMatched != 260 {
			t.Error(len(c.Features), c.NumberMatched)
		}
	})
	t.Run("fc-limit-response: above the most is the most", func(t *testing.T) {
		for _, n := range []string{"10001", "99999999999999999999"} {
			if c := s.features(t, trees+"?limit="+n); len(c.Features) != 260 {
				t.Error(n, len(c.Features))
			}
		}
	})
	// query-param-unknown, query-param-invalid: 400, with a problem document
	// (RFC 9457) that names the parameter.
	for _, c := range []struct{ query, parameter string }{
		{"limit=0", "limit"}, {"limit=-1", "limit"}, {"limit=unlimited", "limit"}, {"limit=1.5", "limit"}, {"limit=", "limit"},
		{"limit=1&limit=2", "limit"},
		{"unknownQueryParameter=1", "unknownQueryParameter"}, {"extra=1", "extra"}, {"LIMIT=1", "LIMIT"},
		{"bbox=1,2,3", "bbox"}, {"bbox=1,2,3,4,5", "bbox"}, {"bbox=NaN,2,3,4", "bbox"}, {"bbox=Inf,2,3,4", "bbox"}, {"bbox=", "bbox"}, {"bbox=a,b,c,d", "bbox"},
		{"bbox=0,0,10,95", "bbox"}, {"bbox=-190,0,10,5", "bbox"}, {"bbox=0,20,10,10", "bbox"}, {"bbox=0,0,9,1,1,1", "bbox"},
		{"dbh_cm=thick", "dbh_cm"}, {"dbh_cm=NaN", "dbh_cm"}, {"stems=1.5", "stems"}, {"planted_year=99999999999999999999", "planted_year"},
		{"inferred=maybe", "inferred"}, {"status=sleepy", "status"}, {"over=lava", "over"}, {"cut_kinds=topping,haircut", "cut_kinds"}, {"changed_at=yesterday", "changed_at"},
		{"species=%00", "species"}, {"species=%ff", "species"},
		{"cursor=!!", "cursor"}, {"cursor=" + strings.Repeat("A", 90), "cursor"}, {"f=png", "f"},
	} {
		t.Run("query-param: "+c.query, func(t *testing.T) {
			r := s.get(t, trees+"?"+c.query)
			if r.status != 400 || r.header.Get("Content-Type") != "application/problem+json" {
				t.Fatal(r.status, string(r.body))
			}
			p := parse[map[string]any](t, r.body)
			if p["parameter"] != c.parameter || p["status"] != 400.0 || !strings.Contains(p["detail"].(string), c.parameter) {
				t.Error(p)
			}
		})
	}
	t.Run("query-param-unknown: a query that is no query", func(t *testing.T) {
		if r := s.get(t, trees+"?limit=%zz"); r.status != 400 {
			t.Error(r.status, string(r.body))
		}
	})
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
		"/collections/trees/?f=html":                    400,
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
		for _, path := range []string{"/", "/collections", trees, trees + "/1", "/ranking", "/ranking?f=csv", "/ranking?season=leaf-on", "/places", "/grid", "/rankings",
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
			{trees, "text/html, */*;q=0.1", 200, "application/geo+json"},
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
