package programme

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// bruteForce goes through every assignment and keeps, of those within the
// budgets, one with the fewest of what must be done left out, and of these the
// most harm taken off. Its sums are its own: it shares nothing with the solver.
func bruteForce(p *Problem) (left int, taken float64) {
	start := make([]int, len(p.Candidates))
	left, taken = math.MaxInt, 0
	var go1 func(i int)
	go1 = func(i int) {
		if i == len(start) {
			if l, v, ok := byHand(p, start); ok && (l < left || l == left && v > taken) {
				left, taken = l, v
			}
			return
		}
		c := &p.Candidates[i]
		for s := NotPlanned; s < p.Years; s++ {
			if s >= 0 && (s < c.Earliest || c.Must && s > c.DueBy || c.Pinned.OK && s != c.Pinned.V) {
				continue
			}
			start[i] = s
			go1(i + 1)
		}
	}
	go1(0)
	return left, taken
}

// byHand works out a plan half-year by half-year, in the plainest way.
func byHand(p *Problem, start []int) (left int, taken float64, ok bool) {
	used := make([]float64, p.Years)
	groups := map[[2]any]bool{}
	for i, c := range p.Candidates {
		if start[i] < 0 {
			if c.Must || c.Pinned.OK {
				left++
			}
			continue
		}
		share, until := 1.0, -1.0
		for half := range 2 * p.Years {
			now := float64(half) / 2 // the beginning of the half-year
			if now >= until {
				share = 1
			}
			for _, v := range c.Visits {
				if now == float64(start[i]+v.After)+0.5 {
					if now > until {
						share = 1
					}
					if now == until { // just in time
						share = byHandShare(c.Visits, start[i], now, p.Lasts)
					}
					share *= 1 - v.TakesOff
					until = now + float64(p.Lasts)
				}
			}
			taken += (1 - share) * c.Harm / 2
		}
		for _, v := range c.Visits {
			if y := start[i] + v.After; y < p.Years {
				amount, setUp := v.Cost, p.GroupCost
				if p.Measure == Hours {
					amount, setUp = v.Hours, p.GroupHours
				}
				used[y] += amount
				if key := [2]any{c.Group, y}; !groups[key] {
					groups[key] = true
					used[y] += setUp
				}
			}
		}
	}
	for y, u := range used {
		if u > p.Budget[y]+1e-9*(1+p.Budget[y]) {
			return 0, 0, false
		}
	}
	return left, taken, true
}

// byHandShare is what is left just before a moment, by the unbroken chain of
// visits that leads to it.
func byHandShare(visits []PlannedVisit, start int, now float64, lasts int) float64 {
	share, next := 1.0, now
	for _, v := range slices.Backward(visits) {
		at := float64(start+v.After) + 0.5
		if at >= now {
			continue
		}
		if next-at > float64(lasts) {
			break
		}
		share *= 1 - v.TakesOff
		next = at
	}
	return share
}

func TestExactAgainstBruteForce(t *testing.T) {
	exact, musts := 0, 0
	for n := range 400 {
		r := rand.New(rand.NewPCG(uint64(n), 7))
		s := shape{candidates: 1 + r.IntN(6), groups: 1 + r.IntN(3), years: 1 + r.IntN(3), sequences: 0.3, musts: 0.2, pins: 0.1, share: 0.2 + r.Float64(), integers: n%2 == 0}
		p := random(r, s)
		left, taken := bruteForce(p)
		plan, err := Solve(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		if len(plan.Left) != left || math.Abs(plan.TakenOff-taken) > 1e-9*(1+taken) {
			t.Errorf("case %d: left %d, taken off %v, bound %v, exact %v; brute force %d, %v", n, len(plan.Left), plan.TakenOff, plan.Bound, plan.Exact, left, taken)
		}
		if plan.Exact {
			exact++
		}
		if left > 0 {
			musts++
		}
	}
	if exact != 400 || musts < 20 {
		t.Errorf("%d of 400 proven, %d with something left that must be done", exact, musts)
	}
}
