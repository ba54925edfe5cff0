package api

import (
	"net/http"
	"strconv"

	"github.com/go-chi/chi/v5"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/tiling"
)

// handleTileMatrixSets lists the tile matrix sets: there is one.
func (s *Server) handleTileMatrixSets(w http.ResponseWriter, r *http.Request) error {
	if err := onlyJSON(r); err != nil {
		return err
	}
	return writeJSON(w, r, object{
		{"links", s.alternates(r, typeJSON, describingForms)},
		{"tileMatrixSets", []object{{
			{"id", webMercatorQuad}, {"title", "Web Mercator"}, {"uri", uriWebMercator}, {"crs", crsWebMercator},
			{"links", []link{{Href: s.base(r) + "/tileMatrixSets/" + webMercatorQuad, Rel: "self", Type: typeJSON, Title: webMercatorQuad}}},
		}}},
	})
}

// handleTileMatrixSet defines the tile matrix set (OGC 17-083r4, annex D.1).
func (s *Server) handleTileMatrixSet(w http.ResponseWriter, r *http.Request) error {
	if id := chi.URLParam(r, "set"); id != webMercatorQuad {
		return inventory.Errorf(inventory.NotFound, "there is no tile matrix set %q here: tiles are in %s", id, webMercatorQuad)
	}
	if err := onlyJSON(r); err != nil {
		return err
	}
	var matrices []object
	for z := 0; z <= tiling.MaxZoom; z++ {
		matrices = append(matrices, object{
			{"id", strconv.Itoa(z)}, {"scaleDenominator", tiling.ScaleDenominator(z)}, {"cellSize", tiling.CellSize(z)}, {"cornerOfOrigin", "topLeft"},
			{"pointOfOrigin", []float64{-tiling.HalfWorld, tiling.HalfWorld}}, {"tileWidth", 256}, {"tileHeight", 256},
			{"matrixWidth", 1 << z}, {"matrixHeight", 1 << z},
		})
	}
	return writeJSON(w, r, object{
		{"id", webMercatorQuad}, {"title", "Web Mercator"}, {"uri", uriWebMercator}, {"crs", crsWebMercator}, {"orderedAxes", []string{"X", "Y"}},
		{"wellKnownScaleSet", "http://www.opengis.net/def/wkss/OGC/1.0/GoogleMapsCompatible"},
		{"links", s.alternates(r, typeJSON, describingForms)},
		{"tileMatrices", matrices},
	})
}
