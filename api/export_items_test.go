package api_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/underbough/underbough/api"
)

// An export holds what the pages hold, whatever its form.
func TestExportHoldsWhatThePagesHold(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	for _, c := range []string{"trees", "cuts", "targets", "counts", "jobs", "zones", "overlaps"} {
		var pages []string
		for path := "/collections/" + c + "/items?limit=100"; path != ""; {
			page := parse[struct {
				Features []json.RawMessage
				Links    []link
			}](t, s.got(t, path))
			for _, f := range page.Features {
				pages = append(pages, string(f))
			}
			path = rel(page.Links, "next")
		}
		r := s.get(t, "/collections/"+c+"/export")
		whole := parse[struct {
			Type     string
			Features []json.RawMessage
		}](t, r.body)
		if whole.Type != "FeatureCollection" || r.header.Get("Content-Type") != "application/geo+json" || !slices.EqualFunc(whole.Features, pages, func(a json.RawMessage, b string) bool { return string(a) == b }) {
			t.Errorf("%s: %d features in the export, %d in the pages, or not the same", c, len(whole.Features), len(pages))
		}
		// RFC 8142: each text begins with a record separator and ends with a line feed.
		sequence := s.got(t, "/collections/"+c+"/export?f=geojsonseq")
		var texts []string
		for _, text := range bytes.Split(sequence, []byte{0x1e})[1:] {
			texts = append(texts, strings.TrimSuffix(string(text), "\n"))
		}
		if !slices.Equal(texts, pages) {
			t.Errorf("%s: %d texts in the sequence, %d in the pages, or not the same", c, len(texts), len(pages))
		}
		rows, err := csv.NewReader(bytes.NewReader(s.got(t, "/collections/"+c+"/export?f=csv"))).ReadAll()
		if err != nil || len(rows) != len(pages)+1 {
			t.Fatalf("%s: %d rows for %d features, %v", c, len(rows), len(pages), err)
		}
		for i, row := range rows[1:] {
			f := parse[feature](t, []byte(pages[i]))
			for k, name := range rows[0] {
				want, ok := f.Properties[name]
				if !ok || name == "extra" {
					continue
				}
				if got := row[k]; got != cellOf(want) {
					t.Errorf("%s %s, %s: %q in the table, %v on the page", c, row[0], name, got, want)
				}
			}
		}
	}
}

func cellOf(v any) string {
	switch v := v.(type) {
	case nil:
		return ""
	case float64:
		b, _ := json.Marshal(v)
		return string(b)
	case []any:
		words := make([]string, len(v))
		for i, w := range v {
			words[i] = fmt.Sprint(w)
		}
		return strings.Join(words, ",")
	}
	return fmt.Sprint(v)
}

func TestExportSelects(t *testing.T) {
	s := serve(t, nil)
	s.run(t)
	q := "filter=" + url.QueryEscape("height_m > 12 AND A_CONTAINS(cut_kinds, ('topping'))")
	page := s.features(t, "/collections/trees/items?limit=1000&"+q)
	whole := parse[collection](t, s.got(t, "/collections/trees/export?properties=tag&"+q))
	if len(page.Features) == 0 || len(whole.Features) != len(page.Features) || len(whole.Features[0].Properties) != 1 {
		t.Errorf("%d features exported, %d on the page", len(whole.Features), len(page.Features))
	}
	for path, want := range map[string]string{
		"/collections/trees/export?limit=5":                                                 "whole",
		"/collections/trees/export?f=csv&crs=EPSG:3857":                                     "longitude and latitude",
		"/collections/trees/export?filter=" + url.QueryEscape("height_m >"):                 "column",
		"/collections/trees/export?filter=" + url.QueryEscape("(height_m * 1e308) ^ 9 > 1"): "cannot be computed",
	} {
		if r := s.get(t, path); r.status != 400 || !strings.Contains(string(r.body), want) {
			t.Errorf("%s: %d %s", path, r.status, r.body)
		}
	}
}

// A saved question is a collection of its own.
func TestSavedQuestions(t *testing.T) {
	s := serve(t, func(c *api.Config) { c.Edit = true })
	s.run(t)
	const body = `{"title":"Topped over parking","filter":"A_OVERLAPS(over, ('parking')) AND A_CONTAINS(cut_kinds, ('topping'))"}`
	if r := s.send(t, "PUT", "/questions/topped-over-parking", "application/json", body); r.status != 201 {
		t.Fatal(r.status, string(r.body))
	}
	want := s.features(t, "/collections/trees/items?limit=1000&over=parking&cut_kinds=topping")
	got := s.features(t, "/collections/topped-over-parking/items?limit=1000")
	if len(want.Features) == 0 || len(got.Features) != len(want.Features) {
		t.Fatalf("%d features, expected %d", len(got.Features), len(want.Features))
	}
	// What is asked besides narrows it further; paging and counting go on with it.
	if c := s.features(t, "/collections/topped-over-parking/items?limit=1&status=alive"); len(c.Features) != 1 || rel(c.Links, "next") == "" || *c.NumberMatched > len(want.Features) {
		t.Errorf("%d features, next %q", len(c.Features), rel(c.Links, "next"))
	}
	inside, outside := fmt.Sprint(got.Features[0].ID), ""
	for _, f := range s.features(t, "/collections/trees/items?limit=1000").Features {
		if !slices.ContainsFunc(got.Features, func(g feature) bool { return g.ID == f.ID }) {
			outside = fmt.Sprint(f.ID)
		}
	}
	if r := s.get(t, "/collections/topped-over-parking/items/"+inside); r.status != 200 {
		t.Errorf("one that it holds for: %d", r.status)
	}
	if r := s.get(t, "/collections/topped-over-parking/items/"+outside); r.status != 404 {
		t.Errorf("one that it does not hold for: %d", r.status)
	}
	if !strings.Contains(string(s.got(t, "/collections")), `"topped-over-parking"`) || !strings.Contains(string(s.got(t, "/questions")), "Topped over parking") {
		t.Error("the question is not listed")
	}
	for _, c := range []struct{ name, body, want string }{
		{"trees", `{"filter":"stems = 1"}`, "a collection of the service has it"},
		{"Bad Name", `{"filter":"stems = 1"}`, "expected up to 64"},
		{"q", `{"filter":"stems ="}`, "column"},
		{"q", `{"filter":"nothing = 1"}`, "nothing"},
		{"q", `{"filter":"stems = 1","colection":"trees"}`, "colection"},
		{"q", `{"filter":"stems = 1","collection":"shrubs"}`, "shrubs"},
	} {
		if r := s.send(t, "PUT", "/questions/"+url.PathEscape(c.name), "application/json", c.body); r.status/100 != 4 || !strings.Contains(string(r.body), c.want) {
			t.Errorf("%s %s: %d %s", c.name, c.body, r.status, r.body)
		}
	}
	// The JSON encoding is kept as text.
	if r := s.send(t, "PUT", "/questions/many-stems", "application/json", `{"filter":{"op":">","args":[{"property":"stems"},1]},"filter-lang":"cql2-json"}`); r.status != 201 {
		t.Error(r.status, string(r.body))
	}
	if q := string(s.got(t, "/questions/many-stems")); !strings.Contains(q, "stems > 1") && !strings.Contains(q, `stems \u003e 1`) {
		t.Error(q)
	}
	if r := s.send(t, "DELETE", "/questions/many-stems", "", ""); r.status != 204 {
		t.Error(r.status, string(r.body))
	}
	if r := s.get(t, "/collections/many-stems/items"); r.status != 404 {
		t.Errorf("after it was dropped: %d", r.status)
	}
	// Without editing nothing is kept.
	if r := serveOn(t, s, func(c *api.Config) { c.Edit = false }).send(t, "DELETE", "/questions/topped-over-parking", "", ""); r.status != 405 {
		t.Error(r.status)
	}
}
