package api_test

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"
	"time"
)

// collectionIDs are those that are served.
var collectionIDs = []string{"sites", "trees", "cuts", "visits", "targets", "counts", "jobs", "zones", "overlaps"}

const treeItems = "/collections/trees/items"

// TestCoreClass goes through the abstract tests of OGC API - Features - Part 1
// (17-069r4), class core; each is named as there. Every answer is held against
// the API definition besides.
func TestCoreClass(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	t.Run("/conf/core/root-op", func(t *testing.T) {
		if r := s.get(t, "/"); r.status != 200 || r.header.Get("Content-Type") != "application/json" {
			t.Error(r.status, r.header)
		}
	})
	t.Run("/conf/core/root-success", func(t *testing.T) {
		links := s.links(t, "/")
		for _, want := range []string{"self", "alternate", "service-desc", "service-doc", "conformance", "data"} {
			if rel(links, want) == "" {
				t.Errorf("no link %s", want)
			}
		}
	})
	t.Run("/conf/core/api-definition-op", func(t *testing.T) {
		for _, name := range []string{"service-desc", "service-doc"} {
			for _, l := range s.links(t, "/") {
				if l.Rel == name {
					if r := s.get(t, l.Href); r.status != 200 || !strings.HasPrefix(r.header.Get("Content-Type"), l.Type) {
						t.Errorf("%s: %d %s", l.Href, r.status, r.header.Get("Content-Type"))
					}
				}
			}
		}
	})
	t.Run("/conf/core/api-definition-success", func(t *testing.T) {
		if _, err := contractOf(s.get(t, "/api").body); err != nil {
			t.Error(err)
		}
	})
	t.Run("/conf/core/conformance-op", func(t *testing.T) {
		s.json(t, rel(s.links(t, "/"), "conformance"))
	})
	t.Run("/conf/core/conformance-success", func(t *testing.T) {
		list := fmt.Sprint(s.json(t, "/conformance")["conformsTo"])
		for _, class := range []string{"core", "oas30", "geojson", "html"} {
			if !strings.Contains(list, "http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/"+class) {
				t.Errorf("%s is not declared", class)
			}
		}
	})
	t.Run("/conf/core/fc-md-op", func(t *testing.T) { s.json(t, "/collections") })
	t.Run("/conf/core/fc-md-links", func(t *testing.T) { wantForms(t, s.links(t, "/collections"), "application/json", "text/html") })
	t.Run("/conf/core/fc-md-items", func(t *testing.T) {
		var got []string
		for _, c := range s.collections(t) {
			got = append(got, fmt.Sprint(c["id"]))
			if c["itemType"] != "feature" || c["title"] == "" || c["description"] == "" || c["extent"] == nil {
				t.Errorf("%v", c)
			}
		}
		if !slices.Equal(got, collectionIDs) {
			t.Error(got)
		}
	})
	t.Run("/conf/core/fc-md-items-links", func(t *testing.T) {
		for _, c := range s.collections(t) {
			var types []string
			for _, l := range linksOf(c) {
				if l.Type == "" || l.Rel == "" {
					t.Errorf("%v: %v", c["id"], l)
				}
				if l.Rel == "items" {
					types = append(types, l.Type)
				}
			}
			if !slices.Equal(types, []string{"application/geo+json", "text/html"}) {
				t.Errorf("%v has items as %v", c["id"], types)
			}
		}
	})
	for _, id := range collectionIDs {
		t.Run("/conf/core/fc-md-extent of "+id, func(t *testing.T) { s.checkExtent(t, id) })
		t.Run("/conf/core/sfc-md-op, sfc-md-success of "+id, func(t *testing.T) {
			own := s.json(t, "/collections/"+id)
			for _, entry := range s.collections(t) {
				if entry["id"] == id && fmt.Sprint(own) != fmt.Sprint(entry) {
					t.Errorf("%v differs from %v", own, entry)
				}
			}
		})
		t.Run("/conf/core/fc-op, fc-response of "+id, func(t *testing.T) { s.checkPage(t, id) })
		t.Run("/conf/core/f-op, f-success, f-links of "+id, func(t *testing.T) { s.checkFeatures(t, id) })
	}
	t.Run("/conf/core/sfc-md-op: none such", func(t *testing.T) { s.problem(t, "/collections/shrubs", 404, "<nil>") })
	t.Run("/conf/core/fc-limit-definition", func(t *testing.T) {
		p := s.contract(t).doc.Components.Parameters["limit"].Value
		if p.Name != "limit" || p.In != "query" || p.Required || p.Style != "form" || *p.Explode || !p.Schema.Value.Type.Is("integer") ||
			*p.Schema.Value.Min != 1 || *p.Schema.Value.Max != 10000 || p.Schema.Value.Default != 100.0 {
			t.Errorf("%+v", p)
		}
	})
	t.Run("/conf/core/fc-limit-response", func(t *testing.T) {
		for limit, want := range map[string]int{"1": 1, "7": 7, "10001": 260, "99999999999999999999": 260} {
			if c := s.features(t, treeItems+"?limit="+limit); len(c.Features) != want || *c.NumberMatched != 260 {
				t.Error(limit, len(c.Features), *c.NumberMatched)
			}
		}
		if c := s.features(t, treeItems); len(c.Features) != 100 {
			t.Error("without a limit:", len(c.Features))
		}
	})
	t.Run("/conf/core/fc-bbox-definition", func(t *testing.T) {
		p := s.queryParameter(t, treeItems, "bbox")
		schema := p.Schema.Value
		if p.Required || p.Style != "form" || *p.Explode || !schema.Type.Is("array") || schema.MinItems != 4 || *schema.MaxItems != 6 || !schema.Items.Value.Type.Is("number") {
			t.Errorf("%+v", p)
		}
	})
	t.Run("/conf/core/fc-bbox-response", func(t *testing.T) { s.checkBox(t) })
	t.Run("/conf/core/fc-time-definition", func(t *testing.T) {
		p := s.queryParameter(t, treeItems, "datetime")
		if p.Required || p.Style != "form" || *p.Explode || !p.Schema.Value.Type.Is("string") {
			t.Errorf("%+v", p)
		}
	})
	t.Run("/conf/core/fc-time-response", func(t *testing.T) { s.checkTime(t) })
	t.Run("/conf/core/fc-op: bbox and datetime together", func(t *testing.T) {
		both := s.features(t, "/collections/cuts/items?limit=1000&bbox=25.28,54.68,25.282,54.69&datetime=2021-03-15").Features
		inBox := ids(s.features(t, "/collections/cuts/items?limit=1000&bbox=25.28,54.68,25.282,54.69").Features)
		inTime := ids(s.features(t, "/collections/cuts/items?limit=1000&datetime=2021-03-15").Features)
		want := slices.DeleteFunc(slices.Clone(inBox), func(id string) bool { return !slices.Contains(inTime, id) })
		if !slices.Equal(ids(both), want) || len(want) == 0 || len(want) == len(inBox) || len(want) == len(inTime) {
			t.Error(len(both), len(inBox), len(inTime))
		}
	})
	t.Run("/conf/core/fc-links", func(t *testing.T) {
		wantForms(t, s.features(t, treeItems+"?limit=5").Links, "application/geo+json", "text/html")
	})
	t.Run("/conf/core/fc-timeStamp", func(t *testing.T) {
		if at, err := time.Parse(time.RFC3339, s.features(t, treeItems+"?limit=1").TimeStamp); err != nil || !at.Equal(today) {
			t.Error(at, err)
		}
	})
	t.Run("/conf/core/fc-numberMatched, fc-numberReturned: all pages together, once each, and an end", func(t *testing.T) {
		for _, query := range []string{"limit=37", "limit=100&status=alive", "limit=40&filter=" + url.QueryEscape("height_m > 10")} {
			first := s.features(t, treeItems+"?"+query)
			all := ids(s.walk(t, treeItems+"?"+query, nil))
			slices.Sort(all)
			if first.NumberMatched == nil || *first.NumberMatched != len(all) || len(slices.Compact(all)) != len(all) || first.NumberReturned != len(first.Features) {
				t.Errorf("%s: %v matched, %d walked", query, first.NumberMatched, len(all))
			}
		}
	})
	// 400 with a problem document (RFC 9457) that names the parameter.
	for _, c := range badQueries {
		t.Run("/conf/core/query-param-invalid: "+c.query, func(t *testing.T) { s.problem(t, treeItems+"?"+c.query, 400, c.parameter) })
	}
	t.Run("/conf/core/query-param-unknown", func(t *testing.T) {
		for _, path := range []string{"/", "/api", "/conformance", "/functions", "/collections", "/collections/trees", "/collections/trees/queryables", treeItems, treeItems + "/1"} {
			s.problem(t, path+"?unknownQueryParameter=1", 400, "unknownQueryParameter")
		}
	})
	t.Run("/conf/core/query-param-unknown: a query that is no query", func(t *testing.T) {
		if r := s.get(t, treeItems+"?limit=%zz"); r.status != 400 {
			t.Error(r.status, string(r.body))
		}
	})
	t.Run("/conf/core/http", func(t *testing.T) {
		if r := s.get(t, treeItems+"?limit=1"); r.header.Get("Content-Crs") != "<http://www.opengis.net/def/crs/OGC/1.3/CRS84>" {
			t.Error(r.header)
		}
	})
}

var badQueries = []struct{ query, parameter string }{
	{"limit=0", "limit"}, {"limit=-1", "limit"}, {"limit=unlimited", "limit"}, {"limit=1.5", "limit"}, {"limit=", "limit"}, {"limit=1&limit=2", "limit"},
	{"extra=1", "extra"}, {"LIMIT=1", "LIMIT"},
	{"bbox=1,2,3", "bbox"}, {"bbox=1,2,3,4,5", "bbox"}, {"bbox=NaN,2,3,4", "bbox"}, {"bbox=Inf,2,3,4", "bbox"}, {"bbox=", "bbox"}, {"bbox=a,b,c,d", "bbox"},
	{"bbox=0,0,10,95", "bbox"}, {"bbox=-190,0,10,5", "bbox"}, {"bbox=0,20,10,10", "bbox"}, {"bbox=0,0,9,1,1,1", "bbox"},
	{"datetime=yesterday", "datetime"}, {"datetime=2024-13-01", "datetime"}, {"datetime=2024-05-02/2024-05-01", "datetime"}, {"datetime=../..", "datetime"}, {"datetime=/", "datetime"}, {"datetime=2024-05-01/2024-05-02/2024-05-03", "datetime"},
	{"dbh_cm=thick", "dbh_cm"}, {"dbh_cm=NaN", "dbh_cm"}, {"stems=1.5", "stems"}, {"planted_year=99999999999999999999", "planted_year"},
	{"inferred=maybe", "inferred"}, {"status=sleepy", "status"}, {"over=lava", "over"}, {"cut_kinds=topping,haircut", "cut_kinds"}, {"changed_at=yesterday", "changed_at"},
	{"species=%00", "species"}, {"species=%ff", "species"},
	{"cursor=!!", "cursor"}, {"cursor=" + strings.Repeat("A", 90), "cursor"}, {"f=png", "f"},
	{"sortby=colour", "sortby"}, {"sortby=over", "sortby"}, {"properties=colour", "properties"}, {"resultType=some", "resultType"}, {"as_of=2999-01-01", "as_of"},
	{"crs=http://www.opengis.net/def/crs/0/unsupported", "crs"}, {"bbox=0,0,1,1&bbox-crs=http://www.opengis.net/def/crs/0/unsupported", "bbox-crs"},
}
