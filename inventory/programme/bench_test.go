package programme

import (
	"math/rand/v2"
	"testing"
)

// large is a city: 100,000 candidates in 3,000 streets, a tenth with restorations
// of four visits, a hundredth that must be done, and money for a third of it.
func large(years int) *Problem {
	r := rand.New(rand.NewPCG(1, 2))
	p := random(r, shape{candidates: 100_000, groups: 3000, years: years, sequences: 0.1, musts: 0.01, pins: 0.001, share: 0.35})
	p.GroupHours, p.GroupCost, p.Lasts = 1, 100, 5
	return p
}

func BenchmarkSolve(b *testing.B) {
	for _, size := range []struct {
		name  string
		years int
	}{{"100000x5", 5}, {"100000x10", 10}} {
		b.Run(size.name, func(b *testing.B) {
			p := large(size.years)
			for b.Loop() {
				plan, err := Solve(b.Context(), p)
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(plan.Gap*100, "gap-%")
				b.ReportMetric(float64(len(plan.Left)), "left")
			}
		})
	}
}
