package ranking_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/ranking"
)

// A block of a made-up town: 1.5 targets in 2,000 m² and five trees, as dense as
// the one of `make bench`, trees in rows as they stand in streets.
func BenchmarkAssess(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	stripe := ranking.NewStripe(profile.Default(), time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC))
	const side = 2000.0
	for i := range 3000 {
		x, y := side*r.Float64(), side*r.Float64()
		t := inventory.Target{ID: inventory.TargetID(i + 1), Kind: inventory.Walkway}
		if i%3 == 0 {
			t.Kind, t.PeoplePresent = inventory.Plaza, inventory.Some(1+4*r.Float64())
			var ring orb.Ring
			n := 5 + r.IntN(16)
			for k := range n + 1 {
				angle := 2 * math.Pi * float64(k%n) / float64(n)
				ring = append(ring, at(x+15*math.Cos(angle), y+15*math.Sin(angle)))
			}
			t.Geometry = orb.Polygon{ring}
		} else {
			t.PeoplePerHour = inventory.Some(90 * r.Float64())
			var line orb.LineString
			for k := range 3 + r.IntN(6) {
				line = append(line, at(x+22*float64(k), y+4*r.Float64()))
			}
			t.Geometry = line
		}
		if err := stripe.Add(t); err != nil {
			b.Fatal(err)
		}
	}
	stripe.Build()
	trees := make([]ranking.Facts, 10_000)
	for i := range trees {
		dbh := 0.08 + 0.7*r.Float64()*r.Float64()
		trees[i].Tree = inventory.Tree{ID: inventory.TreeID(i), Status: inventory.Alive, Point: at(20*float64(i%100), 20*float64(i/100)), Species: "Acer rubrum",
			DBH: inventory.Some(dbh), Height: inventory.Some(5 + 22*dbh + 3*r.Float64()), CrownRadius: inventory.Some(1.5 + 8*dbh + r.Float64())}
	}
	a := stripe.NewAssessor()
	var result ranking.Result
	b.ResetTimer()
	for i := 0; i < b.N; i++ {
		f := &trees[i%len(trees)]
		result.Summarize(a.Assess(f), f)
	}
}
