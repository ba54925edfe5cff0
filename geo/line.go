package geo

import "math"

// line adds a line's length in each zone.
func (s *Scratch) line(pc *piece, p *Plane, coords []float64) {
	lon0, lat0, kx, ky, radius2 := p.lon0, p.lat0, p.kx, p.ky, s.radius2
	some := false
	ax, ay := (coords[0]-lon0)*kx, (coords[1]-lat0)*ky
	ar := ax*ax + ay*ay
	for i := 3; i < len(coords); i += 2 {
		bx, by := (coords[i-1]-lon0)*kx, (coords[i]-lat0)*ky
		br := bx*bx + by*by
		dx, dy := bx-ax, by-ay
		dd, ad := dx*dx+dy*dy, ax*dx+ay*dy
		// Comes near, as in follow.
		ends := math.Float64bits(ar-radius2) | math.Float64bits(br-radius2)
		between := math.Float64bits(ad) &^ math.Float64bits(dd+ad) & math.Float64bits(dd*(ar-radius2)-ad*ad)
		if int64(ends|between) < 0 {
			if !some {
				some = true
				clear(s.sums)
			}
			s.segment(ax, ay, bx, by, ar, dd, ad)
		}
		ax, ay, ar = bx, by, br
	}
	if !some {
		return
	}
	for zone, length := range s.sums {
		if length > 0 {
			s.shares = append(s.shares, newShare(pc, zone, length))
		}
	}
}

// segment adds to the sums of all zones; ar, dd and ad are the products of a
// with itself, b-a with itself, and a with b-a.
func (s *Scratch) segment(ax, ay, bx, by, ar, dd, ad float64) {
	length := math.Sqrt(dd)
	for zone := range s.cutters {
		c := &s.cutters[zone]
		if !c.disc {
			s.sums[zone] += c.segmentLength(ax, ay, bx, by)
			continue
		}
		root := math.Sqrt(max(ad*ad-dd*(ar-c.r2), 0))
		if part := min(root-ad, dd) - max(-root-ad, 0); part > 0 {
			s.sums[zone] += part / length
		}
	}
}

// lengthInDisc measures along the line, in which a→b is dd long: the circle
// holds what is no further than root from -ad, and nothing where it misses.
func (c *cutter) lengthInDisc(ax, ay, bx, by float64) float64 {
	dx, dy := bx-ax, by-ay
	dd, ad := dx*dx+dy*dy, ax*dx+ay*dy
	root := math.Sqrt(max(ad*ad-dd*(ax*ax+ay*ay-c.r2), 0))
	if part := min(root-ad, dd) - max(-root-ad, 0); part > 0 {
		return part / math.Sqrt(dd)
	}
	return 0
}
