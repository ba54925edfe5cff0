package programme

import (
	"math"
	"math/rand/v2"
	"testing"
)

// tight is a small site: few visits fill a year, every street takes a set-up, and
// two in five trees are restored over several visits.
func tight(r *rand.Rand, candidates int) *Problem {
	p := random(r, shape{candidates: candidates, groups: 2 + r.IntN(candidates/2), years: 5, sequences: 0.4, share: 1})
	p.Measure, p.GroupHours, p.GroupCost, p.Lasts = Money, 0.5, 50, 5
	budget := 0.0
	for i := range p.Candidates {
		c := &p.Candidates[i]
		c.Pinned.OK = false
		budget += c.Visits[0].Cost
	}
	budget *= (0.2 + 0.5*r.Float64()) / 5
	for y := range p.Budget {
		p.Budget[y] = budget
	}
	return p
}

// Small sites are proven, and CBC finds the same optimum of those that it solves
// soon.
func TestSmallSitesAreExact(t *testing.T) {
	for n := range 24 {
		r := rand.New(rand.NewPCG(uint64(n), 99))
		p := tight(r, 12+r.IntN(39))
		plan, err := Solve(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		if !plan.Exact {
			t.Errorf("case %d: %d candidates, gap %.3g %%", n, len(p.Candidates), plan.Gap*100)
		}
		holds(t, p, plan)
		if len(p.Candidates) > 24 || len(plan.Left)+len(plan.Late) > 0 {
			continue
		}
		if best := cbc(t, p); math.Abs(plan.TakenOff-best) > 1e-6*(1+best) {
			t.Errorf("case %d: %d candidates: taken off %v, CBC %v", n, len(p.Candidates), plan.TakenOff, best)
		}
	}
}

// The knapsack of a year against all sets of its items.
func TestKnapsackAgainstAllSets(t *testing.T) {
	for n := range 300 {
		r := rand.New(rand.NewPCG(uint64(n), 5))
		s := &knapsack{setUp: float64(r.IntN(3)), room: 12 * r.Float64()}
		for k := range 1 + r.IntN(7) {
			for range 1 + r.IntN(2) {
				s.items = append(s.items, item{group: int32(k / 2), place: int32(k), opt: int32(len(s.items)), weight: 5 * r.Float64(), worth: 0.1 + 5*r.Float64()})
			}
		}
		paid := func(g int32) bool { return n%2 == 0 && g == 1 }
		best := 0.0
		for set := range 1 << len(s.items) {
			weight, worth, ok := 0.0, 0.0, true
			places, groups := map[int32]bool{}, map[int32]bool{}
			for i, it := range s.items {
				if set>>i&1 == 0 {
					continue
				}
				ok = ok && !places[it.place]
				if !groups[it.group] && !paid(it.group) {
					weight += s.setUp
				}
				places[it.place], groups[it.group] = true, true
				weight, worth = weight+it.weight, worth+it.worth
			}
			if ok && weight <= s.room {
				best = max(best, worth)
			}
		}
		got, chosen := s.solve(paid)
		sum := 0.0
		for _, o := range chosen {
			sum += s.items[o].worth
		}
		near(t, "most worth", got, best, 1e-9)
		near(t, "worth of the chosen", sum, best, 1e-9)
	}
}
