package api

import (
	"net/http"

	"github.com/underbough/underbough/api/paper"
	"github.com/underbough/underbough/api/sheets"
)

// drawingViews are the views of a tree that are drawn, the usual one first.
var drawingViews = []string{"side", "plan"}

// drawingPolicy lets a drawing load and run nothing: its colours are attributes.
const drawingPolicy = "default-src 'none'"

// handleDrawing draws one tree with its cuts and with what is to be cut, as on a
// crew sheet.
func (s *Server) handleDrawing(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "site", "tag", "view", "f")
	if err != nil {
		return err
	}
	if _, err := negotiate(r, p, typeSVG); err != nil {
		return err
	}
	tag, err := p.tag()
	if err != nil {
		return err
	}
	view, ok := p["view"]
	switch {
	case !ok:
		view = drawingViews[0]
	case view != "side" && view != "plan":
		return paramError("view", view, "expected side or plan")
	}
	site, err := s.site(r.Context(), p["site"])
	if err != nil {
		return err
	}
	d, err := sheets.Drawn(r.Context(), s.config.Store, s.workBasis(r.Context(), site), tag)
	if err != nil {
		return blame("tag", err)
	}
	var svg []byte
	if view == "plan" {
		svg = paper.PlanView(&d.Tree, d.Items, d.Targets)
	} else {
		svg = paper.SideView(&d.Tree, d.Items)
	}
	contentType(w, typeSVG)
	w.Header().Set("Content-Security-Policy", drawingPolicy)
	if s.unchanged(w, r, s.etag(r, typeSVG, string(svg)), false) {
		return nil
	}
	return writeBody(w, r, svg)
}
