package programme

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// bruteForce goes through every assignment and keeps, of those within the
// budgets, one with the fewest of what must be done left out, and of these the
// most harm taken off. Where what must be done and can be has no room by the year
// that it is due, it is held to the years of byList. Its sums are its own: it
// shares nothing with the solver.
func bruteForce(p *Problem) (left, late int, taken float64) {
	for i := range p.Candidates {
		c := &p.Candidates[i]
		if c.Must || c.Pinned.OK {
			alone := *p
			alone.Candidates = p.Candidates[i : i+1]
			for s := range p.Years {
				if _, _, ok := byHand(&alone, []int{s}); ok && byHandMay(c, s, p.Years) {
					left--
					break
				}
			}
			left++ // those that can be in no year at all
		}
	}
	held := make([]int, len(p.Candidates))
	for i := range held {
		held[i] = -2
	}
	found, taken := allAssignments(p, held)
	if found > left {
		held = byList(p)
		left, taken = allAssignments(p, held)
		for i, c := range p.Candidates {
			if c.Must && !c.Pinned.OK && held[i] > c.DueBy {
				late++
			}
		}
	}
	return left, late, taken
}

func byHandMay(c *Candidate, s, years int) bool {
	return s < years && s >= c.Earliest && c.Closed&(1<<s) == 0 && (!c.Pinned.OK || c.Pinned.V == s)
}

// byList puts what must be done in the earliest years that have room: what a
// person put in a year, then by the year due, then by harm. As long as one of them
// has room in an earlier year than it has, it goes there.
func byList(p *Problem) []int {
	start, held := make([]int, len(p.Candidates)), make([]int, len(p.Candidates))
	var list []int
	for i, c := range p.Candidates {
		start[i], held[i] = NotPlanned, -2
		if c.Must || c.Pinned.OK {
			held[i] = NotPlanned
			list = append(list, i)
		}
	}
	key := func(i int) int {
		if p.Candidates[i].Pinned.OK {
			return -1
		}
		return p.Candidates[i].DueBy
	}
	slices.SortStableFunc(list, func(i, j int) int { // names are alike within a group only by chance: the order is group, then name
		a, b := &p.Candidates[i], &p.Candidates[j]
		return cmp.Or(key(i)-key(j), cmp.Compare(b.Harm, a.Harm), strings.Compare(a.Group+a.Label, b.Group+b.Label))
	})
	for again := true; again; {
		again = false
		for _, i := range list {
			for s := 0; s < p.Years && (start[i] < 0 || s < start[i]); s++ {
				was := start[i]
				start[i] = s
				if _, _, ok := byHand(p, start); ok && byHandMay(&p.Candidates[i], s, p.Years) {
					again = true
					break
				}
				start[i] = was
			}
			held[i] = start[i]
		}
	}
	return held
}

// allAssignments tries every start of what is not held to one.
func allAssignments(p *Problem, held []int) (left int, taken float64) {
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
			if held[i] != -2 && s != held[i] {
				continue
			}
			if held[i] == -2 && s >= 0 && (!byHandMay(c, s, p.Years) || c.Must && !c.Pinned.OK && s > c.DueBy) {
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
	exact, musts, overdue := 0, 0, 0
	for n := range 400 {
		r := rand.New(rand.NewPCG(uint64(n), 7))
		s := shape{candidates: 1 + r.IntN(6), groups: 1 + r.IntN(3), years: 1 + r.IntN(3), sequences: 0.3, musts: 0.2, pins: 0.1, share: 0.2 + r.Float64(), integers: n%2 == 0}
		p := random(r, s)
		if n%4 == 0 { // all that must be done is due at once
			for i := range p.Candidates {
				p.Candidates[i].Must, p.Candidates[i].DueBy = !p.Candidates[i].Pinned.OK && r.IntN(3) > 0, 0
			}
		}
		left, late, taken := bruteForce(p)
		plan, err := Solve(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		if len(plan.Left) != left || len(plan.Late) != late || math.Abs(plan.TakenOff-taken) > 1e-9*(1+taken) {
			t.Errorf("case %d: left %d, late %d, taken off %v, bound %v, exact %v; brute force %d, %d, %v", n, len(plan.Left), len(plan.Late), plan.TakenOff, plan.Bound, plan.Exact, left, late, taken)
		}
		if plan.Exact {
			exact++
		}
		if left > 0 {
			musts++
		}
		if late > 0 {
			overdue++
		}
	}
	t.Logf("%d with something left that must be done, %d with something late", musts, overdue)
	if exact != 400 || musts < 20 || overdue < 20 {
		t.Errorf("%d of 400 proven, %d with something left that must be done, %d with something late", exact, musts, overdue)
	}
}
