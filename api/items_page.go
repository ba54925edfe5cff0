package api

import (
	"bytes"
	"encoding/json"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

// itemForms are the forms of features.
var itemForms = []string{typeGeoJSON, typeHTML}

// maxShown is how many features a page for people holds at most: it is made
// whole before it is sent.
const maxShown = 1000

// itemsTable is a page of features for people.
type itemsTable struct {
	Columns  []string
	Rows     []itemRow
	Returned int
	Matched  int
	Known    bool // Matched was counted
	Next     string
}

type itemRow struct {
	ID, Href string
	Cells    []string
}

// shownValue is a property of one feature for people.
type shownValue struct{ Title, Text string }

// itemsPage answers with features as a table.
func (s *Server) itemsPage(w http.ResponseWriter, r *http.Request, q itemsRequest, state string) error {
	c := q.Collection
	q.Limit = min(q.Limit, maxShown)
	table := &itemsTable{}
	for i := range c.Properties {
		if q.Picks(i) {
			table.Columns = append(table.Columns, titleOf(&c.Properties[i]))
		}
	}
	if !q.hits {
		if err := s.fillTable(r, &q.FeatureQuery, table); err != nil {
			return err
		}
	}
	counted := &page{query: q.FeatureQuery, hits: q.hits, state: state, selection: selection(r), returned: table.Returned, rest: inventory.Opt[inventory.Cursor]{OK: table.Next != ""}}
	var err error
	if table.Matched, table.Known, err = s.matched(r.Context(), counted); err != nil {
		return err
	}
	base := s.base(r) + "/collections"
	out := htmlPage{Title: c.Title + ": features", Data: table, Trail: []step{{base + "?f=html", "Collections"}, {base + "/" + c.ID + "?f=html", c.Title}}}
	if actedOn(c) {
		out.Cautions = question.Cautions
	}
	// Its tag is set already, by the state of the inventory.
	d := &describing{s: s, w: w, r: r, form: typeHTML, forms: itemForms, tag: w.Header().Get("ETag")}
	return d.page("items", out)
}

// fillTable reads the features of a page.
func (s *Server) fillTable(r *http.Request, q *inventory.FeatureQuery, table *itemsTable) error {
	find := *q
	find.Limit++
	var last inventory.Cursor
	var next inventory.Opt[inventory.Cursor]
	base := s.base(r) + "/collections/" + q.Collection.ID + "/items/"
	rest, err := s.features(r.Context()).Find(r.Context(), find, func(f *inventory.Feature) error {
		if table.Returned == q.Limit {
			next = inventory.Some(last)
			return nil
		}
		table.Returned++
		last = f.At
		last.Keys = slices.Clone(f.At.Keys)
		row := itemRow{ID: featureID(f)}
		row.Href = base + row.ID + "?f=html"
		for i := range q.Collection.Properties {
			if q.Picks(i) {
				row.Cells = append(row.Cells, shown(&q.Collection.Properties[i], &f.Values[i]))
			}
		}
		table.Rows = append(table.Rows, row)
		return nil
	})
	if !next.OK {
		next = rest
	}
	if next.OK {
		table.Next = s.with(r, "cursor", writeCursor(walkOf(q.Collection, q.Order), next.V))
	}
	return err
}

func featureID(f *inventory.Feature) string {
	if f.TextID != "" {
		return f.TextID
	}
	return strconv.FormatInt(f.ID, 10)
}

// shown is a value for people; empty where there is none.
func shown(p *inventory.Property, v *inventory.Value) string {
	switch {
	case v.Null:
		return ""
	case p.Type == inventory.Text:
		return strings.ToValidUTF8(string(v.Bytes), "\ufffd")
	case p.Type == inventory.TextList:
		words := make([]string, len(v.List))
		for i, w := range v.List {
			words[i] = string(w)
		}
		return strings.Join(words, ", ")
	}
	return strings.Trim(string(appendValue(nil, p, v)), `"`)
}

// itemPage answers with one feature, which comes as GeoJSON, for people.
func (s *Server) itemPage(w http.ResponseWriter, r *http.Request, c *inventory.Collection, body []byte) error {
	var f struct {
		ID         json.RawMessage
		Geometry   json.RawMessage
		Properties map[string]json.RawMessage
	}
	if err := json.Unmarshal(body, &f); err != nil {
		return err
	}
	values := []shownValue{}
	for i := range c.Properties {
		p := &c.Properties[i]
		if raw, ok := f.Properties[p.Name]; ok {
			values = append(values, shownValue{titleOf(p), plainText(raw)})
		}
	}
	base := s.base(r) + "/collections"
	out := htmlPage{Title: c.Title + ": " + plainText(f.ID), Data: map[string]any{"Values": values, "Geometry": string(f.Geometry)},
		Trail: []step{{base + "?f=html", "Collections"}, {base + "/" + c.ID + "?f=html", c.Title}, {base + "/" + c.ID + "/items?f=html", "Features"}}}
	if actedOn(c) {
		out.Cautions = question.Cautions
	}
	d := &describing{s: s, w: w, r: r, form: typeHTML, forms: itemForms, tag: w.Header().Get("ETag")}
	return d.page("item", out)
}

// plainText is a JSON value as people read it: texts and lists of texts without
// their quotes, nothing for null.
func plainText(raw json.RawMessage) string {
	var text string
	var list []string
	switch {
	case bytes.Equal(raw, []byte("null")):
		return ""
	case json.Unmarshal(raw, &text) == nil:
		return text
	case json.Unmarshal(raw, &list) == nil:
		return strings.Join(list, ", ")
	}
	return string(raw)
}
