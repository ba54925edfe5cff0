package api

import (
	"net/http"

	"github.com/underbough/underbough/api/viewer"
	"github.com/underbough/underbough/inventory/question"
)

// landing is the first document that a client reads.
type landing struct {
	Title       string `json:"title"`
	Description string `json:"description"`
	Links       []link `json:"links"`
}

const description = "Trees that carry old bad pruning cuts over places where people and cars are, ranked by what they would land on. A screening aid: a qualified arborist inspects before anything is decided."

// handleLanding says what is here, to programs and to persons.
func (s *Server) handleLanding(w http.ResponseWriter, r *http.Request) error {
	d, err := s.document(w, r, describingForms)
	if err != nil {
		return err
	}
	if d.form == typeHTML {
		return s.landingPage(d)
	}
	return d.write(landing{Title: "Underbough", Description: description, Links: append(d.links(), s.landingLinks(r)...)})
}

func (s *Server) landingLinks(r *http.Request) []link {
	base := s.base(r)
	return []link{
		{Href: base + "/api", Rel: "service-desc", Type: typeOpenAPI, Title: "The definition of this service"},
		{Href: base + "/api?f=html", Rel: "service-doc", Type: typeHTML, Title: "How to ask this service"},
		{Href: base + "/conformance", Rel: "conformance", Type: typeJSON, Title: "The classes of standards that are conformed to"},
		{Href: base + "/collections", Rel: "data", Type: typeJSON, Title: "The collections"},
		{Href: base + "/tiles", Rel: relTilesetsVector, Type: typeJSON, Title: "Vector tiles of the inventory"},
		{Href: base + "/style.json", Rel: "related", Type: typeJSON, Title: "A style that draws the tiles"},
		{Href: base + "/functions", Rel: "related", Type: typeJSON, Title: "The functions that a filter may use"},
		{Href: base + "/ranking", Rel: "related", Type: typeGeoJSON, Title: "The ranking"},
		{Href: base + "/places", Rel: "related", Type: typeJSON, Title: "The places with what is on them and the trees over them"},
		{Href: base + "/grid", Rel: "related", Type: typeGeoJSON, Title: "The exposure by hexagons or squares"},
		{Href: base + "/questions", Rel: "related", Type: typeJSON, Title: "The questions that were saved; each is a collection too"},
		{Href: base + "/rankings", Rel: "related", Type: typeJSON, Title: "The rankings that were kept"},
		{Href: base + "/explain{?site,tag}", Rel: "related", Type: typeJSON, Title: "One tree's sum, opened down to each overlap", Templated: true},
		{Href: base + "/hours{?site,tag,part,window,from,to,days}", Rel: "related", Type: typeJSON, Title: "The week under a tree, hour by hour", Templated: true},
		{Href: base + "/hours.svg{?site,tag,part,window,from,to,days}", Rel: "related", Type: typeSVG, Title: "The week under a tree as a chart", Templated: true},
		{Href: base + "/hours/trees{?site,bbox,filter,limit}", Rel: "related", Type: typeJSON, Title: "The weeks under many trees at once", Templated: true},
		{Href: base + "/hours/places{?site,bbox}", Rel: "related", Type: typeJSON, Title: "The weeks of many places at once", Templated: true},
		{Href: base + "/places/{place}", Rel: "related", Type: typeJSON, Title: "One place with its week and all trees that reach it", Templated: true},
		{Href: base + "/what-if{?site,change*,by}", Rel: "related", Type: typeJSON, Title: "How trees would rank if things were otherwise", Templated: true},
		{Href: base + "/specification{?site,tag}", Rel: "related", Type: typeJSON, Title: "What to cut on one tree, and why", Templated: true},
		{Href: base + "/reduction{?length_m,base_diameter_cm,lateral_diameter_cm,lateral_distance_m,limb_diameter_cm,angle_deg,lateral_length_m}", Rel: "related", Type: typeJSON, Title: "What cutting a limb back to a lateral takes off", Templated: true},
		{Href: base + "/programmes", Rel: "related", Type: typeJSON, Title: "The programmes of work that were kept"},
		{Href: base + "/jobs", Rel: "related", Type: typeJSON, Title: "The jobs with their steps"},
		{Href: base + "/due{?site,until}", Rel: "related", Type: typeJSON, Title: "The trees that are due to be looked at again", Templated: true},
		{Href: base + "/work/effect{?site,year}", Rel: "related", Type: typeJSON, Title: "How much harm work took off, predicted and computed again", Templated: true},
		{Href: base + "/appraisals{?site}", Rel: "related", Type: typeJSON, Title: "What trees were appraised at", Templated: true},
		{Href: base + "/crew-sheet{?site,year,package}", Rel: "related", Type: typeHTML, Title: "What a crew takes along to a package of jobs", Templated: true},
		{Href: base + "/bid-sheet{?site,year,package,estimate}", Rel: "related", Type: typeXLSX, Title: "The work that bidders price", Templated: true},
		{Href: base + "/report{?site,programme,top}", Rel: "related", Type: typeHTML, Title: "The report on a site", Templated: true},
		{Href: base + "/practice", Rel: "related", Type: typeYAML, Title: "What specifications, windows, costs and effects assume"},
		{Href: base + "/map", Rel: "related", Type: typeHTML, Title: mapTitle()},
	}
}

// mapTitle says what is at /map, which is made with Node and may be missing.
func mapTitle() string {
	if _, built := viewer.Page(); !built {
		return "The map is not part of this build: install Node and npm, run make build and start again"
	}
	return "The map"
}

// landingPage is the landing page for persons.
func (s *Server) landingPage(d *describing) error {
	sites, err := s.config.Store.FindSites(d.r.Context(), s.config.Client)
	if err != nil {
		return err
	}
	list, err := s.served(d.r.Context())
	if err != nil {
		return err
	}
	return d.page("landing", htmlPage{Title: "Underbough", Cautions: question.Cautions, Data: map[string]any{
		"Description": description, "Map": mapTitle(), "Collections": list, "Sites": sites,
	}})
}
