package geo_test

import (
	"math"
	"testing"

	"github.com/twpayne/go-geom"
	"pgregory.net/rapid"

	"github.com/underbough/underbough/geo"
)

// go-geom measures plane geometry without zones: a zone that holds a ring or a
// line whole must measure what it measures.
func TestWholeShapesAgainstGoGeom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		coordinate := rapid.Float64Range(-60, 60)
		n := rapid.IntRange(3, 30).Draw(t, "corners")
		flat := make([]float64, 0, 2*n+2)
		for range n {
			flat = append(flat, coordinate.Draw(t, "x"), coordinate.Draw(t, "y"))
		}
		flat = append(flat, flat[0], flat[1])
		disc := geo.Disc(100)
		var area, length float64
		for i := 2; i < len(flat); i += 2 {
			area += disc.EdgeArea(flat[i-2], flat[i-1], flat[i], flat[i+1])
			length += disc.SegmentLength(flat[i-2], flat[i-1], flat[i], flat[i+1])
		}
		// Signed areas differ in sign by convention; the size is what both mean.
		wantArea := math.Abs(geom.NewLinearRingFlat(geom.XY, flat).Area())
		wantLength := geom.NewLineStringFlat(geom.XY, flat).Length()
		if math.Abs(math.Abs(area)-wantArea) > 1e-8*(1+wantArea) {
			t.Fatalf("area %.9g, go-geom %.9g", area, wantArea)
		}
		if math.Abs(length-wantLength) > 1e-9*(1+wantLength) {
			t.Fatalf("length %.9g, go-geom %.9g", length, wantLength)
		}
	})
}
