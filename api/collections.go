package api

import (
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/underbough/underbough/inventory"
)

// crs84 is longitude and latitude on WGS 84, the order of GeoJSON.
const crs84 = "http://www.opengis.net/def/crs/OGC/1.3/CRS84"

type collections struct {
	Links       []link       `json:"links"`
	Collections []collection `json:"collections"`
}

type collection struct {
	ID          string   `json:"id"`
	Title       string   `json:"title"`
	Description string   `json:"description"`
	ItemType    string   `json:"itemType"`
	CRS         []string `json:"crs"`
	StorageCRS  string   `json:"storageCrs"`
	Extent      *extent  `json:"extent,omitempty"`
	Links       []link   `json:"links"`
}

type extent struct {
	Spatial  *spatialExtent  `json:"spatial,omitempty"`
	Temporal *temporalExtent `json:"temporal,omitempty"`
}

// spatialExtent is a box about all of a collection.
type spatialExtent struct {
	BBox [][4]float64 `json:"bbox"`
	CRS  string       `json:"crs"`
}

// temporalExtent is from the first to the last time of a collection; null is
// open.
type temporalExtent struct {
	Interval [][2]*string `json:"interval"`
	TRS      string       `json:"trs"`
}

// handleCollections lists what is served.
func (s *Server) handleCollections(w http.ResponseWriter, r *http.Request) error {
	d, state, known, err := s.knownDocument(w, r)
	if err != nil || known {
		return err
	}
	out := collections{Links: d.links()}
	list, err := s.served(r.Context())
	if err != nil {
		return err
	}
	for i := range list {
		c, err := s.describe(r, state, &list[i])
		if err != nil {
			return err
		}
		out.Collections = append(out.Collections, c)
	}
	if d.form == typeHTML {
		return d.page("collections", htmlPage{Title: "Collections", Data: out.Collections})
	}
	return d.write(out)
}

// handleCollection describes one collection.
func (s *Server) handleCollection(w http.ResponseWriter, r *http.Request) error {
	c, err := s.collectionOf(r)
	if err != nil {
		return err
	}
	d, state, known, err := s.knownDocument(w, r)
	if err != nil || known {
		return err
	}
	out, err := s.describe(r, state, c)
	if err != nil {
		return err
	}
	if d.form == typeHTML {
		return d.page("collection", htmlPage{Title: c.Title, Trail: []step{{s.base(r) + "/collections?f=html", "Collections"}}, Data: out})
	}
	return d.write(out)
}

// knownDocument returns the state that a description is of, and whether the
// client has the description of that state already and has been told so.
func (s *Server) knownDocument(w http.ResponseWriter, r *http.Request) (d *describing, state string, known bool, err error) {
	if d, err = s.document(w, r, describingForms); err != nil {
		return nil, "", false, err
	}
	if state, err = s.state(r.Context()); err != nil {
		return nil, "", false, err
	}
	d.tag = s.etag(r, d.form, state)
	return d, state, s.unchanged(w, r, d.tag, false), nil
}

// describe describes a collection, the same in the list of all and by itself.
func (s *Server) describe(r *http.Request, state string, c *inventory.Collection) (collection, error) {
	base := s.base(r) + "/collections/" + c.ID
	out := collection{
		ID: c.ID, Title: c.Title, Description: c.Note, ItemType: "feature", StorageCRS: storageCRS.URI(),
		Links: []link{
			{Href: base, Rel: "self", Type: typeJSON, Title: c.Title},
			{Href: base + "?f=html", Rel: "alternate", Type: typeHTML, Title: c.Title},
			{Href: base + "/items", Rel: "items", Type: typeGeoJSON, Title: c.Title + " as GeoJSON"},
			{Href: base + "/items?f=html", Rel: "items", Type: typeHTML, Title: c.Title + " as a table"},
			{Href: base + "/export", Rel: "enclosure", Type: typeGeoJSON, Title: c.Title + " as one file, without pages"},
			{Href: base + "/queryables", Rel: relQueryables, Type: typeSchema, Title: "What a filter may speak of"},
			{Href: base + "/schema", Rel: relSchema, Type: typeSchema, Title: "The properties of a feature"},
			{Href: base + "/schema/feature", Rel: "describedBy", Type: typeSchema, Title: "A feature as GeoJSON"},
		},
	}
	if hasTiles(c) {
		out.Links = append(out.Links, link{Href: base + "/tiles", Rel: relTilesetsVector, Type: typeJSON, Title: c.Title + " as vector tiles"})
	}
	if len(sorted(c)) > 0 {
		out.Links = append(out.Links, link{Href: base + "/sortables", Rel: relSortables, Type: typeSchema, Title: "What can be sorted by"})
	}
	refs, err := s.references(r.Context())
	if err != nil {
		return out, err
	}
	for _, ref := range refs {
		out.CRS = append(out.CRS, ref.URI())
	}
	if out.Extent, err = s.extent(r.Context(), state, c); err != nil {
		return out, fmt.Errorf("extent of %s: %w", c.ID, err)
	}
	return out, nil
}

// onlyJSON checks a request for what has one form and no parameters.
func onlyJSON(r *http.Request) error {
	p, err := parseParams(r, "f")
	if err != nil {
		return err
	}
	_, err = negotiate(r, p, typeJSON)
	return err
}

func writeJSON(w http.ResponseWriter, r *http.Request, v any) error {
	body, err := json.Marshal(v)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", typeJSON)
	return writeBody(w, r, append(body, '\n'))
}
