package api_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory"
)

// checkedBy names, for each class that is declared, the tests that check it, by
// their folder and function.
var checkedBy = func() map[string][]string {
	const specs = "http://www.opengis.net/spec/"
	out := map[string][]string{}
	for _, c := range []struct{ standard, classes, tests string }{
		{"ogcapi-common-1/1.0/conf/", "core json html oas30", "api.TestCommonClasses api.TestHTMLClass api.TestOpenAPIClass"},
		{"ogcapi-common-2/1.0/conf/", "collections", "api.TestCommonClasses api.TestCoreClass"},
		{"ogcapi-features-1/1.0/conf/", "core", "api.TestCoreClass api.TestCrawl"},
		{"ogcapi-features-1/1.0/conf/", "oas30", "api.TestOpenAPIClass api.TestDefinitionComplete"},
		{"ogcapi-features-1/1.0/conf/", "geojson", "api.TestGeoJSONClass"},
		{"ogcapi-features-1/1.0/conf/", "html", "api.TestHTMLClass api.TestCrawl"},
		{"ogcapi-features-3/1.0/conf/", "queryables queryables-query-parameters filter features-filter", "api.TestFilterClasses"},
		{"ogcapi-features-5/1.0/conf/", "schemas", "api.TestSchemaClasses"},
		{"ogcapi-common-3/1.0/conf/", "schemas advanced-property-roles returnables-and-receivables queryables sortables", "api.TestSchemaClasses api.TestFilterClasses api.TestSortingClasses"},
		{"ogcapi-features-8/1.0/conf/", "sortables sorting features-sorting", "api.TestSortingClasses"},
		{"cql2/1.0/conf/", "functions", "api.TestFilterClasses inventory/postgres.TestStandardsCounts"},
		{"cql2/1.0/conf/", "cql2-text cql2-json basic-cql2 advanced-comparison-operators case-insensitive-comparison accent-insensitive-comparison " +
			"basic-spatial-functions basic-spatial-functions-plus basic-spatial-operators spatial-functions temporal-functions array-functions property-property arithmetic",
			"inventory/postgres.TestStandardsCounts inventory/filter.TestStandardsExamples inventory/postgres.TestFilterRows"},
		{"ogcapi-features-2/1.0/conf/", "crs", "api.TestReferences api.TestBoxCRS"},
		{"ogcapi-tiles-1/1.0/conf/", "core mvt", "api.TestTilePlaces api.TestTileValues api.TestTileFaults api.TestTileReadByGDAL"},
		{"ogcapi-tiles-1/1.0/conf/", "tileset tilesets-list dataset-tilesets geodata-tilesets", "api.TestTileDocuments"},
		{"ogcapi-tiles-1/1.0/conf/", "oas30", "api.TestDefinitionComplete api.TestOpenAPIClass"},
		{"ogcapi-features-4/1.0/conf/", "create-replace-delete features", "api.TestPartFourCreate api.TestPartFourReplace api.TestPartFourDelete api.TestPartFourOptions"},
		{"ogcapi-features-4/1.0/conf/", "update", "api.TestPartFourUpdate"},
		{"ogcapi-features-4/1.0/conf/", "optimistic-locking-etags", "api.TestPartFourLocking"},
	} {
		for _, class := range strings.Fields(c.classes) {
			out[specs+c.standard+class] = strings.Fields(c.tests)
		}
	}
	return out
}()

// TestConformanceDeclared holds what is declared and what is tested together.
func TestConformanceDeclared(t *testing.T) {
	s := serve(t, func(c *api.Config) { c.Edit, c.RequireMatch = true, true })
	for _, class := range serveOn(t, s, nil).server.Classes() {
		if strings.Contains(class, "ogcapi-features-4") {
			t.Errorf("%s is declared by a service that is read only", class)
		}
	}
	declared := map[string]bool{}
	for _, class := range s.json(t, "/conformance")["conformsTo"].([]any) {
		class := class.(string)
		if declared[class] {
			t.Errorf("%s is declared twice", class)
		}
		declared[class] = true
		if len(checkedBy[class]) == 0 {
			t.Errorf("%s is declared and no test is named that checks it", class)
		}
		for _, name := range checkedBy[class] {
			folder, function, _ := strings.Cut(name, ".")
			if !hasTest(t, folder, function) {
				t.Errorf("%s: there is no test %s", class, name)
			}
		}
	}
	for class := range checkedBy {
		if !declared[class] {
			t.Errorf("%s is tested but not declared", class)
		}
	}
}

// hasTest reports whether a folder of this module has a test function.
func hasTest(t *testing.T, folder, function string) bool {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", filepath.FromSlash(folder), "*_test.go"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, text, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range file.Decls {
			if f, ok := d.(*ast.FuncDecl); ok && f.Name.Name == function {
				return true
			}
		}
	}
	return false
}

// describing are the resources of the standards' classes that are not features.
var describingPaths = func() []string {
	out := []string{"/", "/api", "/conformance", "/functions", "/collections", "/tiles", "/tiles/WebMercatorQuad", "/tileMatrixSets", "/tileMatrixSets/WebMercatorQuad",
		"/collections/trees/tiles", "/collections/trees/tiles/WebMercatorQuad"}
	for _, id := range collectionIDs {
		for _, part := range []string{"", "/queryables", "/sortables", "/schema", "/schema/feature"} {
			out = append(out, "/collections/"+id+part)
		}
	}
	return out
}()

// TestCommonClasses goes through OGC API - Common - Parts 1 and 2 (19-072,
// 20-024): every resource is there and names its other forms.
func TestCommonClasses(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	for _, path := range describingPaths {
		t.Run("/req/json/definition of "+path, func(t *testing.T) {
			r := s.get(t, path)
			form := r.header.Get("Content-Type")
			if r.status != 200 || form != "application/json" && form != "application/schema+json" && !strings.HasPrefix(form, "application/vnd.oai.openapi+json") {
				t.Error(r.status, form)
			}
			if links := linksOf(parse[object](t, r.body)); form == "application/json" {
				wantForms(t, links, "application/json", "text/html")
			}
			if len(r.header.Values("Link")) != 1 || !strings.Contains(r.header.Get("Link"), `rel="alternate"; type="text/html"`) {
				t.Error(r.header.Values("Link"))
			}
		})
	}
	t.Run("/req/collections/collections-list-items: a list of the reference systems", func(t *testing.T) {
		for _, c := range s.collections(t) {
			if crs := c["crs"].([]any); crs[0] != "http://www.opengis.net/def/crs/OGC/1.3/CRS84" || !slices.Contains(crs, c["storageCrs"]) {
				t.Error(c["id"], crs, c["storageCrs"])
			}
		}
	})
}

// TestOpenAPIClass goes through the abstract tests of the class oas30.
func TestOpenAPIClass(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	s.keepRankings(t)
	s.keepProgramme(t)
	tall := inventory.SavedQuestion{Name: "tall", Title: "Tall trees", Collection: "trees", Filter: "height_m > 15"}
	if err := s.db.SaveQuestion(t.Context(), 1, tall); err != nil {
		t.Fatal(err)
	}
	t.Run("/conf/oas30/oas-definition-1", func(t *testing.T) {
		links := s.links(t, "/")
		for name, form := range map[string]string{"service-desc": "application/vnd.oai.openapi+json;version=3.0", "service-doc": "text/html"} {
			at := slices.IndexFunc(links, func(l link) bool { return l.Rel == name && l.Type == form })
			if at < 0 {
				t.Fatalf("no link %s as %s", name, form)
			}
			r := s.get(t, links[at].Href)
			if got := r.header.Get("Content-Type"); got != form && got != form+"; charset=utf-8" {
				t.Error(name, got)
			}
		}
	})
	t.Run("/conf/oas30/oas-definition-2", func(t *testing.T) {
		c, err := contractOf(s.get(t, "/api").body)
		if err != nil || !strings.HasPrefix(c.doc.OpenAPI, "3.0.") || c.doc.Servers[0].URL != s.web.URL {
			t.Error(err, c)
		}
	})
	t.Run("/conf/oas30/oas-impl: each path answers as it says", func(t *testing.T) {
		c := s.contract(t)
		feature := map[string]string{}
		for _, id := range collectionIDs {
			feature["/collections/"+id+"/items/{featureId}"] = fmt.Sprint(s.features(t, "/collections/"+id+"/items?limit=1").Features[0].ID)
		}
		feature["/collections/tall/items/{featureId}"] = fmt.Sprint(s.features(t, "/collections/tall/items?limit=1").Features[0].ID)
		needed := map[string]string{"tag": "T30", "change": "tree T30 removed", "year": "2028", "package": "Path", "length_m": "6", "base_diameter_cm": "20", "lateral_diameter_cm": "8", "lateral_distance_m": "4"}
		for path, item := range c.doc.Paths.Map() {
			if path == "/map/{part}" || strings.HasSuffix(path, "/photos/{photo}") || item.Get == nil {
				continue // the page's own tests ask for its parts, those of pictures for each kind
			}
			asked := strings.NewReplacer("{featureId}", feature[strings.TrimSuffix(path, "/history")], "{programme}", "1", "{job}", "1", "{place}", "1", "{question}", "tall", "{ranking}", "1", "{other}", "2", "{tileMatrixSetId}", "WebMercatorQuad",
				"{tileMatrix}", "16", "{tileRow}", "20800", "{tileCol}", "37368").Replace(path)
			query := url.Values{}
			for _, p := range item.Get.Parameters {
				if p.Value.In == "query" && p.Value.Required {
					query.Set(p.Value.Name, needed[p.Value.Name])
				}
			}
			for form := range item.Get.Responses.Status(200).Value.Content {
				if _, err := exec.LookPath("chromium"); form == "application/pdf" && err != nil {
					continue // make test installs it
				}
				if r := s.get(t, asked+"?"+query.Encode(), "Accept", form); r.status == 204 && form == "application/vnd.mapbox-vector-tile" {
					continue // nothing lies there
				} else if r.status != 200 || !strings.HasPrefix(r.header.Get("Content-Type"), form) {
					t.Errorf("%s as %s: %d %s", asked, form, r.status, r.header.Get("Content-Type"))
				}
			}
		}
	})
	t.Run("/conf/oas30/completeness, exceptions-codes", func(t *testing.T) {
		// Every status that the tests meet is compared in check; this is one of each.
		for path, want := range map[string]int{"/collections/shrubs": 404, treeItems + "?limit=0": 400, treeItems + "/99999": 404, "/ranking?limit=0": 400} {
			if r := s.get(t, path); r.status != want {
				t.Error(path, r.status)
			}
		}
		if r := s.get(t, treeItems, "Accept", "image/png"); r.status != 406 {
			t.Error(r.status)
		}
	})
	t.Run("/conf/oas30/security: no key is asked for where none is said", func(t *testing.T) {
		c := s.contract(t)
		if len(c.doc.Security) > 0 {
			t.Error(c.doc.Security)
		}
	})
	t.Run("what desktop clients look for", func(t *testing.T) {
		document := s.json(t, "/api")
		limit := document["components"].(object)["parameters"].(object)["limit"].(object)
		if schema := limit["schema"].(object); schema["maximum"] != 10000.0 || schema["default"] != 100.0 {
			t.Error(limit)
		}
		found := map[string]object{}
		for _, p := range document["paths"].(object)[treeItems].(object)["get"].(object)["parameters"].([]any) {
			p := p.(object)
			found[fmt.Sprint(p["name"])] = p
		}
		// A client that reads no references wants these spelled out.
		if hits := found["resultType"]; hits == nil || fmt.Sprint(hits["schema"].(object)["enum"]) != "[results hits]" {
			t.Error(hits)
		}
		for _, name := range []string{"tag", "height_m", "status", "brittle"} {
			if p := found[name]; p == nil || p["style"] != "form" || p["explode"] != false || p["schema"].(object)["type"] == nil || p["in"] != "query" {
				t.Error(name, p)
			}
		}
	})
}
