package question

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// GridStore reads what is in force tree by tree.
type GridStore interface {
	ExposureStore
	// EachResult hands on every standing tree's result in the order of their ids.
	EachResult(ctx context.Context, site inventory.Site, fn func(orb.Point, *ranking.Result) error) error
}

// CellSum is what the trees in one cell come to.
type CellSum struct {
	Cell     ranking.Cell
	Outline  orb.Polygon
	Trees    int
	Harm     float64 // sum over the trees
	People   float64 // sum over the trees of the mean number under each
	Vehicles float64
	Busiest  float64 // the most under one tree in its busiest hour
}

// Gridded is a site cut into cells. A cell without a standing tree is not in it.
type Gridded struct {
	Run   inventory.Run
	Cells []CellSum // the most harm first
	Total CellSum   // of the whole site, without an outline
}

// MaxCells is how many cells a site may be cut into.
const MaxCells = 200_000

// Grid sums up the exposures in force by cell: "square" or "hexagon", of a size
// in metres.
func Grid(ctx context.Context, store GridStore, site inventory.Site, shape string, sizeM float64, p *profile.Profile, asOf time.Time) (*Gridded, error) {
	if _, err := ranking.NewGrid(shape, sizeM, orb.Point{}); err != nil {
		return nil, err
	}
	run, err := UpToDate(ctx, store, site, p, asOf, false)
	if err != nil {
		return nil, err
	}
	out := &Gridded{Run: run}
	at := make(map[ranking.Cell]int)
	var grid *ranking.Grid
	err = store.EachResult(ctx, site, func(point orb.Point, r *ranking.Result) error {
		if grid == nil {
			// A round position near the site anchors the cells, so that they mostly
			// stay where they are while trees come and go.
			if grid, err = ranking.NewGrid(shape, sizeM, anchor(point)); err != nil {
				return err
			}
		}
		c := grid.CellOf(point)
		i, ok := at[c]
		if !ok {
			if i = len(out.Cells); i == MaxCells {
				return inventory.Errorf(inventory.Invalid, "cells of %v m make more than %d of them: ask for larger cells", sizeM, MaxCells)
			}
			at[c] = i
			out.Cells = append(out.Cells, CellSum{Cell: c, Outline: grid.Outline(c)})
		}
		out.Cells[i].add(r)
		out.Total.add(r)
		return nil
	})
	slices.SortFunc(out.Cells, func(a, b CellSum) int {
		return cmp.Or(cmp.Compare(b.Harm, a.Harm), cmp.Compare(b.People, a.People), cmp.Compare(a.Cell.Q, b.Cell.Q), cmp.Compare(a.Cell.R, b.Cell.R))
	})
	return out, err
}

// anchor is a point near p that stays the same for all points about it: the
// nearest tenth of a degree.
func anchor(p orb.Point) orb.Point {
	round := func(v float64) float64 {
		if v < 0 {
			return float64(int(v*10-0.5)) / 10
		}
		return float64(int(v*10+0.5)) / 10
	}
	return orb.Point{round(p[0]), round(p[1])}
}

func (c *CellSum) add(r *ranking.Result) {
	c.Trees++
	c.Harm += r.Harm
	c.People += r.Count.Persons()
	c.Vehicles += r.Count.Vehicles
	c.Busiest = max(c.Busiest, r.Week.Busiest)
}
