package tiling

import (
	"math"

	"github.com/paulmach/orb"
)

const (
	// Extent is the number of units along a tile's side, Buffer how many of them
	// a tile reaches beyond its sides.
	Extent, Buffer = 4096, 64
	// MaxZoom is the deepest level of the tile matrix set.
	MaxZoom = 24
	// radius is the major axis of WGS 84, metres: the sphere of EPSG:3857.
	radius = 6378137.0
	// HalfWorld is half of the side of the square that the tiles divide, metres.
	HalfWorld = math.Pi * radius
	// MaxLatitude is where the square ends, degrees.
	MaxLatitude = 85.0511287798066
)

// Tile is a tile by its level, column from the west and row from the north.
type Tile struct{ Z, X, Y int }

// Valid reports whether the tile is one of its level's.
func (t Tile) Valid() bool {
	return t.Z >= 0 && t.Z <= MaxZoom && t.X >= 0 && t.Y >= 0 && t.X < 1<<t.Z && t.Y < 1<<t.Z
}

// CellSize is the side of a pixel of a level where a tile has 256, metres.
func CellSize(z int) float64 { return 2 * HalfWorld / 256 / float64(int(1)<<z) }

// ScaleDenominator is that of a level with pixels of 0.28 mm (OGC 17-083r4,
// 6.2).
func ScaleDenominator(z int) float64 { return CellSize(z) / 0.00028 }

// Project returns where a place lies in the square that the tiles divide, 0 to 1
// from the west and from the north. What is beyond the square lies on its side.
func Project(p orb.Point) (x, y float64) {
	lat := max(-MaxLatitude, min(MaxLatitude, p[1]))
	x = p[0]/360 + 0.5
	y = 0.5 - math.Log(math.Tan(math.Pi/4+lat*math.Pi/360))/(2*math.Pi)
	return max(0, min(1, x)), max(0, min(1, y))
}

// Unproject is the inverse of Project.
func Unproject(x, y float64) orb.Point {
	return orb.Point{(x - 0.5) * 360, math.Atan(math.Sinh(math.Pi*(1-2*y))) * 180 / math.Pi}
}

// Place returns where a place lies in the tile, in units from its north-western
// corner. Across the antimeridian it is on the nearer side.
func (t Tile) Place(p orb.Point) (x, y float64) {
	x, y = Project(p)
	n := float64(int(1) << t.Z)
	dx := x*n - float64(t.X)
	if d := dx - 0.5; d > n/2 {
		dx -= n
	} else if d < -n/2 {
		dx += n
	}
	return dx * Extent, (y*n - float64(t.Y)) * Extent
}

// Metres returns the tile's sides in EPSG:3857.
func (t Tile) Metres() orb.Bound {
	side := 2 * HalfWorld / float64(int(1)<<t.Z)
	west, north := float64(t.X)*side-HalfWorld, HalfWorld-float64(t.Y)*side
	return orb.Bound{Min: orb.Point{west, north - side}, Max: orb.Point{west + side, north}}
}

// Degrees returns what the tile covers with some units around it: one box, or
// two where that crosses the antimeridian. The outermost rows reach to the
// poles, as Project has it.
func (t Tile) Degrees(units float64) []orb.Bound {
	n := float64(int(1) << t.Z)
	around := units / Extent
	west, east := (float64(t.X)-around)/n, (float64(t.X)+1+around)/n
	north, south := (float64(t.Y)-around)/n, (float64(t.Y)+1+around)/n
	top, bottom := Unproject(0, max(0, north))[1], Unproject(0, min(1, south))[1]
	if north <= 0 {
		top = 90
	}
	if south >= 1 {
		bottom = -90
	}
	box := func(west, east float64) orb.Bound {
		return orb.Bound{Min: orb.Point{(west - 0.5) * 360, bottom}, Max: orb.Point{(east - 0.5) * 360, top}}
	}
	switch {
	case east-west >= 1:
		return []orb.Bound{box(0, 1)}
	case west < 0:
		return []orb.Bound{box(0, east), box(west+1, 1)}
	case east > 1:
		return []orb.Bound{box(west, 1), box(0, east-1)}
	}
	return []orb.Bound{box(west, east)}
}

// Finite reports whether a place is one: neither of an empty geometry nor
// infinite.
func Finite(p orb.Point) bool { return p[0]-p[0] == 0 && p[1]-p[1] == 0 }

// UnitsPerMetre returns how many units a metre on the ground takes to the east
// and to the north, at a latitude on WGS 84: the scale factors of Pseudo
// Mercator (IOGP guidance note 7-2, 1.3.3.2), which on the ellipsoid differ.
// Beyond the square it is as on its side: at the poles it would be without end.
func (t Tile) UnitsPerMetre(latitude float64) (east, north float64) {
	const e2 = 0.00669437999014 // eccentricity of WGS 84, squared
	sin, cos := math.Sincos(max(-MaxLatitude, min(MaxLatitude, latitude)) * math.Pi / 180)
	w := 1 - e2*sin*sin
	units := Extent * float64(int(1)<<t.Z) / (2 * HalfWorld)
	return units * math.Sqrt(w) / cos, units * w * math.Sqrt(w) / ((1 - e2) * cos)
}

// Limits are the first and last columns and rows of a level.
type Limits struct{ Z, MinX, MaxX, MinY, MaxY int }

// Cover returns the tiles of a level that a box in degrees touches.
func Cover(b orb.Bound, z int) Limits {
	n := float64(int(1) << z)
	x0, y0 := Project(orb.Point{b.Min[0], b.Max[1]})
	x1, y1 := Project(orb.Point{b.Max[0], b.Min[1]})
	in := func(v float64) int { return int(max(0, min(n-1, math.Floor(v*n)))) }
	return Limits{Z: z, MinX: in(x0), MaxX: in(x1), MinY: in(y0), MaxY: in(y1)}
}

// Contains reports whether the limits hold a tile.
func (l Limits) Contains(t Tile) bool {
	return t.Z == l.Z && t.X >= l.MinX && t.X <= l.MaxX && t.Y >= l.MinY && t.Y <= l.MaxY
}
