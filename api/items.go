package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/crs"
	"github.com/underbough/underbough/inventory/question"
)

// countLimit is how far features are counted for numberMatched; beyond it the
// figure is left out rather than wrong.
const countLimit = 10_000

// handleItems streams a page of features.
func (s *Server) handleItems(w http.ResponseWriter, r *http.Request) error {
	c, err := s.collectionOf(r)
	if err != nil {
		return err
	}
	q, err := s.itemsQuery(r, c)
	if err != nil {
		return err
	}
	form, err := negotiate(r, q.params, itemForms...)
	if err != nil {
		return err
	}
	// The state is read before the data: what changes in between makes the tag
	// too old, never too new.
	state, err := s.state(r.Context())
	if err != nil {
		return err
	}
	if err := s.computedFor(r.Context(), c); err != nil {
		return err
	}
	contentType(w, form)
	writeContentCRS(w, q.ref)
	if s.unchanged(w, r, s.etag(r, form, state), true) {
		return nil
	}
	if form == typeHTML {
		return s.itemsPage(w, r, q, state)
	}
	q.State = state
	page := &page{stream: s.newStream(w), query: q.FeatureQuery, form: formOf(q.ref), hits: q.hits, state: state, selection: selection(r)}
	if err := page.features(r.Context(), s); err != nil {
		return err
	}
	matched, known, err := s.matched(r.Context(), page)
	if err != nil {
		return err
	}
	links := append(s.alternates(r, form, itemForms), link{Href: s.base(r) + "/collections/" + c.ID, Rel: "collection", Type: typeJSON})
	if page.rest.OK {
		links = append(links, link{Href: s.with(r, "cursor", writeCursor(walkOf(c, q.Order), page.rest.V)), Rel: "next", Type: typeGeoJSON})
	}
	page.finish(links, matched, known, s.config.Now())
	return page.send()
}

// page writes a FeatureCollection.
type page struct {
	*stream
	query inventory.FeatureQuery
	form  form
	hits  bool // no features, only their number
	// state is that of the inventory; selection is what the count is kept by.
	state, selection string
	returned         int
	rest             inventory.Opt[inventory.Cursor] // where the next page begins; none on the last
}

// features writes the features of the page. One more than fit is asked for, to
// know whether there is a next page.
func (p *page) features(ctx context.Context, s *Server) error {
	p.buf = append(p.buf, `{"type":"FeatureCollection",`...)
	if actedOn(p.query.Collection) {
		p.buf = append(appendString(append(p.buf, `"cautions":`...), question.Cautions), ',')
	}
	p.buf = append(p.buf, `"features":[`...)
	if p.hits {
		return nil
	}
	q := p.query
	q.Limit++
	var last inventory.Cursor
	rest, err := s.features(ctx).Find(ctx, q, func(f *inventory.Feature) error {
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
		if p.buf, err = p.form.appendFeature(p.buf, &q, f, nil); err != nil {
			return err
		}
		if q.SRID != 0 && q.SRID != crs.WGS84 {
			return nil // held whole: what lies outside of the system shows row by row
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
	base := c.Base()
	return base == "trees" || base == "zones" || base == "overlaps"
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
func (as form) appendFeature(dst []byte, q *inventory.FeatureQuery, f *inventory.Feature, links []link) ([]byte, error) {
	dst = append(dst, `{"type":"Feature","id":`...)
	if f.TextID != "" {
		dst = appendString(dst, f.TextID)
	} else {
		dst = strconv.AppendInt(dst, f.ID, 10)
	}
	dst = append(dst, `,"geometry":`...)
	var err error
	if f.EWKB != nil {
		dst, err = as.appendEWKB(dst, f.EWKB)
	} else {
		dst, err = as.appendOutline(dst, f.Geometry)
	}
	if err != nil {
		return dst, err
	}
	dst = append(dst, `,"properties":{`...)
	c, first := q.Collection, true
	for i := range c.Properties {
		if !q.Picks(i) {
			continue
		}
		if !first {
			dst = append(dst, ',')
		}
		first = false
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
	c, err := s.collectionOf(r)
	if err != nil {
		return err
	}
	p, err := parseParams(r, "crs", "properties", "f")
	if err != nil {
		return err
	}
	form, err := negotiate(r, p, itemForms...)
	if err != nil {
		return err
	}
	q := inventory.FeatureQuery{Client: s.config.Client, Collection: c, Filter: c.Asks}
	if q.Pick, err = p.pick(c); err != nil {
		return err
	}
	ref, err := s.parseCRS(r.Context(), p, "crs")
	if err != nil {
		return err
	}
	q.SRID = ref.SRID
	if err := s.computedFor(r.Context(), c); err != nil {
		return err
	}
	links := append(s.alternates(r, form, itemForms), s.itemLinks(r, c, chi.URLParam(r, "feature"))...)
	body, version, err := s.feature(r.Context(), q, formOf(ref), chi.URLParam(r, "feature"), links)
	if err != nil {
		return err
	}
	contentType(w, form)
	writeContentCRS(w, ref)
	tagged := body
	if form == typeHTML {
		tagged = append(body[:len(body):len(body)], typeHTML...)
	}
	tag := featureTag(version, tagged)
	if err := checkMatch(r, tag); err != nil {
		return err
	}
	if s.unchanged(w, r, tag, false) {
		return nil
	}
	if form == typeHTML {
		return s.itemPage(w, r, c, body)
	}
	return writeBody(w, r, append(bytes.TrimSpace(body), '\n'))
}

// feature returns one feature as it is served, and the version of what is stored
// of it; 0 where nothing is.
func (s *Server) feature(ctx context.Context, q inventory.FeatureQuery, as form, given string, links []link) (body []byte, version int64, err error) {
	c := q.Collection
	missing := inventory.Errorf(inventory.NotFound, "there is no feature %.60q in %s", given, c.ID)
	id, text, ok := question.ParseFeatureID(c, given)
	if !ok {
		return nil, 0, missing
	}
	q.ID, q.Limit = inventory.Some(id), maxLimit
	at := slices.IndexFunc(c.Properties, func(p inventory.Property) bool { return p.Name == "version" })
	// The version is read whether or not it is shown.
	read := q
	if q.Pick != nil && at >= 0 {
		read.Pick = slices.Clone(q.Pick)
		read.Pick[at] = true
	}
	_, err = s.features(ctx).Find(ctx, read, func(f *inventory.Feature) error {
		if f.TextID != text {
			return nil
		}
		if at >= 0 {
			version = f.Values[at].Int
		}
		if body, err = as.appendFeature(nil, &q, f, links); err != nil {
			return err
		}
		return errFound
	})
	switch {
	case err != nil && !errors.Is(err, errFound):
		return nil, 0, err
	case body == nil:
		return nil, 0, missing
	}
	return body, version, nil
}

// featureTag names a representation of a feature: the version of what is stored,
// which a writer holds on to, and the bytes, which hold what is worked out too. A
// feature is small: its tag changes with it alone.
func featureTag(version int64, body []byte) string {
	sum := sha256.Sum256(body)
	return strconv.FormatInt(version, 10) + "." + hex.EncodeToString(sum[:12])
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
