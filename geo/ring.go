package geo

import "math"

// path is a run of projected vertices: metres from the apex and the squared
// distance. The slices have one length.
type path struct{ x, y, r2 []float64 }

// ringInDisc is the sum of edgeArea over a closed ring for a whole disc, made
// for speed. Outside the circle a ring only adds angle, and the angles of
// neighbouring edges telescope: what is left is the direction of each point
// where the ring crosses the circle, plus whole turns, which are counted where
// an outside part crosses the negative x axis. So an edge that does not touch
// the circle costs no inverse tangent.
func (c *cutter) ringInDisc(p path) float64 {
	n := len(p.x)
	xs, ys, rs := p.x[:n], p.y[:n], p.r2[:n]
	ax, ay, out := xs[n-1], ys[n-1], rs[n-1]-c.r2
	twice, angle, turns := 0.0, 0.0, 0
	for i := range n {
		bx, by, outB := xs[i], ys[i], rs[i]-c.r2
		switch {
		case out <= 0 && outB <= 0:
			twice += ax*by - ay*bx
		case out > 0 && outB > 0:
			dx, dy := bx-ax, by-ay
			dd, ad := dx*dx+dy*dy, ax*dx+ay*dy
			if ad < 0 && dd+ad > 0 && ad*ad > dd*out {
				root := math.Sqrt(ad*ad - dd*out)
				t0, t1 := (-ad-root)/dd, (-ad+root)/dd
				px, py := ax+t0*dx, ay+t0*dy
				qx, qy := ax+t1*dx, ay+t1*dy
				twice += px*qy - py*qx
				angle += math.Atan2(py+0, px) - math.Atan2(qy+0, qx)
				turns += halfLineCrossing(ax, ay, px, py) + halfLineCrossing(qx, qy, bx, by)
			} else if (ay < 0) != (by < 0) {
				turns += halfLineCrossing(ax, ay, bx, by)
			}
		case outB > 0:
			qx, qy := c.crossing(ax, ay, bx, by, out, 1)
			twice += ax*qy - ay*qx
			angle -= math.Atan2(qy+0, qx)
			turns += halfLineCrossing(qx, qy, bx, by)
		default:
			px, py := c.crossing(ax, ay, bx, by, out, -1)
			twice += px*by - py*bx
			angle += math.Atan2(py+0, px)
			turns += halfLineCrossing(ax, ay, px, py)
		}
		ax, ay, out = bx, by, outB
	}
	return (twice + c.r2*(angle+2*math.Pi*float64(turns))) / 2
}

// crossing is where a segment with one end in the disc leaves (side 1) or
// enters it (side −1); out is |a|² − R².
func (c *cutter) crossing(ax, ay, bx, by, out, side float64) (x, y float64) {
	dx, dy := bx-ax, by-ay
	dd, ad := dx*dx+dy*dy, ax*dx+ay*dy
	root := math.Sqrt(max(ad*ad-dd*out, 0))
	t := min(max((-ad+side*root)/dd, 0), 1)
	return ax + t*dx, ay + t*dy
}

// halfLineCrossing is 1 where a→b crosses the negative x axis anticlockwise,
// −1 clockwise, else 0.
func halfLineCrossing(ax, ay, bx, by float64) int {
	if ay >= 0 && by < 0 && ax*by-ay*bx > 0 {
		return 1
	}
	if ay < 0 && by >= 0 && ax*by-ay*bx < 0 {
		return -1
	}
	return 0
}

// ringInZone is the signed area a closed ring has in common with the zone.
func (c *cutter) ringInZone(p path) float64 {
	if !c.wedge {
		return c.ringInDisc(p)
	}
	n := len(p.x)
	sum := 0.0
	ax, ay := p.x[n-1], p.y[n-1]
	for i := range n {
		bx, by := p.x[i], p.y[i]
		sum += c.edgeArea(ax, ay, bx, by)
		ax, ay = bx, by
	}
	return sum
}

// lineInZone is the length of an open line in the zone.
func (c *cutter) lineInZone(p path) float64 {
	n := len(p.x)
	sum := 0.0
	for i := 1; i < n; i++ {
		if c.wedge {
			sum += c.segmentLength(p.x[i-1], p.y[i-1], p.x[i], p.y[i])
			continue
		}
		dx, dy := p.x[i]-p.x[i-1], p.y[i]-p.y[i-1]
		outA, outB := p.r2[i-1]-c.r2, p.r2[i]-c.r2
		if outA <= 0 && outB <= 0 {
			sum += math.Sqrt(dx*dx + dy*dy)
			continue
		}
		dd, ad := dx*dx+dy*dy, p.x[i-1]*dx+p.y[i-1]*dy
		if outA > 0 && outB > 0 && (ad >= 0 || dd+ad <= 0) {
			continue // the nearest point of the segment is one of its ends
		}
		if disc := ad*ad - dd*outA; disc > 0 {
			root := math.Sqrt(disc)
			t0, t1 := max(-ad-root, 0), min(-ad+root, dd)
			sum += max(t1-t0, 0) / math.Sqrt(dd)
		}
	}
	return sum
}

// wholeLength and wholeArea are the measures of a path wholly in a zone.
func wholeLength(p path) float64 {
	sum := 0.0
	for i := 1; i < len(p.x); i++ {
		dx, dy := p.x[i]-p.x[i-1], p.y[i]-p.y[i-1]
		sum += math.Sqrt(dx*dx + dy*dy)
	}
	return sum
}

func wholeArea(p path) float64 {
	n := len(p.x)
	twice := 0.0
	ax, ay := p.x[n-1], p.y[n-1]
	for i := range n {
		bx, by := p.x[i], p.y[i]
		twice += ax*by - ay*bx
		ax, ay = bx, by
	}
	return twice / 2
}
