package api_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"
)

func (s *service) links(t testing.TB, path string) []link {
	t.Helper()
	return linksOf(s.json(t, path))
}

func linksOf(o object) []link {
	var out []link
	list, _ := o["links"].([]any)
	for _, l := range list {
		l := l.(object)
		out = append(out, link{Href: fmt.Sprint(l["href"]), Rel: fmt.Sprint(l["rel"]), Type: fmt.Sprint(l["type"])})
	}
	return out
}

func (s *service) collections(t testing.TB) []object {
	t.Helper()
	var out []object
	for _, c := range s.json(t, "/collections")["collections"].([]any) {
		out = append(out, c.(object))
	}
	return out
}

// wantForms wants a link self of one form and alternate of exactly the others.
func wantForms(t testing.TB, links []link, self string, others ...string) {
	t.Helper()
	var got []string
	for _, l := range links {
		switch l.Rel {
		case "self":
			got = append([]string{l.Type}, got...)
		case "alternate":
			got = append(got, l.Type)
		}
	}
	if !slices.Equal(got, append([]string{self}, others...)) {
		t.Errorf("forms %v, want %s and %v", got, self, others)
	}
}

// checkExtent asks for what meets the extent: it must be everything.
func (s *service) checkExtent(t *testing.T, id string) {
	c := parse[struct {
		Extent struct {
			Spatial struct {
				Bbox [][4]float64
				CRS  string
			}
			Temporal *struct{ Interval [][2]*string }
		}
	}](t, s.get(t, "/collections/"+id).body)
	path := "/collections/" + id + "/items?limit=10000"
	all := len(s.features(t, path).Features)
	if len(c.Extent.Spatial.Bbox) == 1 {
		b := c.Extent.Spatial.Bbox[0]
		if inside := s.features(t, fmt.Sprintf("%s&bbox=%v,%v,%v,%v", path, b[0], b[1], b[2], b[3])).NumberReturned; inside != all {
			t.Errorf("%d of %d in %v", inside, all, b)
		}
	} else if id != "sites" { // whose boundary is not recorded here
		t.Errorf("no box: %+v", c)
	}
	if c.Extent.Temporal == nil {
		if id != "zones" && id != "overlaps" {
			t.Error("no interval")
		}
		return
	}
	from, to := *c.Extent.Temporal.Interval[0][0], *c.Extent.Temporal.Interval[0][1]
	if inside := s.features(t, path+"&datetime="+from+"/"+to).NumberReturned; inside != all {
		t.Errorf("%d of %d from %s to %s", inside, all, from, to)
	}
	begin, err := time.Parse(time.RFC3339, from)
	if err != nil {
		t.Fatal(err)
	}
	// What is before all has only those without a time.
	before := s.features(t, path+"&datetime=../"+begin.Add(-time.Second).Format(time.RFC3339)).NumberReturned
	if before == all {
		t.Errorf("%d of %d before %s", before, all, from)
	}
}

func (s *service) checkPage(t *testing.T, id string) {
	r := s.get(t, "/collections/"+id+"/items?limit=5")
	if r.status != 200 || r.header.Get("Content-Type") != "application/geo+json" {
		t.Fatal(r.status, r.header.Get("Content-Type"), string(r.body))
	}
	c := parse[collection](t, r.body)
	if c.Type != "FeatureCollection" || c.NumberReturned != len(c.Features) || len(c.Features) == 0 || len(c.Features) > 5 {
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
}

func (s *service) checkFeatures(t *testing.T, id string) {
	page := s.features(t, "/collections/"+id+"/items?limit=5")
	for _, f := range page.Features {
		path := fmt.Sprintf("/collections/%s/items/%v", id, f.ID)
		got := parse[feature](t, s.get(t, path).body)
		if got.ID != f.ID || fmt.Sprint(got.Properties) != fmt.Sprint(f.Properties) {
			t.Errorf("%v differs from the same in a page", f.ID)
		}
		if rel(got.Links, "self") != s.web.URL+path || rel(got.Links, "collection") != s.web.URL+"/collections/"+id {
			t.Errorf("%v", got.Links)
		}
		wantForms(t, got.Links, "application/geo+json", "text/html")
	}
	for _, unknown := range []string{"99999999", "abc", "-1", "1e3", "92233720368547758079", "%F0%28", "4-99", "4-3-2"} {
		if r := s.get(t, "/collections/"+id+"/items/"+unknown); r.status != 404 {
			t.Errorf("%s: %d", unknown, r.status)
		}
	}
}

// checkBox compares what a box finds with where the features are.
func (s *service) checkBox(t *testing.T) {
	all := s.features(t, treeItems+"?limit=1000").Features
	for _, c := range []struct {
		query string
		box   [4]float64
	}{
		{"bbox=25.2805,54.6801,25.2815,54.6806", [4]float64{25.2805, 54.6801, 25.2815, 54.6806}},
		{"bbox=25.2805,54.6801,-50,25.2815,54.6806,900", [4]float64{25.2805, 54.6801, 25.2815, 54.6806}},
		{"bbox=170,54,-170,55", [4]float64{180, 54, 180, 55}},
		{"bbox=-180,-90,180,90", [4]float64{-180, -90, 180, 90}},
	} {
		var want []string
		for _, f := range all {
			at := parse[[2]float64](t, f.Geometry.Coordinates)
			if at[0] >= c.box[0] && at[0] <= c.box[2] && at[1] >= c.box[1] && at[1] <= c.box[3] {
				want = append(want, fmt.Sprint(f.ID))
			}
		}
		if got := ids(s.features(t, treeItems+"?limit=1000&"+c.query).Features); !slices.Equal(got, want) {
			t.Errorf("%s: %d, want %d", c.query, len(got), len(want))
		}
	}
	if got := s.features(t, "/collections/sites/items?bbox=0,0,1,1"); len(got.Features) != 1 {
		t.Error("a feature without a geometry does not meet a box")
	}
}

// checkTime compares what datetime finds with the days of the cuts: a cut of
// which only the year is known lies somewhere in it.
func (s *service) checkTime(t *testing.T) {
	all := s.features(t, "/collections/cuts/items?limit=1000").Features
	far := time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)
	for query, span := range map[string][2]string{
		"2021-03-15":                                {"2021-03-15", "2021-03-15"},
		"2021-03-15T12:00:00Z":                      {"2021-03-15", "2021-03-15"},
		"2021-03-14/2021-03-16":                     {"2021-03-14", "2021-03-16"},
		"2010-01-01T00:00:00Z/2012-12-31T23:59:59Z": {"2010-01-01", "2012-12-31"},
		"2015-01-01/..":                             {"2015-01-01", ""},
		"2015-01-01/":                               {"2015-01-01", ""},
		"../2012-06-01":                             {"", "2012-06-01"},
		"/2012-06-01":                               {"", "2012-06-01"},
		"1990-01-01/1991-01-01":                     {"1990-01-01", "1991-01-01"},
		// What two clients send, which no standard asks for.
		"2015-01-01T/..":                  {"2015-01-01", ""},
		"0000-01-01T00:00:00Z/2012-06-01": {"", "2012-06-01"},
		"2015-01-01/9999-12-31T23:59:59Z": {"2015-01-01", ""},
	} {
		from, _ := time.Parse(time.DateOnly, span[0])
		to, err := time.Parse(time.DateOnly, span[1])
		if err != nil {
			to = far
		}
		var want []string
		for _, f := range all {
			begin, end := time.Time{}, far
			if day, ok := f.Properties["made_on"].(string); ok {
				begin, _ = time.Parse(time.DateOnly, day)
				end = begin
			} else if year, ok := f.Properties["made_year"].(float64); ok {
				begin = time.Date(int(year), 1, 1, 0, 0, 0, 0, time.UTC)
				end = begin.AddDate(1, 0, -1)
			}
			if !begin.After(to) && !end.Before(from) {
				want = append(want, fmt.Sprint(f.ID))
			}
		}
		if got := ids(s.features(t, "/collections/cuts/items?limit=1000&datetime="+query).Features); !slices.Equal(got, want) {
			t.Errorf("%s: %d, want %d", query, len(got), len(want))
		}
	}
	if got := s.features(t, "/collections/zones/items?limit=1&datetime=1900-01-01"); len(got.Features) != 1 {
		t.Error("a feature without a time does not meet an interval")
	}
}
