package api

import (
	"net/http"

	"github.com/underbough/underbough/inventory"
)

// The palette is that of the map page (viewer/src/map/look.ts): one ramp that differs
// in lightness, so that it reads without colour.
var (
	styleRamp   = []string{"#aebfc9", "#7fa3b8", "#4f82a6", "#2b5b8c", "#14305f"}
	styleGround = "#fbfaf6"
	styleZone   = "#8a3a10"
	styleSolid  = "#8d8577"
	styleSoft   = "#cdc6b6"
	styleLine   = "#a79f8d"
	styleWalk   = "#8a8271"
	styleWater  = "#5f6f7c"
)

// handleStyle answers with a MapLibre style document of a site, with which a
// viewer opens the tiles by one address. It asks for nothing from elsewhere:
// there are no glyphs, no sprites and no base map.
func (s *Server) handleStyle(w http.ResponseWriter, r *http.Request) error {
	d, known, err := s.described(w, r)
	if err != nil || known {
		return err
	}
	name := d.title
	if site, ok := d.params["site"]; ok {
		name += ": " + site
	}
	out := object{{"version", 8}, {"name", name}}
	if d.box != nil {
		out = out.with(member{"center", d.box.Center()}, member{"zoom", d.opening()})
	}
	source := object{{"type", "vector"}}
	for _, m := range d.tileJSON() {
		switch m.name {
		case "tiles", "minzoom", "maxzoom", "bounds", "scheme":
			source = append(source, m)
		}
	}
	return writeJSON(w, r, out.with(member{"sources", object{{"underbough", source}}}, member{"layers", styleLayers(d.layers)}))
}

// styleLayers draws the layers that are there, the lowest first.
func styleLayers(queries []inventory.TileQuery) []object {
	out := []object{{{"id", "background"}, {"type", "background"}, {"paint", object{{"background-color", styleGround}}}}}
	for _, q := range queries {
		for _, l := range drawings[q.Layer.ID] {
			out = append(out, append(object{{"id", q.LayerName() + "-" + l.id}, {"type", l.kind}, {"source", "underbough"}, {"source-layer", q.LayerName()}}, l.rest...))
		}
	}
	return out
}

type drawing struct {
	id, kind string
	rest     object
}

// expr is an expression of a style.
type expr = []any

// harmSteps colours by a figure of the harm index. Its steps are tenfold: the
// index of one tree may be a million times another's (no source: by what invented
// towns show).
func harmSteps(of any) expr {
	step := expr{"step", expr{"coalesce", of, 0}, styleRamp[0]}
	for i, from := range []float64{0.001, 0.01, 0.1, 1} {
		step = append(step, from, styleRamp[i+1])
	}
	return step
}

func kindIs(kinds ...string) expr {
	return expr{"in", expr{"get", "kind"}, expr{"literal", kinds}}
}

func geometryIs(kind string) expr { return expr{"==", expr{"geometry-type"}, kind} }

var treeRadius = expr{"interpolate", expr{"linear"}, expr{"zoom"},
	8, expr{"min", 7, expr{"+", 2, expr{"log10", expr{"coalesce", expr{"get", "trees"}, 1}}}},
	14, 3, 18, 8}

// drawings are the layers of the style for each layer of the tiles.
var drawings = map[string][]drawing{
	"exposure": {{"cells", "fill", object{
		{"maxzoom", 14}, {"filter", expr{">", expr{"coalesce", expr{"get", "harm_sum"}, 0}, 0}},
		{"paint", object{{"fill-color", harmSteps(expr{"get", "harm_sum"})}, {"fill-opacity", 0.55}}}}}},
	"targets": {
		{"ground", "fill", object{{"minzoom", 13}, {"filter", geometryIs("Polygon")},
			{"paint", object{{"fill-color", expr{"match", expr{"get", "kind"}, "building", styleSolid, styleSoft}}, {"fill-opacity", 0.6}}}}},
		{"outline", "line", object{{"minzoom", 13}, {"filter", geometryIs("Polygon")}, {"paint", object{{"line-color", styleLine}, {"line-width", 1}}}}},
		{"ways", "line", object{{"minzoom", 13}, {"filter", expr{"all", geometryIs("LineString"), expr{"!", kindIs("utility_line")}}},
			{"paint", object{{"line-color", expr{"match", expr{"get", "kind"}, "walkway", styleWalk, styleLine}},
				{"line-width", expr{"interpolate", expr{"linear"}, expr{"zoom"}, 13, 0.75, 18, 3}}}}}},
		{"wires", "line", object{{"minzoom", 13}, {"filter", expr{"all", geometryIs("LineString"), kindIs("utility_line")}},
			{"paint", object{{"line-color", styleWater}, {"line-width", 1.5}, {"line-dasharray", []int{5, 2, 1, 2}}}}}},
		{"points", "circle", object{{"minzoom", 14}, {"filter", geometryIs("Point")},
			{"paint", object{{"circle-color", styleSoft}, {"circle-radius", 2.5}, {"circle-stroke-color", styleSolid}, {"circle-stroke-width", 1}}}}},
	},
	"zones": {
		{"reach", "line", object{{"filter", expr{"==", expr{"get", "part"}, "whole tree"}}, {"paint", object{{"line-color", styleZone}, {"line-width", 1}, {"line-opacity", 0.5}, {"line-dasharray", []int{2, 4}}}}}},
		{"crowns", "fill", object{{"filter", expr{"==", expr{"get", "part"}, "crown"}}, {"paint", object{{"fill-color", styleZone}, {"fill-opacity", 0.15}, {"fill-outline-color", styleZone}}}}},
	},
	"trees": {{"stems", "circle", object{
		{"layout", object{{"circle-sort-key", expr{"coalesce", expr{"get", "harm_index"}, 0}}}},
		{"paint", object{{"circle-color", harmSteps(expr{"get", "harm_index"})}, {"circle-radius", treeRadius}, {"circle-stroke-color", styleGround}, {"circle-stroke-width", 0.75}}}}}},
}
