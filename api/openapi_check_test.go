package api_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/klauspost/compress/zstd"
)

// Every answer that any test gets is held against the API definition by
// kin-openapi, which we did not make: its path, status, content type, headers
// and body.

// contract is an API definition ready to be compared with.
type contract struct {
	doc   *openapi3.T
	paths []pathPattern
}

type pathPattern struct {
	path    string
	pattern *regexp.Regexp
}

// contractOf reads a definition and holds it against the rules of OpenAPI 3.0.
func contractOf(b []byte) (*contract, error) {
	doc, err := openapi3.NewLoader().LoadFromData(b)
	if err != nil {
		return nil, err
	}
	if err := doc.Validate(context.Background()); err != nil {
		return nil, err
	}
	c := &contract{doc: doc}
	variable := regexp.MustCompile(`\\\{[^}]*\\\}`)
	for _, path := range doc.Paths.InMatchingOrder() {
		// Parts of the map page lie in folders.
		any := "[^/]+"
		if strings.HasPrefix(path, "/map/") {
			any = ".+"
		}
		c.paths = append(c.paths, pathPattern{path, regexp.MustCompile("^" + variable.ReplaceAllString(regexp.QuoteMeta(path), any) + "$")})
	}
	return c, nil
}

// find returns the path of the definition that a request's path is of; nil for
// none.
func (c *contract) find(path string) (string, *openapi3.PathItem) {
	for _, p := range c.paths {
		if p.pattern.MatchString(path) {
			return p.path, c.doc.Paths.Value(p.path)
		}
	}
	return "", nil
}

// contract reads the definition, anew where a saved question has changed it.
func (s *service) contract(t testing.TB) *contract {
	t.Helper()
	list := s.server.Served(context.Background())
	var served []string
	for i := range list {
		served = append(served, list[i].ID)
	}
	s.defined.Lock()
	defer s.defined.Unlock()
	if slices.Equal(s.defined.served, served) {
		return s.defined.contract
	}
	b, err := s.server.Definition(context.Background(), "http://service.example", list)
	if err != nil {
		t.Fatal(err)
	}
	c, err := contractOf(b)
	if err != nil {
		t.Fatalf("the API definition: %v", err)
	}
	s.defined.served, s.defined.contract = served, c
	return c
}

// defined is a definition with the collections that it is of.
type defined struct {
	sync.Mutex
	served   []string
	contract *contract
}

// check holds an answer against the definition.
func (s *service) check(t testing.TB, req *http.Request, r reply) {
	t.Helper()
	c := s.contract(t)
	at := req.URL.EscapedPath()
	if len(at) > 1 {
		at = strings.TrimRight(at, "/")
	}
	path, item := c.find(at)
	fail := func(format string, args ...any) {
		t.Helper()
		t.Errorf("the API definition and %s %s (%d) differ: %s", req.Method, req.URL.RequestURI(), r.status, fmt.Sprintf(format, args...))
	}
	method := req.Method
	if method == http.MethodHead {
		method = http.MethodGet
	}
	switch {
	case item == nil:
		if r.status != http.StatusNotFound && method != http.MethodOptions && r.status != http.StatusMethodNotAllowed {
			fail("there is no such path")
		}
		return
	case item.GetOperation(method) == nil:
		if method != http.MethodOptions && r.status != http.StatusMethodNotAllowed {
			fail("%s has no method %s", path, method)
		}
		return
	}
	operation := item.GetOperation(method)
	if r.status < 300 {
		for name := range req.URL.Query() {
			if !slices.ContainsFunc(operation.Parameters, func(p *openapi3.ParameterRef) bool {
				anyName := p.Value.Schema.Value.Type.Is("object") // of a form without names of its own
				return p.Value.In == "query" && (anyName || p.Value.Name == name)
			}) {
				fail("the parameter %s is answered but not defined", name)
			}
		}
	}
	body, err := plainBody(r)
	if err != nil {
		fail("%v", err)
		return
	}
	route := &routers.Route{Spec: c.doc, Path: path, PathItem: item, Method: method, Operation: operation}
	input := &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: req, Route: route},
		Status:                 r.status, Header: r.header, Body: io.NopCloser(bytes.NewReader(body)),
		Options: &openapi3filter.Options{IncludeResponseStatus: true},
	}
	s.checkKeys(fail, req, path, item, r.status, body)
	if err := openapi3filter.ValidateResponse(context.Background(), input); err != nil {
		text := err.Error()
		if len(text) > 1500 {
			text = text[:1500] + "…"
		}
		fail("%s", text)
	}
}

// checkKeys wants every property of every feature, null where unset, unless only
// some were asked for: clients take the columns from the first features.
func (s *service) checkKeys(fail func(string, ...any), req *http.Request, path string, item *openapi3.PathItem, status int, body []byte) {
	if !strings.HasPrefix(path, "/collections/") {
		return
	}
	form := item.Get.Responses.Status(200).Value.Content.Get("application/geo+json")
	if form == nil || status != 200 || req.Method != http.MethodGet || req.URL.Query().Has("properties") {
		return
	}
	schema := form.Schema.Value
	var page struct {
		Features   []struct{ Properties map[string]json.RawMessage }
		Properties map[string]json.RawMessage
	}
	if json.Unmarshal(body, &page) != nil {
		return // HTML, or what the comparison with the schema tells of
	}
	rows := []map[string]json.RawMessage{page.Properties}
	if list := schema.Properties["features"]; list != nil {
		schema, rows = list.Value.Items.Value, nil
		for _, f := range page.Features {
			rows = append(rows, f.Properties)
		}
	}
	for _, row := range rows {
		if want := len(schema.Properties["properties"].Value.Properties); len(row) != want {
			fail("a feature has %d properties, want %d", len(row), want)
			return
		}
	}
}

func plainBody(r reply) ([]byte, error) {
	var reader io.Reader
	var err error
	switch r.header.Get("Content-Encoding") {
	case "":
		return r.body, nil
	case "gzip":
		reader, err = gzip.NewReader(bytes.NewReader(r.body))
	case "zstd":
		reader, err = zstd.NewReader(bytes.NewReader(r.body))
	default:
		return nil, fmt.Errorf("coded as %s", r.header.Get("Content-Encoding"))
	}
	if err != nil {
		return nil, err
	}
	return io.ReadAll(reader)
}
