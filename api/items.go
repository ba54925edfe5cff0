package api

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"strconv"
	"time"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

// countLimit is how far features are counted for numberMatched; beyond it the
// figure is left out rather than wrong.
const countLimit = 10_000

// itemsQuery reads what a request asks of a collection.
func (s *Server) itemsQuery(r *http.Request, c *inventory.Collection) (q inventory.FeatureQuery, err error) {
	p, err := parseParams(r, append([]string{"bbox", "limit", "cursor", "f"}, filterable(c)...)...)
	if err != nil {
		return q, err
	}
	if _, err := negotiate(r, p, typeGeoJSON); err != nil {
		return q, err
	}
	q = inventory.FeatureQuery{Client: s.config.Client, Collection: c}
	if q.Limit, err = p.limit(); err != nil {
		return q, err
	}
	if q.Boxes, err = p.boxes(); err != nil {
		return q, err
	}
	if q.After, err = p.cursor(); err != nil {
		return q, err
	}
	q.Filters, err = p.filters(c)
	return q, err
}

// handleItems streams a page of features.
func (s *Server) handleItems(w http.ResponseWriter, r *http.Request) error {
	c, err := inventory.GetCollection(chi.URLParam(r, "collection"))
	if err != nil {
		return err
	}
	q, err := s.itemsQuery(r, c)
	if err != nil {
		return err
	}
	// The state is read before the data: what changes in between makes the tag
	// too old, never too new.
	state, err := s.state(r.Context())
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", typeGeoJSON)
	w.Header().Set("Content-Crs", "<http://www.opengis.net/def/crs/OGC/1.3/CRS84>")
	if s.unchanged(w, r, s.etag(r, typeGeoJSON, state), true) || r.Method == http.MethodHead {
		return nil
	}
	page := &page{stream: s.newStream(w), query: q}
	if err := page.features(r.Context(), s); err != nil {
		return err
	}
	matched, known, err := s.matched(r.Context(), page)
	if err != nil {
		return err
	}
	links := []link{
		{Href: s.self(r), Rel: "self", Type: typeGeoJSON},
		{Href: s.base(r) + "/collections/" + c.ID, Rel: "collection", Type: typeJSON},
	}
	if page.rest.OK {
		links = append(links, link{Href: s.with(r, "cursor", writeCursor(page.rest.V)), Rel: "next", Type: typeGeoJSON})
	}
	page.finish(links, matched, known, s.config.Now())
	return page.send()
}

// matched counts the features that the whole query holds for, on its first
// page only: a walk through the pages need not count them each time.
func (s *Server) matched(ctx context.Context, p *page) (n int, known bool, err error) {
	switch {
	case p.query.After.OK:
		return 0, false, nil
	case !p.rest.OK:
		return p.returned, true, nil
	}
	return s.features().Count(ctx, p.query, countLimit)
}

// page writes a FeatureCollection.
type page struct {
	*stream
	query    inventory.FeatureQuery
	returned int
	rest     inventory.Opt[inventory.Cursor] // where the next page begins; none on the last
}

// features writes the features of the page. One more than fit is asked for, to
// know whether there is a next page.
func (p *page) features(ctx context.Context, s *Server) error {
	p.buf = append(p.buf, `{"type":"FeatureCollection",`...)
	if actedOn(p.query.Collection) {
		p.buf = append(appendString(append(p.buf, `"cautions":`...), question.Cautions), ',')
	}
	p.buf = append(p.buf, `"features":[`...)
	q := p.query
	q.Limit++
	var last inventory.Cursor
	rest, err := s.features().Find(ctx, q, func(f *inventory.Feature) error {
		if p.returned == p.query.Limit {
			p.rest = inventory.Some(last)
			return nil
		}
		if p.returned > 0 {
			p.buf = append(p.buf, ',')
		}
		p.returned++
		last = f.At
		var err error
		if p.buf, err = appendFeature(p.buf, q.Collection, f, nil); err != nil {
			return err
		}
		return p.push()
	})
	if !p.rest.OK {
		p.rest = rest
	}
	return err
}

// actedOn reports whether features tell what someone could act on: how likely a
// part fails, or what it would land on.
func actedOn(c *inventory.Collection) bool {
	return c.ID == "trees" || c.ID == "zones" || c.ID == "overlaps"
}

// finish writes what follows the features.
func (p *page) finish(links []link, matched int, known bool, now time.Time) {
	p.buf = append(p.buf, `],"links":`...)
	p.buf = appendLinks(p.buf, links)
	p.buf = append(p.buf, `,"numberReturned":`...)
	p.buf = strconv.AppendInt(p.buf, int64(p.returned), 10)
	if known {
		p.buf = append(p.buf, `,"numberMatched":`...)
		p.buf = strconv.AppendInt(p.buf, int64(matched), 10)
	}
	p.buf = append(p.buf, `,"timeStamp":"`...)
	p.buf = now.UTC().AppendFormat(p.buf, instantLayout)
	p.buf = append(p.buf, '"', '}', '\n')
}

// appendFeature appends a feature with all of its properties, null where unset:
// clients take the columns from the first ones they see.
func appendFeature(dst []byte, c *inventory.Collection, f *inventory.Feature, links []link) ([]byte, error) {
	dst = append(dst, `{"type":"Feature","id":`...)
	if f.TextID != "" {
		dst = appendString(dst, f.TextID)
	} else {
		dst = strconv.AppendInt(dst, f.ID, 10)
	}
	dst = append(dst, `,"geometry":`...)
	var err error
	if f.EWKB != nil {
		dst, err = appendEWKB(dst, f.EWKB)
	} else {
		dst, err = appendOutline(dst, f.Geometry)
	}
	if err != nil {
		return dst, err
	}
	dst = append(dst, `,"properties":{`...)
	for i := range c.Properties {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = append(dst, '"')
		dst = append(dst, c.Properties[i].Name...)
		dst = append(dst, '"', ':')
		dst = appendValue(dst, &c.Properties[i], &f.Values[i])
	}
	dst = append(dst, '}')
	if links != nil {
		dst = append(dst, `,"links":`...)
		dst = appendLinks(dst, links)
	}
	return append(dst, '}'), nil
}

func appendLinks(dst []byte, links []link) []byte {
	dst = append(dst, '[')
	for i, l := range links {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = append(dst, `{"href":`...)
		dst = appendString(dst, l.Href)
		dst = append(dst, `,"rel":`...)
		dst = appendString(dst, l.Rel)
		dst = append(dst, `,"type":`...)
		dst = appendString(dst, l.Type)
		if l.Title != "" {
			dst = append(dst, `,"title":`...)
			dst = appendString(dst, l.Title)
		}
		dst = append(dst, '}')
	}
	return append(dst, ']')
}

var errFound = errors.New("found")

// handleItem answers with one feature.
func (s *Server) handleItem(w http.ResponseWriter, r *http.Request) error {
	c, err := inventory.GetCollection(chi.URLParam(r, "collection"))
	if err != nil {
		return err
	}
	p, err := parseParams(r, "f")
	if err != nil {
		return err
	}
	if _, err := negotiate(r, p, typeGeoJSON); err != nil {
		return err
	}
	given := chi.URLParam(r, "feature")
	missing := inventory.Errorf(inventory.NotFound, "there is no feature %q in %s", given, c.ID)
	id, text, ok := question.ParseFeatureID(c, given)
	if !ok {
		return missing
	}
	links := []link{
		{Href: s.self(r), Rel: "self", Type: typeGeoJSON},
		{Href: s.base(r) + "/collections/" + c.ID, Rel: "collection", Type: typeJSON},
	}
	var body []byte
	q := inventory.FeatureQuery{Client: s.config.Client, Collection: c, ID: inventory.Some(id), Limit: maxLimit}
	_, err = s.features().Find(r.Context(), q, func(f *inventory.Feature) error {
		if f.TextID != text {
			return nil
		}
		if body, err = appendFeature(nil, c, f, links); err != nil {
			return err
		}
		return errFound
	})
	switch {
	case err != nil && !errors.Is(err, errFound):
		return err
	case body == nil:
		return missing
	}
	w.Header().Set("Content-Type", typeGeoJSON)
	w.Header().Set("Content-Crs", "<http://www.opengis.net/def/crs/OGC/1.3/CRS84>")
	// A feature is small: its tag is that of its bytes, and changes with it
	// alone.
	if s.unchanged(w, r, s.etag(r, typeGeoJSON, string(body)), false) {
		return nil
	}
	return writeBody(w, r, append(bytes.TrimSpace(body), '\n'))
}

// writeBody sends an answer that is held whole.
func writeBody(w http.ResponseWriter, r *http.Request, body []byte) error {
	w.Header().Set("Content-Length", strconv.Itoa(len(body)))
	if r.Method == http.MethodHead {
		return nil
	}
	_, err := w.Write(body)
	return err
}
