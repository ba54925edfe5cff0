package api_test

import (
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
)

// queryParameter finds a parameter of a path that is read.
func (s *service) queryParameter(t testing.TB, path, name string) *openapi3.Parameter {
	t.Helper()
	item := s.contract(t).doc.Paths.Value(path)
	if item == nil {
		t.Fatal("no path", path)
	}
	p := item.Get.Parameters.GetByInAndName("query", name)
	if p == nil {
		t.Fatalf("%s has no parameter %s", path, name)
	}
	return p
}

// filtered asks for features by a filter.
func (s *service) filtered(t testing.TB, id, text string, more ...string) []string {
	t.Helper()
	return ids(s.features(t, "/collections/"+id+"/items?limit=10000&filter="+url.QueryEscape(text)+strings.Join(more, "")).Features)
}

// kept lists the features that a condition in Go holds for.
func (s *service) kept(t testing.TB, id string, keep func(feature) bool) []string {
	t.Helper()
	var out []string
	for _, f := range s.features(t, "/collections/"+id+"/items?limit=10000").Features {
		if keep(f) {
			out = append(out, fmt.Sprint(f.ID))
		}
	}
	return out
}

// TestFilterClasses goes through the requirements of OGC API - Features - Part 3
// (19-079r2), each named as there. What CQL2 itself asks for is checked against
// the standard's own data in inventory/postgres.
func TestFilterClasses(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	for _, id := range collectionIDs {
		t.Run("/req/queryables/queryables-link of "+id, func(t *testing.T) {
			wantSchemaLink(t, s.links(t, "/collections/"+id), "http://www.opengis.net/def/rel/ogc/1.0/queryables", s.web.URL+"/collections/"+id+"/queryables")
		})
		t.Run("/req/queryables/get-queryables-response of "+id, func(t *testing.T) {
			schema := s.checkSchema(t, "/collections/"+id+"/queryables")
			if schema["additionalProperties"] != false {
				t.Error(schema)
			}
			// Each name is answered, and no other is.
			for name, v := range schema["properties"].(object) {
				if got := s.get(t, "/collections/"+id+"/items?limit=1&filter="+url.QueryEscape(`"`+name+`" IS NULL`)); got.status != 200 {
					t.Errorf("%s %v: %d %s", name, v, got.status, got.body)
				}
			}
			s.problem(t, "/collections/"+id+"/items?filter=colour+IS+NULL", 400, "filter")
		})
		t.Run("/req/queryables-query-parameters/parameters of "+id, func(t *testing.T) { s.checkQueryableParameters(t, id) })
	}
	t.Run("/req/filter/filter-param", func(t *testing.T) {
		want := s.kept(t, "trees", func(f feature) bool { v, ok := f.Properties["height_m"].(float64); return ok && v > 12 })
		if got := s.filtered(t, "trees", "height_m > 12"); !slices.Equal(got, want) || len(want) == 0 {
			t.Errorf("%d, want %d", len(got), len(want))
		}
		p := s.queryParameter(t, treeItems, "filter")
		if p.Required || p.Style != "form" || *p.Explode || !p.Schema.Value.Type.Is("string") {
			t.Errorf("%+v", p)
		}
	})
	t.Run("/req/filter/filter-lang-param", func(t *testing.T) {
		p := s.queryParameter(t, treeItems, "filter-lang").Schema.Value
		if fmt.Sprint(p.Enum) != "[cql2-text cql2-json]" || p.Default != "cql2-text" {
			t.Errorf("%+v", p)
		}
		byText := s.filtered(t, "trees", "height_m > 12", "&filter-lang=cql2-text")
		byJSON := s.filtered(t, "trees", `{"op":">","args":[{"property":"height_m"},12]}`, "&filter-lang=cql2-json")
		if !slices.Equal(byText, byJSON) || len(byText) == 0 {
			t.Error(len(byText), len(byJSON))
		}
		s.problem(t, treeItems+"?filter=tag+IS+NULL&filter-lang=bogus", 400, "filter-lang")
	})
	t.Run("/req/filter/filter-crs-wgs84, filter-crs-param", func(t *testing.T) {
		west := s.filtered(t, "trees", "S_INTERSECTS(geometry, BBOX(25.2805,54.6801,25.2815,54.6806))")
		want := ids(s.features(t, treeItems+"?limit=1000&bbox=25.2805,54.6801,25.2815,54.6806").Features)
		same := s.filtered(t, "trees", "S_INTERSECTS(geometry, BBOX(25.2805,54.6801,25.2815,54.6806))", "&filter-crs=http://www.opengis.net/def/crs/OGC/1.3/CRS84")
		swapped := s.filtered(t, "trees", "S_INTERSECTS(geometry, BBOX(54.6801,25.2805,54.6806,25.2815))", "&filter-crs=http://www.opengis.net/def/crs/EPSG/0/4326")
		if len(want) == 0 || !slices.Equal(west, want) || !slices.Equal(same, want) || !slices.Equal(swapped, want) {
			t.Error(len(want), len(west), len(same), len(swapped))
		}
		s.problem(t, treeItems+"?filter=tag+IS+NULL&filter-crs=http://www.opengis.net/def/crs/0/unsupported", 400, "filter-crs")
	})
	t.Run("/req/filter/mixing-expressions: all conditions hold together", func(t *testing.T) {
		want := s.kept(t, "trees", func(f feature) bool {
			v, ok := f.Properties["height_m"].(float64)
			at := parse[[2]float64](t, f.Geometry.Coordinates)
			return ok && v > 12 && f.Properties["species"] == "Tilia cordata" && at[0] <= 25.2815
		})
		got := s.filtered(t, "trees", "height_m > 12", "&species=Tilia+cordata&bbox=25,54,25.2815,55")
		if !slices.Equal(got, want) || len(want) == 0 {
			t.Errorf("%d, want %d", len(got), len(want))
		}
	})
	t.Run("/req/features-filter/response: what is unknown is not taken, nor is its contrary", func(t *testing.T) {
		with := s.filtered(t, "trees", "height_m = 12")
		without := s.filtered(t, "trees", "NOT (height_m = 12)")
		unknown := s.filtered(t, "trees", "height_m IS NULL")
		if len(with) == 0 || len(unknown) == 0 || len(with)+len(without)+len(unknown) != 260 {
			t.Error(len(with), len(without), len(unknown))
		}
	})
	t.Run("/req/features-filter/response: a mistake is told with its place", func(t *testing.T) {
		for text, place := range map[string]string{"height_m >": "", "height_m > 'tall'": "", "height_m > > 3": "12", "(tag = 'T1'": "", "colour = 1": "1", "S_INTERSECTS(geometry, POINT(25))": ""} {
			path := treeItems + "?filter=" + url.QueryEscape(text)
			s.problem(t, path, 400, "filter")
			if detail := fmt.Sprint(parse[object](t, s.get(t, path).body)["detail"]); place != "" && !strings.Contains(detail, place) {
				t.Errorf("%s: %s", text, detail)
			}
		}
	})
	t.Run("what would be SQL is text", func(t *testing.T) {
		for _, text := range []string{`tag = 'a\' OR 1=1 --'`, `tag = '''; DROP TABLE trees; --'`, `tag LIKE '%''; --'`, `tag = 'x'') OR (1=1'`} {
			if got := s.filtered(t, "trees", text); len(got) != 0 {
				t.Errorf("%s finds %d", text, len(got))
			}
		}
		if got := s.features(t, treeItems+"?limit=1"); *got.NumberMatched != 260 {
			t.Error(*got.NumberMatched)
		}
	})
	t.Run("a filter nested too deeply is refused", func(t *testing.T) {
		deep := strings.Repeat("NOT (", 2000) + "tag = 'T1'" + strings.Repeat(")", 2000)
		s.problem(t, treeItems+"?filter="+url.QueryEscape(deep), 400, "filter")
		json := strings.Repeat(`{"op":"not","args":[`, 2000) + `true` + strings.Repeat(`]}`, 2000)
		s.problem(t, treeItems+"?filter-lang=cql2-json&filter="+url.QueryEscape(json), 400, "filter")
	})
	t.Run("/req/functions/get-functions-operation, get-functions-response-json", func(t *testing.T) {
		list := s.json(t, "/functions")["functions"].([]any)
		if len(list) == 0 {
			t.Fatal("no functions")
		}
		for _, f := range list {
			f := f.(object)
			args, returns := f["args"].([]any), f["returns"].([]any)
			if f["name"] == "" || len(args) == 0 || len(returns) == 0 {
				t.Error(f)
			}
		}
		near := s.filtered(t, "trees", "within_m(geometry, POINT(25.2805 54.6803), 30)")
		far := s.filtered(t, "trees", "distance_m(geometry, POINT(25.2805 54.6803)) > 30")
		if len(near) == 0 || len(near)+len(far) != 260 {
			t.Error(len(near), len(far))
		}
	})
	t.Run("derived figures and places answer the standing question", func(t *testing.T) {
		got := s.filtered(t, "trees", "A_OVERLAPS(over, ('parking','walkway')) AND A_CONTAINS(cut_kinds, ('topping'))")
		want := s.kept(t, "trees", func(f feature) bool {
			over, cuts := fmt.Sprint(f.Properties["over"]), fmt.Sprint(f.Properties["cut_kinds"])
			return (strings.Contains(over, "parking") || strings.Contains(over, "walkway")) && strings.Contains(cuts, "topping")
		})
		if !slices.Equal(got, want) || len(want) < 10 {
			t.Errorf("%d, want %d", len(got), len(want))
		}
		// Tree 65 stands there.
		for _, shape := range []string{"geometry", "crown", "zone"} {
			if got := s.filtered(t, "trees", "S_INTERSECTS("+shape+", BBOX(25.280719,54.680269,25.280721,54.680271))"); !slices.Contains(got, "65") || shape == "geometry" && len(got) != 1 || shape == "zone" && len(got) < 2 {
				t.Error(shape, got)
			}
		}
	})
}

// checkQueryableParameters wants a parameter for each queryable that has one
// value, as clients look for it, and asks with a value that is there.
func (s *service) checkQueryableParameters(t *testing.T, id string) {
	items := "/collections/" + id + "/items"
	sample := s.features(t, items+"?limit=10000").Features
	for name, v := range s.json(t, "/collections/"+id+"/queryables")["properties"].(object) {
		p := v.(object)
		if p["type"] == nil || p["type"] == "array" {
			continue
		}
		parameter := s.queryParameter(t, items, name)
		schema := parameter.Schema.Value
		if !schema.Type.Is(fmt.Sprint(p["type"])) || fmt.Sprint(schema.Enum...) != fmt.Sprint(list(p["enum"])...) || parameter.Style != "form" || *parameter.Explode {
			t.Errorf("%s: %+v, want %v", name, schema, p)
		}
		at := slices.IndexFunc(sample, func(f feature) bool { return f.Properties[name] != nil })
		if at < 0 {
			continue
		}
		want := sample[at].Properties[name]
		if text, ok := want.(string); ok && strings.Contains(text, ",") {
			continue // a comma parts values
		}
		var kept []string
		for _, f := range sample {
			if f.Properties[name] == want {
				kept = append(kept, fmt.Sprint(f.ID))
			}
		}
		value := fmt.Sprint(want)
		if n, ok := want.(float64); ok {
			value = strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.6f", n), "0"), ".")
		}
		if got := ids(s.features(t, items+"?limit=10000&"+name+"="+url.QueryEscape(value)).Features); !slices.Equal(got, kept) {
			t.Errorf("%s=%s: %d, want %d", name, value, len(got), len(kept))
		}
	}
}

func list(v any) []any { l, _ := v.([]any); return l }
