package ranking

import (
	"math"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
)

// Grid cuts a site into equal cells on a plane about its middle.
type Grid struct {
	hexagons bool
	size     float64 // of a square's side, or between the flat sides of a hexagon, metres
	plane    geo.Plane
}

// Cell is the address of a cell: column and row of a square, axial coordinates
// of a hexagon.
type Cell struct{ Q, R int }

// Limits of a cell's size, metres.
const (
	MinCell = 5
	MaxCell = 20_000
)

// NewGrid returns a grid of "square" or "hexagon" cells about a middle.
func NewGrid(shape string, sizeM float64, middle orb.Point) (*Grid, error) {
	if shape != "square" && shape != "hexagon" {
		return nil, inventory.Errorf(inventory.Invalid, "cells %q: expected square or hexagon", shape)
	}
	if !(sizeM >= MinCell && sizeM <= MaxCell) {
		return nil, inventory.Errorf(inventory.Invalid, "a cell of %v m: expected %d to %d", sizeM, MinCell, MaxCell)
	}
	return &Grid{hexagons: shape == "hexagon", size: sizeM, plane: geo.NewPlane(middle)}, nil
}

// side is the length of a hexagon's side, which is also its radius.
func (g *Grid) side() float64 { return g.size / math.Sqrt(3) }

// CellOf returns the cell that a point lies in.
func (g *Grid) CellOf(p orb.Point) Cell {
	x, y := g.plane.ToPlane(p)
	if !g.hexagons {
		return Cell{int(math.Floor(x / g.size)), int(math.Floor(y / g.size))}
	}
	// Axial coordinates of hexagons with a corner at the top; the nearest middle
	// is found by rounding the three cube coordinates, which add up to zero.
	q, r := (x*math.Sqrt(3)/3-y/3)/g.side(), y*2/3/g.side()
	return roundHexagon(q, r)
}

func roundHexagon(q, r float64) Cell {
	s := -q - r
	rq, rr, rs := math.Round(q), math.Round(r), math.Round(s)
	dq, dr, ds := math.Abs(rq-q), math.Abs(rr-r), math.Abs(rs-s)
	switch {
	case dq > dr && dq > ds:
		rq = -rr - rs
	case dr > ds:
		rr = -rq - rs
	}
	return Cell{int(rq), int(rr)}
}

// Outline draws a cell.
func (g *Grid) Outline(c Cell) orb.Polygon {
	var ring orb.Ring
	if g.hexagons {
		x, y := g.side()*math.Sqrt(3)*(float64(c.Q)+float64(c.R)/2), g.side()*1.5*float64(c.R)
		for corner := range 7 {
			angle := (float64(corner%6)*60 + 30) * math.Pi / 180
			ring = append(ring, g.plane.ToPoint(x+g.side()*math.Cos(angle), y+g.side()*math.Sin(angle)))
		}
		return orb.Polygon{ring}
	}
	x, y := float64(c.Q)*g.size, float64(c.R)*g.size
	for _, d := range [...][2]float64{{0, 0}, {1, 0}, {1, 1}, {0, 1}, {0, 0}} {
		ring = append(ring, g.plane.ToPoint(x+d[0]*g.size, y+d[1]*g.size))
	}
	return orb.Polygon{ring}
}
