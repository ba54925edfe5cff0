package api

import (
	"net/http"
	"strconv"
	"time"

	"github.com/underbough/underbough/inventory"
)

// What was deleted lately, so that it can be brought back by its number.

type deletedAnswer struct {
	Collection     string        `json:"collection"`
	Site           string        `json:"site"`
	Since          time.Time     `json:"since"`
	Deleted        []deletedItem `json:"deleted"` // the latest first
	NumberReturned int           `json:"numberReturned"`
	Links          []link        `json:"links"`
}

type deletedItem struct {
	ID      int64     `json:"id"`
	Name    string    `json:"name"`
	Version int64     `json:"version"` // which brings it back
	At      time.Time `json:"at"`
	By      string    `json:"by"`
	Links   []link    `json:"links"`
}

// lately is how far back deletions are listed: all that is older is in the change
// log of each feature all the same.
const lately = 31 * 24 * time.Hour

// handleDeleted lists what was deleted lately of a site and is not back.
func (s *Server) handleDeleted(w http.ResponseWriter, r *http.Request) error {
	c, err := s.collectionOf(r)
	if err != nil {
		return err
	}
	if c.Of != "" || !putsBack(c) {
		return inventory.Errorf(inventory.NotFound, "nothing of %s can be brought back", c.ID)
	}
	p, err := parseParams(r, "site", "limit", "f")
	if err != nil {
		return err
	}
	site, err := s.site(r.Context(), p["site"])
	if err != nil {
		return err
	}
	q := inventory.DeletedQuery{Client: s.config.Client, Collection: c, Site: site.ID, Since: s.config.Now().Add(-lately)}
	if q.Limit, err = p.limit(); err != nil {
		return err
	}
	q.Limit = min(q.Limit, mostVersions)
	list, err := s.config.Store.FindDeleted(r.Context(), q)
	if err != nil {
		return err
	}
	out := deletedAnswer{Collection: c.ID, Site: site.Name, Since: q.Since.UTC(), Deleted: make([]deletedItem, len(list)), NumberReturned: len(list),
		Links: []link{{Href: s.self(r), Rel: "self", Type: typeJSON}}}
	for i, d := range list {
		out.Deleted[i] = deletedItem{d.ID, d.Name, d.Version, d.At.UTC(), d.By, []link{{Href: s.historyAddress(r, c, strconv.FormatInt(d.ID, 10)), Rel: relHistory, Type: typeJSON}}}
	}
	w.Header().Set("Cache-Control", "no-store")
	return writeJSON(w, r, out)
}
