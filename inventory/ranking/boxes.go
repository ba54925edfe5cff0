package ranking

import (
	"math"

	"github.com/paulmach/orb"
)

// Widen returns a box with room for zones of a reach about what stands in it,
// metres. It stops at ±180.
func Widen(b orb.Bound, reachM float64) orb.Bound {
	dlat := reachM / 110_000.0
	dlon := dlat / math.Cos(min(max(math.Abs(b.Min[1]), math.Abs(b.Max[1]))+dlat, 85)*math.Pi/180)
	b.Min[0], b.Max[0] = max(b.Min[0]-dlon, -180), min(b.Max[0]+dlon, 180)
	b.Min[1], b.Max[1] = max(b.Min[1]-dlat, -90), min(b.Max[1]+dlat, 90)
	return b
}

// Widened returns boxes for the trees whose zones, of a reach in metres, may
// meet boxes. A box at the antimeridian gets a twin on the other side.
func Widened(boxes []orb.Bound, reachM float64) []orb.Bound {
	var out []orb.Bound
	for _, b := range boxes {
		w := Widen(b, reachM)
		out = append(out, w)
		span := w.Max[0] - b.Max[0] + reachM/1000.0
		if w.Min[0] <= -180 {
			out = append(out, orb.Bound{Min: orb.Point{180 - span, w.Min[1]}, Max: orb.Point{180, w.Max[1]}})
		}
		if w.Max[0] >= 180 {
			out = append(out, orb.Bound{Min: orb.Point{-180, w.Min[1]}, Max: orb.Point{-180 + span, w.Max[1]}})
		}
	}
	return out
}
