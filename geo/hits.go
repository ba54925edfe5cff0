package geo

import (
	"cmp"
	"math"
	"slices"

	"github.com/paulmach/orb"
)

// Hit is what one target has in one zone. Of the three measures only the one
// of its shape is set.
type Hit struct {
	Ref             int32
	Shape           Shape
	Zone            uint8 // place in the list of zones asked for
	Count           int32 // points in the zone
	LengthM, AreaM2 float64
}

// Scratch is the working memory of one goroutine's calls to Overlaps. The zero
// value is ready.
type Scratch struct {
	ids     []int32
	x, y    []float64
	r2      []float64
	cutters []reach
	hits    []Hit
}

// reach is a cutter with the distances at which a piece's box settles the
// matter without looking at the piece.
type reach struct {
	cutter
	apart2  float64 // a box at least this far away, squared, is out
	within2 float64 // a box that ends no further than this, squared, is in
}

// Overlaps measures every indexed target in each of several zones about one
// origin: the parts of a tree share one search and one projection. There may
// be up to 256 zones. Hits are those with something in the zone, one for each
// target, zone and shape, in that order; areas are held to the zone's area.
// The result lives in scratch until the next call. Edges are straight in
// longitude and latitude over pieces of 125 m and chords of the plane within
// them. Coordinates must have passed CheckPoint.
func (ix *Index) Overlaps(origin orb.Point, zones []Zone, scratch *Scratch) []Hit {
	s := scratch
	s.hits = s.hits[:0]
	if len(ix.pieces) == 0 {
		return s.hits
	}
	plane := NewPlane(origin)
	radius := s.prepare(zones)
	if radius <= 0 {
		return s.hits
	}
	search := searchBox(&plane, radius)
	for _, shift := range turns {
		if !search.east(shift).meets(ix.bounds) {
			continue
		}
		s.ids = ix.gather(s.ids[:0], search.east(shift))
		plane.lon0 = origin[0] + shift
		for _, id := range s.ids {
			ix.measure(&ix.pieces[id], &plane, s)
		}
	}
	s.hits = settleHits(s.hits, zones)
	return s.hits
}

// turns are the ways an origin in [-180, 180] can meet the index's longitudes,
// which run from -360 to 360 at most.
var turns = [3]float64{0, 360, -360}

func (b box) east(degrees float64) box {
	b.minX += degrees
	b.maxX += degrees
	return b
}

func searchBox(p *Plane, radius float64) box {
	pad := radius + boxSlackM
	// Under half a turn, or a piece could be met twice close to a pole.
	lon := min(pad/p.kx, 179.9)
	lat := pad / p.ky
	return box{p.lon0 - lon, p.lat0 - lat, p.lon0 + lon, p.lat0 + lat}
}

// boxSlackM keeps rounding from deciding whether a box meets a zone, metres.
const boxSlackM = 1e-6

func (s *Scratch) prepare(zones []Zone) (radius float64) {
	s.cutters = s.cutters[:0]
	for _, z := range zones {
		c := reach{cutter: newCutter(z), apart2: -1, within2: -1}
		if !c.empty {
			radius = max(radius, z.Radius)
			c.apart2 = (z.Radius + boxSlackM) * (z.Radius + boxSlackM)
			if !c.wedge && z.Radius > boxSlackM {
				c.within2 = (z.Radius - boxSlackM) * (z.Radius - boxSlackM)
			}
		}
		s.cutters = append(s.cutters, c)
	}
	return radius
}

// Visit calls fn once for each piece whose box meets a bound in degrees, which
// may run past ±180. What fn is given are the caller's number of the target,
// the shape, and the piece's own box.
func (ix *Index) Visit(bound orb.Bound, fn func(ref int32, shape Shape, piece orb.Bound)) {
	if len(ix.pieces) == 0 {
		return
	}
	search := box{bound.Min[0], bound.Min[1], bound.Max[0], bound.Max[1]}
	if search.maxX-search.minX >= 360 {
		search.minX, search.maxX = ix.bounds.minX, ix.bounds.maxX
	}
	var ids []int32
	for _, shift := range turns {
		ids = ix.gather(ids, search.east(shift))
	}
	slices.Sort(ids)
	for _, id := range slices.Compact(ids) {
		p := &ix.pieces[id]
		fn(p.ref, p.shape, orb.Bound{Min: orb.Point{p.minX, p.minY}, Max: orb.Point{p.maxX, p.maxY}})
	}
}

// gather appends the numbers of the pieces whose box meets a search box, each
// once: a piece in several cells counts in the first of them that is searched.
func (ix *Index) gather(ids []int32, search box) []int32 {
	if !search.meets(ix.bounds) {
		return ids
	}
	g := &ix.grid
	c0, c1 := g.column(search.minX), g.column(search.maxX)
	r0, r1 := g.row(search.minY), g.row(search.maxY)
	if (c1-c0+1)*(r1-r0+1) > len(ix.pieces) {
		return ix.gatherAll(ids, search)
	}
	for row := r0; row <= r1; row++ {
		for column := c0; column <= c1; column++ {
			for _, id := range ix.cell(g.key(column, row)) {
				p := &ix.pieces[id]
				if p.meets(search) && max(g.column(p.minX), c0) == column && max(g.row(p.minY), r0) == row {
					ids = append(ids, id)
				}
			}
		}
	}
	return ids
}

func (ix *Index) gatherAll(ids []int32, search box) []int32 {
	for i := range ix.pieces {
		if ix.pieces[i].meets(search) {
			ids = append(ids, int32(i))
		}
	}
	return ids
}

// measure adds a piece's share of each zone to the hits.
func (ix *Index) measure(pc *piece, p *Plane, s *Scratch) {
	near2, far2 := boxDistances(pc, p)
	var path path
	whole := math.NaN()
	for zone := range s.cutters {
		c := &s.cutters[zone]
		if near2 > c.apart2 {
			continue
		}
		if path.x == nil {
			first := 2 * int(pc.start)
			path = s.project(p, ix.coords[first:first+2*int(pc.n)])
		}
		var value float64
		if far2 <= c.within2 && pc.shape != ShapePoint {
			if whole != whole {
				whole = wholeSize(pc.shape, path)
			}
			value = whole
		} else {
			value = c.share(pc.shape, path)
		}
		if value != 0 {
			s.hits = append(s.hits, newHit(pc, zone, value))
		}
	}
}

func newHit(pc *piece, zone int, value float64) Hit {
	h := Hit{Ref: pc.ref, Shape: pc.shape, Zone: uint8(zone)}
	switch pc.shape {
	case ShapePoint:
		h.Count = 1
	case ShapeLine:
		h.LengthM = value
	default:
		h.AreaM2 = value
	}
	return h
}

func (c *cutter) share(shape Shape, p path) float64 {
	switch shape {
	case ShapeArea:
		return c.ringInZone(p)
	case ShapeLine:
		return c.lineInZone(p)
	default:
		if c.contains(p.x[0], p.y[0]) {
			return 1
		}
		return 0
	}
}

func wholeSize(shape Shape, p path) float64 {
	if shape == ShapeLine {
		return wholeLength(p)
	}
	return wholeArea(p)
}

// boxDistances are the squares of the least and most distance from the origin
// to a piece's box.
func boxDistances(pc *piece, p *Plane) (near2, far2 float64) {
	west, east := (pc.minX-p.lon0)*p.kx, (pc.maxX-p.lon0)*p.kx
	south, north := (pc.minY-p.lat0)*p.ky, (pc.maxY-p.lat0)*p.ky
	nx, ny := max(west, -east, 0), max(south, -north, 0)
	fx, fy := max(-west, east), max(-south, north)
	return nx*nx + ny*ny, fx*fx + fy*fy
}

func (s *Scratch) project(p *Plane, coords []float64) path {
	n := len(coords) / 2
	if cap(s.x) < n {
		s.x, s.y, s.r2 = make([]float64, 2*n), make([]float64, 2*n), make([]float64, 2*n)
	}
	xs, ys, r2 := s.x[:n], s.y[:n], s.r2[:n]
	for i := range n {
		x, y := (coords[2*i]-p.lon0)*p.kx, (coords[2*i+1]-p.lat0)*p.ky
		xs[i], ys[i], r2[i] = x, y, x*x+y*y
	}
	return path{xs, ys, r2}
}

// settleHits sums the pieces' hits and drops what comes to nothing.
func settleHits(hits []Hit, zones []Zone) []Hit {
	slices.SortFunc(hits, func(a, b Hit) int {
		return cmp.Or(cmp.Compare(a.Ref, b.Ref), cmp.Compare(a.Zone, b.Zone), cmp.Compare(a.Shape, b.Shape))
	})
	kept := hits[:0]
	for i := 0; i < len(hits); {
		sum := hits[i]
		for i++; i < len(hits) && hits[i].Ref == sum.Ref && hits[i].Zone == sum.Zone && hits[i].Shape == sum.Shape; i++ {
			sum.Count += hits[i].Count
			sum.LengthM += hits[i].LengthM
			sum.AreaM2 += hits[i].AreaM2
		}
		if sum.Shape == ShapeArea {
			z := zones[sum.Zone]
			sum.AreaM2 = min(settle(sum.AreaM2, z.Radius), z.Area())
		}
		if sum.Count > 0 || sum.LengthM > 0 || sum.AreaM2 > 0 {
			kept = append(kept, sum)
		}
	}
	return kept
}
