package geo

import (
	"math"

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
// value is ready. It holds on to the index last asked, and to some of what was
// found there: calls for trees near one another take less time, and find the
// same.
type Scratch struct {
	near    vicinities
	x, y    []float64
	r2      []float64
	touch   []int32
	sums    []float64 // one for each zone
	radius2 float64   // of the widest zone, squared
	apart2  float64   // a box at least this far away, squared, is out of all
	cutters []reach
	shares  []share
	hits    []Hit
}

// Overlaps measures every indexed target in each of several zones about one
// origin: the parts of a tree share one search and one projection. There may
// be up to 256 zones. Hits are those with something in the zone, one for each
// target, zone and shape, in that order; areas are held to the zone's area.
// A target's hits are the same to the last bit whatever else is in the index.
// The result lives in scratch until the next call. Edges are straight in
// longitude and latitude. Coordinates must have passed CheckPoint.
func (ix *Index) Overlaps(origin orb.Point, zones []Zone, scratch *Scratch) []Hit {
	s := scratch
	s.hits, s.shares = s.hits[:0], s.shares[:0]
	if len(ix.pieces) == 0 {
		return s.hits
	}
	radius := s.prepare(zones)
	if radius <= 0 {
		return s.hits
	}
	plane := NewPlane(origin)
	search := searchBox(&plane, radius)
	for _, shift := range turns {
		if !search.east(shift).meets(ix.bounds) {
			continue
		}
		ids := s.near.find(ix, search.east(shift))
		plane.lon0 = origin[0] + shift
		spot := ix.grid.spot(&plane)
		for _, id := range ids {
			ix.measure(&ix.pieces[id], &plane, &spot, s)
		}
	}
	s.settle()
	return s.hits
}

// reach is a cutter with the distances at which a piece's box settles the
// matter without looking at the piece.
type reach struct {
	cutter
	apart2  float64 // a box at least this far away, squared, is out
	within2 float64 // a box that ends no further than this, squared, is in
	area    float64 // of the zone
}

func (s *Scratch) prepare(zones []Zone) (radius float64) {
	if cap(s.cutters) < len(zones) {
		s.cutters, s.sums = make([]reach, len(zones)), make([]float64, len(zones))
	}
	s.cutters, s.sums = s.cutters[:len(zones)], s.sums[:len(zones)]
	for i := range zones {
		z, c := &zones[i], &s.cutters[i]
		c.set(z)
		c.apart2, c.within2 = -1, -1
		if c.empty {
			continue
		}
		radius = max(radius, z.Radius)
		c.apart2 = (z.Radius + boxSlackM) * (z.Radius + boxSlackM)
		if c.disc {
			c.area = math.Pi * c.r2
			if z.Radius > boxSlackM {
				c.within2 = (z.Radius - boxSlackM) * (z.Radius - boxSlackM)
			}
		} else {
			c.area = z.Area()
		}
	}
	s.radius2, s.apart2 = radius*radius, (radius+boxSlackM)*(radius+boxSlackM)
	return radius
}

// measure adds a piece's share of each zone.
func (ix *Index) measure(pc *piece, p *Plane, at *spot, s *Scratch) {
	first := 2 * int(pc.start)
	coords := ix.coords[first : first+2*pc.positions()]
	switch pc.shape() {
	case ShapeLine:
		s.line(pc, p, coords)
	case ShapeArea:
		s.ring(pc, p, coords, at)
	default:
		s.point(pc, (coords[0]-p.lon0)*p.kx, (coords[1]-p.lat0)*p.ky)
	}
}

func (s *Scratch) point(pc *piece, x, y float64) {
	for zone := range s.cutters {
		if s.cutters[zone].contains(x, y) {
			s.shares = append(s.shares, newShare(pc, zone, 1))
		}
	}
}

// ring adds a ring's signed area in each zone. The squared distances to its box
// save a look at the edges.
func (s *Scratch) ring(pc *piece, p *Plane, coords []float64, at *spot) {
	near2, far2 := at.distances(pc)
	if near2 > s.apart2 {
		return
	}
	ring := s.follow(p, coords)
	for zone := range s.cutters {
		c := &s.cutters[zone]
		// What should cancel leaves a last bit, so beside a disc the ring's own
		// box decides, not the steps of a grid that other targets share.
		if near2 > c.apart2 || (!c.disc && c.misses(ring.box())) {
			continue
		}
		var area float64
		if far2 <= c.within2 {
			area = wholeArea(&ring)
		} else {
			area = c.ringInZone(&ring)
		}
		if area != 0 {
			s.shares = append(s.shares, newShare(pc, zone, area))
		}
	}
}

// spot is where the origin lies on a grid, in steps, and the metres of a step.
type spot struct{ x, y, mx, my float64 }

func (g *grid) spot(p *Plane) spot {
	return spot{(p.lon0 - g.minX) * g.perX, (p.lat0 - g.minY) * g.perY, p.kx / g.perX, p.ky / g.perY}
}

// distances are the squares of the least and most distance from the origin to
// a piece's box, which may lie anywhere in the steps it was rounded down to.
func (at *spot) distances(pc *piece) (near2, far2 float64) {
	west, east := (float64(pc.x0)-at.x)*at.mx, (float64(pc.x1)+1-at.x)*at.mx
	south, north := (float64(pc.y0)-at.y)*at.my, (float64(pc.y1)+1-at.y)*at.my
	nx, ny := max(west, -east, 0), max(south, -north, 0)
	fx, fy := max(-west, east), max(-south, north)
	return nx*nx + ny*ny, fx*fx + fy*fy
}
