package api_test

import (
	"cmp"
	"slices"
	"sort"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

func wantSchemaLink(t testing.TB, links []link, rel, href string) {
	t.Helper()
	for _, l := range links {
		if l.Rel == rel && l.Href == href && l.Type == "application/schema+json" {
			return
		}
	}
	t.Errorf("no link %s to %s in %v", rel, href, links)
}

// checkSchema holds a schema against /req/schemas of 23-058r2 and compiles it
// with a validator that we did not make.
func (s *service) checkSchema(t *testing.T, path string) object {
	t.Helper()
	if r := s.get(t, path, "Accept", "application/schema+json"); r.header.Get("Content-Type") != "application/schema+json" {
		t.Error(r.header)
	}
	schema := s.json(t, path+"?f=json")
	if schema["$schema"] != "https://json-schema.org/draft/2020-12/schema" || schema["$id"] != s.web.URL+path || schema["type"] != "object" {
		t.Error(schema["$schema"], schema["$id"], schema["type"])
	}
	compiler := jsonschema.NewCompiler()
	if err := compiler.AddResource(s.web.URL+path, schema); err != nil {
		t.Fatal(err)
	}
	if _, err := compiler.Compile(s.web.URL + path); err != nil {
		t.Error(err)
	}
	for name, v := range schema["properties"].(object) {
		p := v.(object)
		format, _ := p["format"].(string)
		if strings.HasPrefix(format, "geometry-") {
			if p["type"] != nil || p["$ref"] != nil {
				t.Errorf("%s has a type besides its format: %v", name, p)
			}
		} else if p["type"] == nil {
			t.Errorf("%s has no type: %v", name, p)
		}
		if p["title"] == nil || p["title"] == "" {
			t.Errorf("%s has no title", name)
		}
	}
	return schema
}

// TestSchemaClasses goes through the requirements of OGC API - Common - Part 3
// (23-058r2): schemas, roles, returnables and receivables, queryables, sortables.
func TestSchemaClasses(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	for _, id := range collectionIDs {
		t.Run("/req/returnables-and-receivables, schemas, advanced-property-roles of "+id, func(t *testing.T) {
			wantSchemaLink(t, s.links(t, "/collections/"+id), "http://www.opengis.net/def/rel/ogc/1.0/schema", s.web.URL+"/collections/"+id+"/schema")
			schema := s.checkSchema(t, "/collections/"+id+"/schema")
			roles := map[any]int{}
			names := []string{"id", "geometry"}
			for name, v := range schema["properties"].(object) {
				p := v.(object)
				if p["x-ogc-role"] != nil {
					roles[p["x-ogc-role"]]++
				}
				if p["x-ogc-role"] == "primary-instant" && p["format"] != "date" && p["format"] != "date-time" {
					t.Errorf("%s is an instant as %v", name, p)
				}
			}
			if roles["id"] != 1 || roles["primary-geometry"] != 1 || roles["primary-instant"] > 1 {
				t.Error(roles)
			}
			f := s.features(t, "/collections/"+id+"/items?limit=1").Features[0]
			for name := range f.Properties {
				names = append(names, name)
			}
			if got := keys(schema["properties"].(object)); !slices.Equal(got, sorted(names)) || schema["additionalProperties"] != false {
				t.Errorf("the schema has %v, a feature %v", got, names)
			}
		})
		t.Run("/req/queryables of "+id, func(t *testing.T) {
			s.checkSchema(t, "/collections/"+id+"/queryables")
		})
		t.Run("describedBy of "+id+" is a feature's schema", func(t *testing.T) { s.checkFeatureSchema(t, id) })
	}
	t.Run("/req/returnables-and-receivables: what nobody edits is read only", func(t *testing.T) {
		properties := s.json(t, "/collections/trees/schema")["properties"].(object)
		for name, want := range map[string]any{"tag": nil, "height_m": nil, "people": true, "version": true, "id": true} {
			if got := properties[name].(object)["readOnly"]; got != want {
				t.Errorf("%s: read only %v", name, got)
			}
		}
		if properties["dbh_cm"].(object)["x-ogc-unit"] != "cm" || properties["changed_at"].(object)["x-ogc-role"] != "primary-instant" {
			t.Error(properties["dbh_cm"], properties["changed_at"])
		}
	})
}

func keys(o object) []string {
	var out []string
	for name := range o {
		out = append(out, name)
	}
	return sorted(out)
}

func sorted(list []string) []string { sort.Strings(list); return list }

// checkFeatureSchema holds features against the schema that GDAL reads, nulls
// left out: it speaks of no null, as that client could not read it then.
func (s *service) checkFeatureSchema(t *testing.T, id string) {
	path := rel(s.links(t, "/collections/"+id), "describedBy")
	schema := s.json(t, path)
	compiler := jsonschema.NewCompiler()
	if err := compiler.AddResource(path, schema); err != nil {
		t.Fatal(err)
	}
	compiled, err := compiler.Compile(path)
	if err != nil {
		t.Fatal(err)
	}
	var dates []string
	for name, v := range schema["properties"].(object)["properties"].(object)["properties"].(object) {
		if format := v.(object)["format"]; format == "date" || format == "date-time" {
			dates = append(dates, name)
		}
	}
	if len(dates) > 1 {
		t.Errorf("several dates have a format: %v", dates)
	}
	for _, f := range s.json(t, "/collections/"+id+"/items?limit=50")["features"].([]any) {
		f := f.(object)
		for name, v := range f["properties"].(object) {
			if v == nil {
				delete(f["properties"].(object), name)
			}
		}
		if err := compiled.Validate(f); err != nil {
			t.Error(err)
		}
	}
}

// TestSortingClasses goes through the requirements of OGC API - Features - Part 8
// (a draft).
func TestSortingClasses(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	for _, id := range collectionIDs {
		t.Run("/req/sortables/get-sortables-success of "+id, func(t *testing.T) {
			schema := s.checkSchema(t, "/collections/"+id+"/sortables")
			names := keys(schema["properties"].(object))
			if computed := id == "zones" || id == "overlaps"; computed != (len(names) == 0) {
				t.Error(names)
			}
			if len(names) > 0 {
				wantSchemaLink(t, s.links(t, "/collections/"+id), "http://www.opengis.net/def/rel/ogc/1.0/sortables", s.web.URL+"/collections/"+id+"/sortables")
			}
			for name, v := range schema["properties"].(object) {
				if p := v.(object); p["type"] == "object" || p["type"] == "array" || p["type"] == nil {
					t.Errorf("%s: %v", name, p)
				}
				if r := s.get(t, "/collections/"+id+"/items?limit=1&sortby="+name); r.status != 200 {
					t.Errorf("%s: %d %s", name, r.status, r.body)
				}
			}
			s.problem(t, "/collections/"+id+"/items?sortby=colour", 400, "sortby")
		})
	}
	t.Run("/req/sorting/sortby-definition", func(t *testing.T) {
		p := s.queryParameter(t, treeItems, "sortby")
		if schema := p.Schema.Value; p.Required || p.Style != "form" || *p.Explode || !schema.Type.Is("array") || schema.MinItems != 1 || schema.Items.Value.Pattern == "" {
			t.Errorf("%+v", p)
		}
	})
	for _, c := range []struct{ query, first, second string }{{"height_m", "height_m", ""}, {"%2Bheight_m", "height_m", ""}, {"-height_m", "-height_m", ""}, {"species,-height_m", "species", "-height_m"}, {"-rank", "-rank", ""}} {
		t.Run("/req/sorting/sortby-response: "+c.query, func(t *testing.T) {
			list := s.walk(t, treeItems+"?limit=60&sortby="+c.query, nil)
			if len(list) != 260 {
				t.Fatal(len(list))
			}
			for i := 1; i < len(list); i++ {
				if order := compared(list[i-1], list[i], c.first); order > 0 || order == 0 && c.second != "" && compared(list[i-1], list[i], c.second) > 0 {
					t.Fatalf("%v before %v", list[i-1].Properties, list[i].Properties)
				}
			}
		})
	}
}

// compared orders two features by a property, those without a value last.
func compared(a, b feature, by string) int {
	name, descending := strings.CutPrefix(by, "-")
	x, y := a.Properties[name], b.Properties[name]
	switch {
	case x == nil && y == nil:
		return 0
	case x == nil:
		return 1
	case y == nil:
		return -1
	}
	order := 0
	switch x := x.(type) {
	case float64:
		order = cmp.Compare(x, y.(float64))
	case string:
		order = strings.Compare(x, y.(string))
	}
	if descending {
		return -order
	}
	return order
}
