package pruning_test

import (
	"math"
	"testing"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
)

func radii(pairs ...float64) []pruning.Radius {
	var r []pruning.Radius
	for i := 0; i < len(pairs); i += 2 {
		r = append(r, pruning.Radius{BearingDeg: pairs[i], Metres: pairs[i+1]})
	}
	return r
}

// The middle of the area against ST_Centroid, ST_Azimuth and ST_Distance of
// PostGIS 3.3 on the polygons through the tips, made there by ST_MakePolygon.
func TestBalanceAgainstPostGIS(t *testing.T) {
	even := radii(0, 5, 45, 6, 90, 8, 135, 7, 180, 4, 225, 3, 270, 3, 315, 4)
	a, err := pruning.Balance(even)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "offset", a.OffsetM, 2.142004692517367, 1e-9)
	near(t, "heavy side", a.HeavyDeg, 87.87997947211713, 1e-9)
	near(t, "mean", a.MeanM, 5, 1e-12) // 40/8 by hand
	near(t, "share", a.OffsetShare, 2.142004692517367/5, 1e-9)
	near(t, "moment of 20 kN", a.Moment(20_000), 42_840.09, 0.01)
	if a.Longest != (pruning.Radius{BearingDeg: 90, Metres: 8}) {
		t.Errorf("longest: %v", a.Longest)
	}
	// By hand: 5 over 4, 6 over 3, 8 over 3, 7 over 4.
	for i, want := range []float64{1.25, 2, 8.0 / 3, 1.75} {
		near(t, "opposite", a.Opposite[i].Ratio, want, 1e-12)
	}
	uneven, err := pruning.Balance(radii(200, 2.5, 10, 4, 300, 6, 80, 9)) // in no order
	if err != nil {
		t.Fatal(err)
	}
	near(t, "uneven offset", uneven.OffsetM, 1.6311456715761545, 1e-9)
	near(t, "uneven heavy side", uneven.HeavyDeg, 40.56993648154119, 1e-9)
	// Opposite 10°, by hand between 80° (9 m) and 200° (2.5 m): 9 - 6.5·110/120.
	near(t, "uneven opposite", uneven.Opposite[0].Ratio, 4/(9-6.5*110/120), 1e-12)
}

// A disc of radius R whose middle lies e off the stem: r(θ) = e·cosθ + √(R² −
// e²·sin²θ). Its offset is e; the mean of the radii as vectors is e/2, as the
// root is even about the stem and ∫ e·cos²θ dθ over a turn is eπ.
func TestBalanceOfDisc(t *testing.T) {
	for _, e := range []float64{0, 0.5, 1.7, 3.9} {
		const r, n, heavy = 4, 3600, 225.0
		var all []pruning.Radius
		for i := range n {
			b := 360 * float64(i) / n
			sin, cos := math.Sincos((b - heavy) * math.Pi / 180)
			all = append(all, pruning.Radius{BearingDeg: b, Metres: e*cos + math.Sqrt(r*r-e*e*sin*sin)})
		}
		a, err := pruning.Balance(all)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "offset", a.OffsetM, e, 1e-4)
		near(t, "vector mean", a.VectorM, e/2, 1e-9)
		if e > 0 {
			near(t, "heavy side", a.HeavyDeg, heavy, 1e-6)
		} else if a.HeavyDeg != 0 {
			t.Errorf("an even crown is heavy at %v°", a.HeavyDeg)
		}
	}
}

func TestBalanceRefuses(t *testing.T) {
	for name, r := range map[string][]pruning.Radius{
		"two": radii(0, 1, 180, 1), "negative": radii(0, 1, 120, -1, 240, 1), "twice": radii(0, 1, 0, 2, 120, 1, 240, 1),
		"half a turn": radii(0, 1, 90, 1, 180, 1), "nothing": radii(0, 0, 120, 0, 240, 0), "no number": radii(0, 1, math.NaN(), 1, 240, 1),
	} {
		if _, err := pruning.Balance(r); inventory.KindOf(err) != inventory.Invalid {
			t.Errorf("%s: %v, expected it refused", name, err)
		}
	}
}

// Rays through an outline that bends in, with a part that lies apart, in metres
// about the stem: the farthest point by ST_MaxDistance of ST_Intersection with
// the ray, PostGIS 3.3.
func TestCrownRadiiAgainstPostGIS(t *testing.T) {
	tree := &inventory.Tree{Point: orb.Point{7.4, 51.5}}
	plane := geo.NewPlane(tree.Point)
	ring := func(xy ...float64) orb.Polygon {
		var r orb.Ring
		for i := 0; i < len(xy); i += 2 {
			r = append(r, plane.ToPoint(xy[i], xy[i+1]))
		}
		return orb.Polygon{r}
	}
	tree.Crown = orb.MultiPolygon{ring(-3, -4, 6, -5, 7, 3, 2, 3, 2, 1, -1, 1, -1, 6, -4, 5, -3, -4), ring(9, 0, 12, 0, 12, 2, 9, 2, 9, 0)}
	got, ok := pruning.CrownRadii(tree, 12)
	if !ok {
		t.Fatal("no radii")
	}
	for i, want := range []float64{1, 1.1547005383792515, 6, 12, 7.134969030462869, 5.346692838484925, 4.333333333333333, 4.702064739311372, 3.7375386389398084, 3.444444444444444, 4.249935333154685, 6.1328381562635395} {
		near(t, "bearing", got[i].BearingDeg, 30*float64(i), 1e-12)
		near(t, "radius", got[i].Metres, want, 1e-6)
	}
	if _, ok := pruning.CrownRadii(&inventory.Tree{}, 12); ok {
		t.Error("radii of a crown that nobody surveyed")
	}
	if _, ok := pruning.CrownRadii(&inventory.Tree{Crown: orb.Polygon{}}, 12); ok {
		t.Error("radii of an empty outline")
	}
}
