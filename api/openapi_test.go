package api_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
)

// Every answer that any test gets is held against the API definition by
// kin-openapi, which we did not make: its path, status, content type, headers
// and body.

func init() {
	for _, form := range []string{"text/html", "text/csv", "application/yaml", "application/pdf", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", "image/jpeg", "image/png", "image/webp", "application/geo+json-seq", "image/svg+xml", "text/css", "text/javascript", "application/javascript"} {
		openapi3filter.RegisterBodyDecoder(form, openapi3filter.PlainBodyDecoder)
	}
}

// TestDefinitionComplete holds the routes and the definition together: neither
// has what the other has not, and the parameters of each operation are those
// that its handler knows.
func TestDefinitionComplete(t *testing.T) {
	s := serve(t, takesFiles(t))
	s.keepRankings(t)
	c := s.contract(t)
	concrete := strings.NewReplacer("{collection}", "trees", "{feature}", "{featureId}", "/map/*", "/map/{part}", "{set}", "{tileMatrixSetId}", "{matrix}/{row}/{column}", "{tileMatrix}/{tileRow}/{tileCol}")
	defined := map[string]bool{}
	if err := s.server.Routes(func(method, pattern string) {
		if method == http.MethodHead || method == http.MethodOptions {
			return
		}
		path := concrete.Replace(pattern)
		defined[method+" "+path] = true
		item := c.doc.Paths.Value(path)
		if item == nil || item.GetOperation(method) == nil {
			t.Errorf("%s %s is a route that is not defined", method, pattern)
		}
	}); err != nil {
		t.Fatal(err)
	}
	ids := map[string]bool{}
	for path, item := range c.doc.Paths.Map() {
		for method, o := range item.Operations() {
			if ids[o.OperationID] || o.OperationID == "" || o.Summary == "" {
				t.Errorf("%s %s: id %q, summary %q", method, path, o.OperationID, o.Summary)
			}
			ids[o.OperationID] = true
			template := path
			if parts := strings.Split(path, "/"); len(parts) > 2 && parts[1] == "collections" && parts[2] != "{collection}" {
				parts[2] = "trees"
				template = strings.Join(parts, "/")
			}
			if !defined[method+" "+template] {
				t.Errorf("%s %s is defined but no route", method, path)
			}
			usual := []int{400, 404, 500}
			if method == http.MethodGet {
				usual = append(usual, 406)
			}
			for _, status := range usual {
				problem := o.Responses.Status(status)
				if problem == nil || problem.Value.Content.Get("application/problem+json") == nil {
					t.Errorf("%s %s says nothing of a problem %d", method, path, status)
				}
			}
			if method == http.MethodGet {
				s.checkParameters(t, path, o)
			}
		}
	}
}

// checkParameters asks with a parameter that nobody knows: the answer lists those
// that the handler does.
func (s *service) checkParameters(t *testing.T, path string, o *openapi3.Operation) {
	t.Helper()
	if strings.HasPrefix(path, "/map") || strings.HasSuffix(path, "z") || strings.HasSuffix(path, "/photos/{photo}") {
		return // files and signs of life look at no query
	}
	asked := strings.NewReplacer("{featureId}", "1", "{question}", "tall", "{programme}", "1", "{job}", "1", "{ranking}", "1", "{other}", "2", "{tileMatrixSetId}", "WebMercatorQuad", "{tileMatrix}", "14", "{tileRow}", "5211", "{tileCol}", "9342").Replace(path)
	r := s.get(t, asked+"?aParameterNobodyKnows=1")
	p := parse[map[string]any](t, r.body)
	_, list, ok := strings.Cut(fmt.Sprint(p["detail"]), "expected some of ")
	if r.status != 400 || !ok {
		t.Errorf("%s with an unknown parameter: %d %s", asked, r.status, r.body)
		return
	}
	known := strings.Split(list, ", ")
	if strings.HasSuffix(path, "/export") { // which is whole, and says so of these
		known = slices.DeleteFunc(known, func(name string) bool { return name == "limit" || name == "cursor" || name == "resultType" })
	}
	if past := s.get(t, asked+"?as_of=2999-01-01"); strings.Contains(string(past.body), "yet to come") {
		known = append(known, "as_of") // which is read before all others
	}
	var defined []string
	for _, p := range o.Parameters {
		if p.Value.In == "query" {
			defined = append(defined, p.Value.Name)
		}
	}
	slices.Sort(known)
	slices.Sort(defined)
	if known = slices.Compact(known); !slices.Equal(known, defined) {
		t.Errorf("%s knows %v, defined are %v", asked, known, defined)
	}
}

// TestCheckFinds shows that the comparison with the definition can fail.
func TestCheckFinds(t *testing.T) {
	s := serve(t, nil)
	good := s.get(t, "/collections/trees/items?limit=1")
	change := func(from, to string) reply {
		r := good
		r.header = good.header.Clone()
		r.body = bytes.Replace(good.body, []byte(from), []byte(to), 1)
		if bytes.Equal(r.body, good.body) {
			t.Fatalf("nothing was changed in %s", good.body)
		}
		return r
	}
	other := good
	other.header = http.Header{"Content-Type": {"text/plain"}}
	unknown := good
	unknown.status = 402
	for name, c := range map[string]struct {
		path string
		r    reply
	}{
		"a value of another type":       {"/collections/trees/items?limit=1", change(`"tag":"T1"`, `"tag":7`)},
		"a word outside the list":       {"/collections/trees/items?limit=1", change(`"status":"alive"`, `"status":"asleep"`)},
		"a property that is missing":    {"/collections/trees/items?limit=1", change(`"tag":"T1",`, ``)},
		"a property that is not there":  {"/collections/trees/items?limit=1", change(`"tag":"T1"`, `"tag":"T1","colour":"green"`)},
		"a geometry of another type":    {"/collections/trees/items?limit=1", change(`"type":"Point"`, `"type":"Polygon"`)},
		"a link without its type":       {"/collections/trees/items?limit=1", change(`"rel":"self",`, ``)},
		"another content type":          {"/collections/trees/items?limit=1", other},
		"a status that is not said":     {"/collections/trees/items?limit=1", unknown},
		"a parameter that is not said":  {"/collections/trees/items?colour=green", good},
		"a path that is not there":      {"/collections/shrubs/items", good},
		"JSON that ends before its end": {"/collections/trees/items?limit=1", reply{200, good.header, good.body[:len(good.body)-9]}},
	} {
		u, err := url.Parse(s.web.URL + c.path)
		if err != nil {
			t.Fatal(err)
		}
		quiet := &silent{TB: t}
		s.check(quiet, &http.Request{Method: http.MethodGet, URL: u}, c.r)
		if !quiet.failed {
			t.Errorf("%s is not found", name)
		}
	}
}

// silent takes failures for what they are and keeps them.
type silent struct {
	testing.TB
	failed bool
}

func (s *silent) Errorf(string, ...any) { s.failed = true }
func (s *silent) Helper()               {}

// object is any JSON object.
type object = map[string]any

func (s *service) json(t testing.TB, path string, headers ...string) object {
	t.Helper()
	r := s.get(t, path, headers...)
	if r.status != 200 {
		t.Fatalf("%s: %d %s", path, r.status, r.body)
	}
	var v object
	if err := json.Unmarshal(r.body, &v); err != nil {
		t.Fatal(path, err)
	}
	return v
}
