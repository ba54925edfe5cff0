package api

import (
	"fmt"
	"math"
	"net/http"
	"strconv"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

var gridForms = []string{typeGeoJSON, typeCSV}

// gridQuery reads the shape and the size of cells, metres.
func (p params) gridQuery() (shape string, size float64, err error) {
	shape, size = "hexagon", 100
	if word, ok := p["cells"]; ok {
		if shape = word; shape != "hexagon" && shape != "square" {
			return "", 0, paramError("cells", word, "expected hexagon or square")
		}
	}
	if word, ok := p["size"]; ok {
		if size, err = strconv.ParseFloat(word, 64); err != nil || !(size >= ranking.MinCell && size <= ranking.MaxCell) {
			return "", 0, paramError("size", word, fmt.Sprintf("expected metres from %d to %d", ranking.MinCell, ranking.MaxCell))
		}
	}
	return shape, size, nil
}

// handleGrid sums a site up cell by cell.
func (s *Server) handleGrid(w http.ResponseWriter, r *http.Request) error {
	p, err := parseParams(r, "site", "cells", "size", "limit", "f")
	if err != nil {
		return err
	}
	form, err := negotiate(r, p, gridForms...)
	if err != nil {
		return err
	}
	shape, size, err := p.gridQuery()
	if err != nil {
		return err
	}
	limit := question.MaxCells
	if _, ok := p["limit"]; ok { // without it all cells are given: a map has no gaps
		if limit, err = p.limit(); err != nil {
			return err
		}
	}
	site, err := s.site(r.Context(), p["site"])
	if err != nil {
		return err
	}
	if _, err := s.bringUpToDate(r.Context(), site); err != nil {
		return err
	}
	state, err := s.state(r.Context())
	if err != nil {
		return err
	}
	contentType(w, form)
	if s.unchanged(w, r, s.etag(r, form, state), true) || r.Method == http.MethodHead {
		return nil
	}
	done, err := s.waitToSweep(r.Context())
	if err != nil {
		return err
	}
	grid, err := question.Grid(r.Context(), s.config.Store, site, shape, size, s.config.Profile, s.now(r.Context()))
	done()
	if err != nil {
		return blame("size", err)
	}
	return s.writeListing(w, &listing{
		head: append(s.basis(site, grid.Run),
			ranking.Property{Name: "cells", Value: shape},
			ranking.Property{Name: "size_m", Value: size},
			ranking.Property{Name: "total", Value: grid.Total.Properties()},
			ranking.Property{Name: "note", Value: "People and vehicles are sums over the trees of a cell: those under two crowns count twice. A cell without a standing tree is left out."}),
		columns: columnsOf(append(cellName(&question.CellSum{}), grid.Total.Properties()...)), matched: len(grid.Cells), links: s.alternates(r, form, gridForms),
		rows: func(yield func(listed, error) bool) {
			for i := range min(limit, len(grid.Cells)) {
				c := &grid.Cells[i]
				if !yield(listed{geometry: c.Outline, properties: append(cellName(c), c.Properties()...)}, nil) {
					return
				}
			}
		},
	}, form)
}

// cellName tells a cell from the others, and where its middle is; it stays while
// trees come and go. Column and row are axial where cells are hexagons.
func cellName(c *question.CellSum) []ranking.Property {
	var middle orb.Point
	if len(c.Outline) > 0 {
		middle = c.Outline.Bound().Center()
	}
	return []ranking.Property{
		{Name: "column", Value: c.Cell.Q},
		{Name: "row", Value: c.Cell.R},
		{Name: "longitude", Value: roundDegrees(middle[0])},
		{Name: "latitude", Value: roundDegrees(middle[1])},
	}
}

func roundDegrees(v float64) float64 {
	p := math.Pow10(decimalsOfDegrees)
	return math.Round(v*p) / p
}
