package geo

import "math"

// ringInDisc is the sum of edgeArea over a closed ring for a whole disc, made
// for speed. Outside the circle a ring only adds angle, and the angles of
// neighbouring edges telescope: what is left is the direction of each point
// where the ring crosses the circle, plus whole turns, which are counted where
// an outside part crosses the negative x axis. So an edge that does not come
// near costs nothing, and one inverse tangent does for all crossings: that of
// the product of their directions, as of complex numbers, whose whole turns
// are told by a rough one.
func (c *cutter) ringInDisc(p *path) float64 {
	turns := p.turns
	twice := 0.0
	d := directions{re: 1}
	for _, i := range p.touch {
		ax, ay, bx, by := p.x[i], p.y[i], p.x[i+1], p.y[i+1]
		out, outB := p.r2[i]-c.r2, p.r2[i+1]-c.r2
		px, py, qx, qy := ax, ay, bx, by // the part in the circle
		if out >= 0 || outB >= 0 {
			dx, dy := bx-ax, by-ay
			dd, ad := dx*dx+dy*dy, ax*dx+ay*dy
			disc := ad*ad - dd*out
			if out >= 0 && outB >= 0 && !(ad < 0 && dd+ad > 0 && disc > 0) {
				continue
			}
			root, per := math.Sqrt(max(disc, 0)), 1/dd
			if out >= 0 {
				t := min(max((-ad-root)*per, 0), 1)
				px, py = ax+t*dx, ay+t*dy
				d.enter(px*c.perR, py*c.perR)
			}
			if outB >= 0 {
				t := min(max((-ad+root)*per, 0), 1)
				qx, qy = ax+t*dx, ay+t*dy
				d.leave(qx*c.perR, qy*c.perR)
			}
		}
		twice += px*qy - py*qx
		if (py < 0) != (qy < 0) {
			turns -= halfLineCrossing(py, qy, leftOf(ax, ay, bx, by))
		}
	}
	angle := 2 * math.Pi * float64(turns)
	if d.points > 0 || d.angle != 0 {
		angle += d.sum()
	}
	return (twice + c.r2*angle) / 2
}

// leftOf is above 0 where a→b passes the apex on its left. Every look at an edge
// must find the same sign, so the products are kept from being fused with the
// difference, as some machines would here and not there.
func leftOf(ax, ay, bx, by float64) float64 { return float64(ax*by) - float64(ay*bx) }

// halfLineCrossing is 1 where a part of an edge, from height ay to by, crosses
// the negative x axis anticlockwise, −1 clockwise, else 0; left is the edge's.
func halfLineCrossing(ay, by, left float64) int {
	if ay >= 0 && by < 0 && left > 0 {
		return 1
	}
	if ay < 0 && by >= 0 && left < 0 {
		return -1
	}
	return 0
}

// directions adds up the angles, each from -π to π, of points where a ring
// enters a disc, less those where it leaves. Points are given in radii, so that
// the product neither overflows nor vanishes.
type directions struct {
	re, im float64
	rough  float64 // the sum to within a hundredth for each point
	points int
	angle  float64 // of points taken together already
}

func (d *directions) enter(x, y float64) {
	d.re, d.im = d.re*x-d.im*y, d.re*y+d.im*x
	d.count(roughAngle(x, y))
}

func (d *directions) leave(x, y float64) {
	d.re, d.im = d.re*x+d.im*y, d.im*x-d.re*y
	d.count(-roughAngle(x, y))
}

func (d *directions) count(angle float64) {
	d.rough += angle
	d.points++
	if d.points == 100 { // 300 could be out by half a turn
		*d = directions{re: 1, angle: d.sum()}
	}
}

func (d *directions) sum() float64 {
	angle := math.Atan2(d.im, d.re)
	return d.angle + angle + 2*math.Pi*math.Round((d.rough-angle)/(2*math.Pi))
}

// roughAngle is math.Atan2(y, x) to within 0.01.
func roughAngle(x, y float64) float64 {
	ax, ay := math.Abs(x), math.Abs(y)
	t := min(ax, ay) / max(ax, ay)
	a := t * (math.Pi/4 + 0.273*(1-t))
	if ay > ax {
		a = math.Pi/2 - a
	}
	if x < 0 {
		a = math.Pi - a
	}
	if y < 0 {
		a = -a
	}
	return a
}

// ringInZone is the signed area a closed ring has in common with the zone.
func (c *cutter) ringInZone(p *path) float64 {
	if c.disc {
		return c.ringInDisc(p)
	}
	sum := 0.0
	for i := range len(p.x) - 1 {
		sum += c.edgeArea(p.x[i], p.y[i], p.x[i+1], p.y[i+1])
	}
	return sum
}

// wholeArea is the signed area of a ring.
func wholeArea(p *path) float64 {
	twice := 0.0
	for i := range len(p.x) - 1 {
		twice += p.x[i]*p.y[i+1] - p.y[i]*p.x[i+1]
	}
	return twice / 2
}
