package api

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/inventory"
)

// crs84 is longitude and latitude on WGS 84, the order of GeoJSON.
const crs84 = "http://www.opengis.net/def/crs/OGC/1.3/CRS84"

// The shapes of what describes the service; features are written by hand.

type landing struct {
	Title       string `json:"title"`
	Description string `json:"description"`
	Links       []link `json:"links"`
}

type conformance struct {
	ConformsTo []string `json:"conformsTo"`
	Note       string   `json:"note"`
}

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
	Spatial struct {
		BBox [][4]float64 `json:"bbox"`
		CRS  string       `json:"crs"`
	} `json:"spatial"`
}

const description = "Trees that carry old bad pruning cuts over places where people and cars are, ranked by what they would land on. A screening aid: a qualified arborist inspects before anything is decided."

func (s *Server) landing(r *http.Request) landing {
	base := s.base(r)
	return landing{Title: "Underbough", Description: description, Links: []link{
		{Href: base + "/", Rel: "self", Type: typeJSON, Title: "This document"},
		{Href: base + "/?f=html", Rel: "alternate", Type: typeHTML, Title: "This document as HTML"},
		{Href: base + "/conformance", Rel: "conformance", Type: typeJSON, Title: "What of OGC API - Features is conformed to"},
		{Href: base + "/collections", Rel: "data", Type: typeJSON, Title: "The collections"},
		{Href: base + "/ranking", Rel: "related", Type: typeGeoJSON, Title: "The ranking"},
		{Href: base + "/places", Rel: "related", Type: typeJSON, Title: "The places with what is on them and the trees over them"},
		{Href: base + "/grid", Rel: "related", Type: typeGeoJSON, Title: "The exposure by hexagons or squares"},
		{Href: base + "/rankings", Rel: "related", Type: typeJSON, Title: "The rankings that were kept"},
		{Href: base + "/explain{?site,tag}", Rel: "related", Type: typeJSON, Title: "One tree's sum, opened down to each overlap", Templated: true},
		{Href: base + "/hours{?site,tag,part,window,from,to,days}", Rel: "related", Type: typeJSON, Title: "The week under a tree, hour by hour", Templated: true},
		{Href: base + "/hours.svg{?site,tag,part,window,from,to,days}", Rel: "related", Type: typeSVG, Title: "The week under a tree as a chart", Templated: true},
		{Href: base + "/what-if{?site,change*,by}", Rel: "related", Type: typeJSON, Title: "How trees would rank if things were otherwise", Templated: true},
		{Href: base + "/map", Rel: "related", Type: typeHTML, Title: "The map"},
	}}
}

// handleLanding says what is here, to programs and to persons.
func (s *Server) handleLanding(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "f")
	if err != nil {
		return err
	}
	form, err := negotiate(r, p, typeJSON, typeHTML)
	if err != nil {
		return err
	}
	w.Header().Add("Vary", "Accept")
	if form == typeHTML {
		return s.landingPage(w, r)
	}
	return writeJSON(w, r, s.landing(r))
}

// handleConformance lists no class: core asks for an API definition and the
// datetime parameter, which are not there yet, and all others rest on core.
func (s *Server) handleConformance(w http.ResponseWriter, r *http.Request) error {
	if err := onlyJSON(r); err != nil {
		return err
	}
	return writeJSON(w, r, conformance{
		ConformsTo: []string{},
		Note:       "The paths, links, bbox, limit, paging and errors follow OGC API - Features - Part 1. No conformance class is declared: an API definition and the datetime parameter are missing.",
	})
}

// knownJSON returns the state a JSON document is of, and whether the client has
// that already and has been told so.
func (s *Server) knownJSON(w http.ResponseWriter, r *http.Request) (state string, known bool, err error) {
	if err := onlyJSON(r); err != nil {
		return "", false, err
	}
	if state, err = s.state(r.Context()); err != nil {
		return "", false, err
	}
	return state, s.unchanged(w, r, s.etag(r, typeJSON, state), false), nil
}

func (s *Server) handleCollections(w http.ResponseWriter, r *http.Request) error {
	state, known, err := s.knownJSON(w, r)
	if err != nil || known {
		return err
	}
	out := collections{Links: []link{{Href: s.self(r), Rel: "self", Type: typeJSON}}}
	for i := range inventory.Collections {
		c, err := s.describe(r.Context(), r, state, &inventory.Collections[i])
		if err != nil {
			return err
		}
		out.Collections = append(out.Collections, c)
	}
	return writeJSON(w, r, out)
}

func (s *Server) handleCollection(w http.ResponseWriter, r *http.Request) error {
	c, err := inventory.GetCollection(chi.URLParam(r, "collection"))
	if err != nil {
		return err
	}
	state, known, err := s.knownJSON(w, r)
	if err != nil || known {
		return err
	}
	out, err := s.describe(r.Context(), r, state, c)
	if err != nil {
		return err
	}
	return writeJSON(w, r, out)
}

func (s *Server) describe(ctx context.Context, r *http.Request, state string, c *inventory.Collection) (collection, error) {
	base := s.base(r) + "/collections/" + c.ID
	out := collection{
		ID: c.ID, Title: c.Title, Description: c.Note, ItemType: "feature", CRS: []string{crs84}, StorageCRS: crs84,
		Links: []link{
			{Href: base, Rel: "self", Type: typeJSON},
			{Href: base + "/items", Rel: "items", Type: typeGeoJSON, Title: c.Title + " as GeoJSON"},
		},
	}
	box, err := s.extent(ctx, state, c)
	if err != nil {
		return out, fmt.Errorf("extent of %s: %w", c.ID, err)
	}
	if box != nil {
		out.Extent = &extent{}
		out.Extent.Spatial.CRS = crs84
		out.Extent.Spatial.BBox = [][4]float64{{box.Min[0], box.Min[1], box.Max[0], box.Max[1]}}
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
