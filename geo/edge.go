package geo

import "math"

// SegmentLength is the length in metres of the part of the segment a–b that
// lies in the zone. Coordinates are metres from the apex.
func (z Zone) SegmentLength(ax, ay, bx, by float64) float64 {
	c := newCutter(&z)
	return c.segmentLength(ax, ay, bx, by)
}

// EdgeArea is what the directed edge a→b adds to the area, in square metres,
// that a ring has in common with the zone: ∫ ½·min(r(θ), R)² dθ over the
// angles of the edge that are in the sector, positive anticlockwise. Summed
// over a closed ring it is the exact common area, positive for an
// anticlockwise ring, negative for a clockwise one.
func (z Zone) EdgeArea(ax, ay, bx, by float64) float64 {
	c := newCutter(&z)
	return c.edgeArea(ax, ay, bx, by)
}

// cutter is a zone made ready for many segments. A sector of up to 180° is
// the meeting of two half-planes, so a segment's part in it is one interval;
// a wider one is the disc less the opposite sector.
type cutter struct {
	outline     *outline // then the rest is of no use but empty
	r, r2, perR float64
	disc        bool    // the whole disc
	rest        bool    // the zone is what the wedge leaves of the disc
	empty       bool    // no angle or no radius
	fx, fy      float64 // first side of the wedge, turning clockwise
	tx, ty      float64 // last side
}

func newCutter(z *Zone) (c cutter) {
	c.set(z)
	return c
}

// set makes a cutter in place: that is done anew for each zone of each tree.
func (c *cutter) set(z *Zone) {
	c.outline, c.r, c.r2, c.perR = z.outline, z.Radius, z.Radius*z.Radius, 1/z.Radius
	c.empty = !(z.Radius > 0) || !(z.Width > 0)
	c.disc = !c.empty && z.outline == nil && z.Width >= 360
	c.rest = false
	if c.disc || c.empty || z.outline != nil {
		return
	}
	bearing, width := z.Bearing, z.Width
	if width > 180 {
		c.rest = true
		bearing, width = bearing+180, 360-width
	}
	c.fx, c.fy = direction(bearing - width/2)
	c.tx, c.ty = direction(bearing + width/2)
}

func (c *cutter) contains(x, y float64) bool {
	if c.outline != nil {
		return c.outline.contains(x, y)
	}
	if c.empty || x*x+y*y > c.r2 {
		return false
	}
	if c.disc {
		return true
	}
	first, last := c.fx*y-c.fy*x, c.tx*y-c.ty*x
	if c.rest {
		return first >= 0 || last <= 0
	}
	return first <= 0 && last >= 0
}

func (c *cutter) segmentLength(ax, ay, bx, by float64) float64 {
	if c.disc {
		return c.lengthInDisc(ax, ay, bx, by)
	}
	if c.outline != nil {
		return c.outline.segmentLength(ax, ay, bx, by)
	}
	if c.empty {
		return 0
	}
	part := 0.0
	if t0, t1 := c.wedgeInterval(ax, ay, bx, by); t0 < t1 {
		dx, dy := bx-ax, by-ay
		part = c.lengthInDisc(ax+t0*dx, ay+t0*dy, ax+t1*dx, ay+t1*dy)
	}
	if c.rest {
		return max(c.lengthInDisc(ax, ay, bx, by)-part, 0)
	}
	return part
}

func (c *cutter) edgeArea(ax, ay, bx, by float64) float64 {
	if c.outline != nil {
		return c.outline.edgeArea(ax, ay, bx, by)
	}
	if c.disc {
		return c.areaInDisc(ax, ay, bx, by)
	}
	if c.empty {
		return 0
	}
	part := 0.0
	if t0, t1 := c.wedgeInterval(ax, ay, bx, by); t0 < t1 {
		dx, dy := bx-ax, by-ay
		part = c.areaInDisc(ax+t0*dx, ay+t0*dy, ax+t1*dx, ay+t1*dy)
	}
	if c.rest {
		return c.areaInDisc(ax, ay, bx, by) - part
	}
	return part
}

// wedgeInterval is the part t0..t1 of a→b between the two sides of the wedge;
// empty when t0 >= t1.
func (c *cutter) wedgeInterval(ax, ay, bx, by float64) (t0, t1 float64) {
	t0, t1 = keepNotAbove(0, 1, c.fx*ay-c.fy*ax, c.fx*by-c.fy*bx)
	return keepNotAbove(t0, t1, c.ty*ax-c.tx*ay, c.ty*bx-c.tx*by)
}

// keepNotAbove narrows t0..t1 to where a value going linearly from va at 0 to
// vb at 1 is not above zero.
func keepNotAbove(t0, t1, va, vb float64) (float64, float64) {
	switch {
	case va <= 0 && vb <= 0:
		return t0, t1
	case va > 0 && vb > 0:
		return 1, 0
	case va > 0:
		return max(t0, va/(va-vb)), t1
	default:
		return t0, min(t1, va/(va-vb))
	}
}

// discInterval is the part t0..t1 of a→a+d that lies within the circle.
func (c *cutter) discInterval(ax, ay, dx, dy float64) (t0, t1 float64, ok bool) {
	dd, ad := dx*dx+dy*dy, ax*dx+ay*dy
	out := ax*ax + ay*ay - c.r2
	disc := ad*ad - dd*out
	if disc <= 0 || dd == 0 {
		return 0, 0, false
	}
	root := math.Sqrt(disc)
	t0, t1 = max((-ad-root)/dd, 0), min((-ad+root)/dd, 1)
	return t0, t1, t0 < t1
}

func (c *cutter) areaInDisc(ax, ay, bx, by float64) float64 {
	if ax*ax+ay*ay < c.r2 && bx*bx+by*by < c.r2 {
		return (ax*by - ay*bx) / 2 // however small: the interval could vanish
	}
	dx, dy := bx-ax, by-ay
	t0, t1, ok := c.discInterval(ax, ay, dx, dy)
	if !ok {
		return c.arc(ax, ay, bx, by)
	}
	px, py := ax+t0*dx, ay+t0*dy
	qx, qy := ax+t1*dx, ay+t1*dy
	area := (px*qy - py*qx) / 2
	if t0 > 0 {
		area += c.arc(ax, ay, px, py)
	}
	if t1 < 1 {
		area += c.arc(qx, qy, bx, by)
	}
	return area
}

// arc is the signed area of the circle's sector between the directions of two
// points outside it.
func (c *cutter) arc(ax, ay, bx, by float64) float64 {
	return c.r2 / 2 * math.Atan2(ax*by-ay*bx, ax*bx+ay*by)
}
