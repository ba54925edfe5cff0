package api

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/crs"
	"github.com/underbough/underbough/inventory/filter"
)

// itemParams are what the items of every collection can be asked with, besides
// their own properties.
var itemParams = []string{"bbox", "bbox-crs", "crs", "datetime", "limit", "cursor", "f", "filter", "filter-lang", "filter-crs", "sortby", "properties", "resultType", "as_of"}

// itemsRequest is what a request asks of a collection.
type itemsRequest struct {
	inventory.FeatureQuery
	params params
	ref    crs.Reference // of the geometries answered
	// hits asks for the number of features alone.
	hits bool
}

// collectionOf finds the collection that a request names: one of ours, or a
// saved question.
func (s *Server) collectionOf(r *http.Request) (*inventory.Collection, error) {
	return s.collection(r.Context(), chi.URLParam(r, "collection"))
}

func (s *Server) collection(ctx context.Context, id string) (*inventory.Collection, error) {
	c, err := inventory.GetCollection(id)
	if err == nil {
		return c, nil
	}
	questions, qerr := s.questions(ctx)
	if qerr != nil {
		return nil, qerr
	}
	for i := range questions {
		if questions[i].ID == id {
			return &questions[i], nil
		}
	}
	return nil, err
}

// itemsQuery reads what a request asks of a collection's items.
func (s *Server) itemsQuery(r *http.Request, c *inventory.Collection) (q itemsRequest, err error) {
	p, err := parseParams(r, append(append([]string(nil), itemParams...), filterable(c)...)...)
	if err != nil {
		return q, err
	}
	q = itemsRequest{FeatureQuery: inventory.FeatureQuery{Client: s.config.Client, Collection: c}, params: p}
	if q.Limit, err = p.limit(); err != nil {
		return q, err
	}
	if q.ref, err = s.parseCRS(r.Context(), p, "crs"); err != nil {
		return q, err
	}
	q.SRID = q.ref.SRID
	var meets filter.Expr
	if q.Boxes, meets, err = s.within(r.Context(), p); err != nil {
		return q, err
	}
	if q.During, err = p.during(); err != nil {
		return q, err
	}
	if q.Order, err = p.order(c); err != nil {
		return q, err
	}
	if q.After, err = p.cursor(walkOf(c, q.Order), len(q.Order)); err != nil {
		return q, err
	}
	if q.Pick, err = p.pick(c); err != nil {
		return q, err
	}
	if q.hits, err = p.hits(); err != nil {
		return q, err
	}
	if q.Filter, err = s.filterOf(r.Context(), p, c); err != nil {
		return q, err
	}
	q.Filter = filter.And(q.Filter, meets)
	return q, nil
}

// filterOf joins all that a request filters by: the question of the collection,
// the parameter filter, and parameters by the names of properties.
func (s *Server) filterOf(ctx context.Context, p params, c *inventory.Collection) (filter.Expr, error) {
	ref, err := s.parseCRS(ctx, p, "filter-crs")
	if err != nil {
		return nil, err
	}
	given, err := p.filter(c, ref)
	if err != nil {
		return nil, err
	}
	byName, err := p.filters(c)
	if err != nil {
		return nil, err
	}
	return filter.And(append([]filter.Expr{c.Asks, given}, byName...)...), nil
}

// filter reads the parameter filter in the encoding that filter-lang says.
func (p params) filter(c *inventory.Collection, ref crs.Reference) (e filter.Expr, err error) {
	text, ok := p["filter"]
	read := filter.ParseText
	switch lang := p["filter-lang"]; lang {
	case "", "cql2-text", "cql-text": // the last is what older clients call the first
	case "cql2-json":
		read = func(s string) (filter.Expr, error) { return filter.ParseJSON([]byte(s)) }
	default:
		return nil, paramError("filter-lang", lang, "expected cql2-text or cql2-json")
	}
	if !ok {
		return nil, nil
	}
	e, err = read(text)
	if err == nil {
		if ref != crs.CRS84 {
			e = filter.InCRS(e, ref.SRID, ref.YFirst)
		}
		err = filter.Check(e, c)
	}
	if err != nil {
		return nil, filterError(err)
	}
	return e, nil
}

// filterError is a filter's fault told as the parameter's.
func filterError(err error) error {
	var fault *filter.Error
	if errors.As(err, &fault) {
		return &parameterError{"filter", fault.Error()}
	}
	return err
}

// during reads datetime: an instant, or an interval open at either end by ".."
// or by nothing. Two things that no standard asks for are read as well, since
// clients send them: days, as the whole of the day, with or without a T at their
// end; and the years 0000 and 9999 as open ends.
func (p params) during() (during inventory.Opt[inventory.Span], err error) {
	s, ok := p["datetime"]
	if !ok {
		return during, nil
	}
	bad := func(why string) (inventory.Opt[inventory.Span], error) {
		return inventory.Opt[inventory.Span]{}, paramError("datetime", s, why)
	}
	const expected = "expected an instant such as 2024-05-01T12:00:00Z, or two with / between, one of which may be .."
	from, to, interval := strings.Cut(s, "/")
	if !interval {
		to = from
	}
	var span inventory.Span
	open := func(word string) bool { return interval && (word == "" || word == "..") }
	if open(from) && open(to) {
		return bad("open at both ends: leave it out")
	}
	if !open(from) {
		t, _, ok := inventory.ParseInstant(from)
		if !ok {
			return bad(expected)
		}
		if t.Year() > 0 {
			span.From = t
		}
	}
	if !open(to) {
		_, t, ok := inventory.ParseInstant(to)
		if !ok {
			return bad(expected)
		}
		if t.Year() < 9999 {
			span.To = t
		}
	}
	if !span.From.IsZero() && !span.To.IsZero() && span.From.After(span.To) {
		return bad("it ends before it begins")
	}
	return inventory.Some(span), nil
}

// order reads sortby: properties with commas between, each with - before it to
// have the greatest first (+ is the other way and may be left out).
func (p params) order(c *inventory.Collection) (list []inventory.SortKey, err error) {
	s, ok := p["sortby"]
	if !ok {
		return nil, nil
	}
	if c.Computed {
		return nil, &parameterError{"sortby", c.ID + " is worked out as it is asked for and comes in its own order"}
	}
	for _, word := range strings.Split(s, ",") {
		// A plus sign that was not encoded arrives as a space.
		word = strings.TrimSpace(word)
		k := inventory.SortKey{Property: word, Descending: strings.HasPrefix(word, "-")}
		if k.Descending || strings.HasPrefix(word, "+") {
			k.Property = word[1:]
		}
		if p, ok := c.Property(k.Property); !ok || !p.Sortable() {
			return nil, paramError("sortby", word, "expected some of "+strings.Join(sortables(c), ", ")+", with - before for the greatest first")
		}
		for _, other := range list {
			if other.Property == k.Property {
				return nil, paramError("sortby", s, "names "+k.Property+" twice")
			}
		}
		list = append(list, k)
	}
	return list, nil
}

// sortables lists the properties that features can be sorted by.
func sortables(c *inventory.Collection) (names []string) {
	for _, p := range c.Properties {
		if p.Sortable() {
			names = append(names, p.Name)
		}
	}
	return names
}

// pick reads properties: which of them features are to have.
func (p params) pick(c *inventory.Collection) ([]bool, error) {
	s, ok := p["properties"]
	if !ok {
		return nil, nil
	}
	pick := make([]bool, len(c.Properties))
next:
	for _, word := range strings.Split(s, ",") {
		for i := range c.Properties {
			if c.Properties[i].Name == word {
				pick[i] = true
				continue next
			}
		}
		return nil, paramError("properties", word, c.ID+" has no such property")
	}
	return pick, nil
}

func (p params) hits() (bool, error) {
	switch s := p["resultType"]; s {
	case "", "results":
		return false, nil
	case "hits":
		return true, nil
	default:
		return false, paramError("resultType", s, "expected results or hits")
	}
}

// filters reads the conditions on properties; values with commas between mean
// any of them.
func (p params) filters(c *inventory.Collection) (out []filter.Expr, err error) {
	for i := range c.Properties {
		property := &c.Properties[i]
		s, ok := p[property.Name]
		if !ok || property.Type == inventory.Object {
			continue
		}
		words := strings.Split(s, ",")
		if property.Type == inventory.TextList {
			for _, word := range words {
				if err := checkText(property, word); err != nil {
					return nil, err
				}
			}
			out = append(out, filter.Overlaps(property.Name, words...))
			continue
		}
		if property.Type == inventory.Text && property.Values == nil && len(words) > 1 {
			words = append(words, s) // which may be one text with commas in it
		}
		values := make([]filter.Expr, len(words))
		for k, word := range words {
			if values[k], err = literal(property, word); err != nil {
				return nil, err
			}
		}
		out = append(out, filter.In(property.Name, values...))
	}
	return out, nil
}

// literal reads a value of a property.
func literal(p *inventory.Property, word string) (filter.Expr, error) {
	switch p.Type {
	case inventory.Integer:
		n, err := strconv.ParseInt(word, 10, 64)
		if err != nil || n > 1<<53 || n < -1<<53 {
			return nil, paramError(p.Name, word, "expected a whole number")
		}
		return &filter.Number{Value: float64(n)}, nil
	case inventory.Boolean:
		if word != "true" && word != "false" {
			return nil, paramError(p.Name, word, "expected true or false")
		}
		return &filter.Bool{Value: word == "true"}, nil
	case inventory.Number:
		v, err := strconv.ParseFloat(word, 64)
		if err != nil || v-v != 0 {
			return nil, paramError(p.Name, word, "expected a number")
		}
		return &filter.Number{Value: v}, nil
	case inventory.Date:
		t, err := time.Parse(time.DateOnly, word)
		if err != nil {
			return nil, paramError(p.Name, word, "expected a day such as 2024-05-01")
		}
		return &filter.Date{Value: t}, nil
	case inventory.Timestamp:
		t, err := time.Parse(time.RFC3339, word)
		if err != nil {
			return nil, paramError(p.Name, word, "expected an instant such as 2024-05-01T12:00:00Z")
		}
		return &filter.Timestamp{Value: t.UTC()}, nil
	}
	return &filter.String{Value: word}, checkText(p, word)
}
