package api

import (
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"time"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/question"
)

// The change log of a feature, which outlives it, and the way back to any version
// that it lists.

// relHistory leads from a feature to its versions (RFC 5829, 3.1).
const relHistory = "version-history"

type historyAnswer struct {
	Collection     string        `json:"collection"`
	ID             int64         `json:"id"`
	Deleted        bool          `json:"deleted"`
	Entries        []entryAnswer `json:"entries"` // the latest first
	NumberReturned int           `json:"numberReturned"`
	Links          []link        `json:"links"`
}

type entryAnswer struct {
	Version int64          `json:"version"`
	Change  string         `json:"change"`
	At      time.Time      `json:"at"`
	By      string         `json:"by"`
	Changes []changeAnswer `json:"changes"`
}

// changeAnswer is one property as it was and as it became, as features serve it.
type changeAnswer struct {
	Property string          `json:"property"`
	Title    string          `json:"title"`
	From     json.RawMessage `json:"from"`
	To       json.RawMessage `json:"to"`
}

// keepsHistory reports whether every version of a collection's features is kept.
func keepsHistory(c *inventory.Collection) bool {
	base, err := inventory.GetCollection(c.Base())
	return err == nil && base.Editable
}

func (s *Server) historyAddress(r *http.Request, c *inventory.Collection, id string) string {
	return s.base(r) + "/collections/" + c.Base() + "/items/" + id + "/history"
}

// itemLinks are those of one feature besides itself and its other forms.
func (s *Server) itemLinks(r *http.Request, c *inventory.Collection, id string) []link {
	out := []link{{Href: s.base(r) + "/collections/" + c.ID, Rel: "collection", Type: typeJSON}}
	if keepsHistory(c) {
		out = append(out, link{Href: s.historyAddress(r, c, id), Rel: relHistory, Type: typeJSON, Title: "Who changed what, and when"})
	}
	return out
}

// historyOf is the collection whose features a request asks the versions of.
func (s *Server) historyOf(r *http.Request) (*inventory.Collection, int64, error) {
	c, err := s.collectionOf(r)
	if err != nil {
		return nil, 0, err
	}
	given := chi.URLParam(r, "feature")
	id, text, ok := question.ParseFeatureID(c, given)
	switch {
	case c.Of != "" || !keepsHistory(c):
		return nil, 0, inventory.Errorf(inventory.NotFound, "no versions are kept of %s", c.ID)
	case !ok || text != "":
		return nil, 0, inventory.Errorf(inventory.NotFound, "there never was a feature %.60q in %s", given, c.ID)
	}
	return c, id, nil
}

// handleHistory answers with the change log of a feature. limit counts versions:
// the end of one is an entry besides.
func (s *Server) handleHistory(w http.ResponseWriter, r *http.Request) error {
	c, id, err := s.historyOf(r)
	if err != nil {
		return err
	}
	p, err := parseParams(r, "limit", "cursor", "f")
	if err != nil {
		return err
	}
	q := inventory.HistoryQuery{Client: s.config.Client, Collection: c, ID: id}
	below := 0
	if q.Limit, below, err = p.page(mostVersions); err != nil {
		return err
	}
	q.Below = inventory.Opt[int64]{V: int64(below), OK: below > 0}
	h, err := question.GetHistory(r.Context(), s.config.Store, q)
	if err != nil {
		return err
	}
	given := strconv.FormatInt(id, 10)
	out := historyAnswer{Collection: c.ID, ID: id, Deleted: h.Gone, Entries: make([]entryAnswer, len(h.Entries)), NumberReturned: len(h.Entries),
		Links: []link{{Href: s.self(r), Rel: "self", Type: typeJSON}}}
	if !h.Gone && below == 0 {
		out.Links = append(out.Links, link{Href: s.base(r) + "/collections/" + c.ID + "/items/" + given, Rel: "latest-version", Type: typeGeoJSON})
	}
	if h.Rest.OK {
		out.Links = append(out.Links, link{Href: s.with(r, "cursor", strconv.FormatInt(h.Rest.V, 10)), Rel: "next", Type: typeJSON})
	}
	for i, e := range h.Entries {
		out.Entries[i] = entryAnswer{Version: e.Version, Change: e.What, At: e.At, By: e.By, Changes: make([]changeAnswer, len(e.Changes))}
		for k := range e.Changes {
			if out.Entries[i].Changes[k], err = answerChange(&e.Changes[k]); err != nil {
				return err
			}
		}
	}
	return s.sendTagged(w, r, &out)
}

// mostVersions is how many versions a page holds at most.
const mostVersions = 500

func answerChange(c *question.Change) (out changeAnswer, err error) {
	if c.Property != nil {
		return changeAnswer{c.Property.Name, titleOf(c.Property), appendValue(nil, c.Property, &c.Before), appendValue(nil, c.Property, &c.After)}, nil
	}
	out = changeAnswer{Property: inventory.GeometryProperty, Title: "Geometry"}
	if out.From, err = lonLat.appendEWKB(nil, c.Was); err != nil {
		return out, err
	}
	out.To, err = lonLat.appendEWKB(nil, c.Is)
	return out, err
}

// handlePutBack puts a feature back to one of its versions. One that was deleted
// is there again, with its number and with what was deleted along with it.
func (s *Server) handlePutBack(w http.ResponseWriter, r *http.Request) error {
	if _, _, err := s.historyOf(r); err != nil {
		return err
	}
	e, err := s.beginEdit(w, r, inventory.PutBack)
	if err != nil {
		return err
	}
	sent, err := e.body("Accept-Post", typeJSON)
	if err != nil {
		return err
	}
	given, ok := sent.(map[string]any)["version"].(literalNumber)
	if e.edit.To, ok = wholeIf(ok, string(given)); !ok || len(sent.(map[string]any)) > 1 {
		return invalid(`the body is not {"version": N} with the number of a version alone: the history lists them`)
	}
	if !e.match && s.config.RequireMatch {
		e.edit.Versions = []int64{} // fits no feature that is there
	}
	err = e.make()
	switch {
	case err != nil && !e.match && errors.Is(err, inventory.ErrChanged):
		return errMatchRequired
	case err != nil:
		return e.outcome(err)
	}
	return e.answer(http.StatusOK)
}

func wholeIf(ok bool, s string) (int64, bool) {
	if !ok {
		return 0, false
	}
	n, ok := wholeNumber(s)
	return n, ok && n > 0
}
