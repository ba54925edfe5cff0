package programme

import (
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
)

// holds checks what must be true of any programme that we make.
func holds(t *testing.T, p *Problem, plan *Plan) {
	t.Helper()
	left := map[int]bool{}
	for _, i := range plan.Left {
		left[i] = true
	}
	late := map[int]bool{}
	for _, i := range plan.Late {
		late[i] = true
	}
	for y, year := range plan.Years {
		if year.Over > 0 {
			t.Errorf("year %d: over by %v of %v", y, year.Over, p.Budget[y])
		}
		if year.HarmLeft > year.HarmBefore*(1+1e-12) {
			t.Errorf("year %d: harm left %v, before %v", y, year.HarmLeft, year.HarmBefore)
		}
	}
	off := 0.0
	for _, year := range plan.Years {
		off += year.HarmBefore - year.HarmLeft
	}
	near(t, "taken off over the years", off, plan.TakenOff, 1e-9*(1+math.Abs(off)))
	for i, s := range plan.Start {
		c := &p.Candidates[i]
		switch {
		case left[i] && s != NotPlanned:
			t.Errorf("candidate %d is left and planned", i)
		case late[i] != (s != NotPlanned && c.Must && !c.Pinned.OK && s > c.DueBy):
			t.Errorf("candidate %d: late %v in year %d: %+v", i, late[i], s, c)
		case left[i] || s == NotPlanned && !c.Must && !c.Pinned.OK:
		case s == NotPlanned:
			t.Errorf("candidate %d must have a year and is not left", i)
		case s < c.Earliest || c.Closed>>s&1 == 1 || c.Pinned.OK && s != c.Pinned.V:
			t.Errorf("candidate %d: year %d: %+v", i, s, c)
		}
		if why := Why(p, plan, i); why == "" || strings.Contains(why, "NaN") {
			t.Errorf("candidate %d: %q", i, why)
		}
	}
}

func TestProperties(t *testing.T) {
	for n := range 60 {
		r := rand.New(rand.NewPCG(uint64(n), 3))
		p := random(r, shape{candidates: 1 + r.IntN(1200), groups: 1 + r.IntN(40), years: 1 + r.IntN(10), sequences: 0.2, musts: 0.1, pins: 0.05, share: 2 * r.Float64() * r.Float64(), integers: n%3 == 0})
		if len(p.Candidates) < searchMost+1 {
			continue // the small are tried elsewhere
		}
		if n%5 == 0 { // all that must be done is due at once
			for i := range p.Candidates {
				p.Candidates[i].DueBy = 0
			}
		}
		plan, err := Solve(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		holds(t, p, plan)
		if plan.Bound < plan.TakenOff || plan.Gap < 0 {
			t.Errorf("case %d: taken off %v, bound %v, gap %v", n, plan.TakenOff, plan.Bound, plan.Gap)
		}
		noRoomBefore(t, p, plan)
		for _, other := range baselines(t, p) {
			noRoomBefore(t, p, other)
			holds(t, p, other)
			if len(plan.Left)+len(plan.Late) == 0 && len(other.Left)+len(other.Late) == 0 && other.TakenOff > plan.TakenOff*(1+1e-9) {
				t.Errorf("case %d: %s takes off %v, ours %v", n, other.Method, other.TakenOff, plan.TakenOff)
			}
		}
		// The same in another order.
		q := *p
		q.Candidates = make([]Candidate, len(p.Candidates))
		perm := r.Perm(len(p.Candidates))
		for i, j := range perm {
			q.Candidates[j] = p.Candidates[i]
		}
		again, err := Solve(t.Context(), &q)
		if err != nil {
			t.Fatal(err)
		}
		for i, j := range perm {
			if plan.Start[i] != again.Start[j] {
				t.Fatalf("case %d: candidate %d: year %d, in another order %d", n, i, plan.Start[i], again.Start[j])
			}
		}
		if plan.TakenOff != again.TakenOff || plan.Bound != again.Bound || !reflect.DeepEqual(plan.Years, again.Years) {
			t.Errorf("case %d: another order changes the figures", n)
		}
	}
}

// noRoomBefore checks that what is late or left has no room, beside what else must
// be done, in any year before the one that it has.
func noRoomBefore(t *testing.T, p *Problem, plan *Plan) {
	t.Helper()
	musts := slices.Clone(plan.Start)
	for i, c := range p.Candidates {
		if !c.Must && !c.Pinned.OK {
			musts[i] = NotPlanned
		}
	}
	for n, i := range slices.Concat(plan.Late, plan.Left) {
		if n > 40 {
			break
		}
		had := musts[i]
		for s := 0; s < p.Years && (had < 0 || s < had); s++ {
			musts[i] = s
			if _, _, ok := byHand(p, musts); ok && byHandMay(&p.Candidates[i], s, p.Years) {
				t.Errorf("%s: candidate %d has year %d and there is room in %d", plan.Method, i, had, s)
			}
		}
		musts[i] = had
	}
}

func baselines(t *testing.T, p *Problem) []*Plan {
	t.Helper()
	worst, err := WorstFirst(p)
	if err != nil {
		t.Fatal(err)
	}
	flat, err := FlatCycle(p, 5)
	if err != nil {
		t.Fatal(err)
	}
	return []*Plan{worst, flat}
}

func TestFaults(t *testing.T) {
	for _, c := range []struct {
		spoil func(*Problem)
		want  string
	}{
		{func(p *Problem) { p.Candidates[1].Harm = math.NaN() }, `candidate 1 (tree 2, "T000002"): harm: NaN`},
		{func(p *Problem) { p.Candidates[0].Visits[0].Cost = math.Inf(1) }, "candidate 0 (tree 1, \"T000001\"): visit 1: cost: +Inf"},
		{func(p *Problem) { p.Candidates[0].Visits[0].Hours = -1 }, "visit 1: hours: -1"},
		{func(p *Problem) { p.Candidates[0].Visits[0].TakesOff = 1.1 }, "visit 1: takes off: 1.1"},
		{func(p *Problem) { p.Candidates[0].Visits = nil }, "visits: none"},
		{func(p *Problem) { p.Budget[1] = math.NaN() }, "budget of year 2: NaN"},
		{func(p *Problem) { p.Budget = p.Budget[:1] }, "budget: 1 years are given, expected 3"},
		{func(p *Problem) { p.Years = 11 }, "years: 11, expected 1 to 10"},
		{func(p *Problem) { p.Candidates[0].Pinned = inventory.Some(3) }, "pinned: year 3, expected 0 to 2"},
		{func(p *Problem) { p.Lasts = 0 }, "lasts: 0"},
		{func(p *Problem) { p.Measure = "days" }, `measure: "days"`},
	} {
		p := random(rand.New(rand.NewPCG(1, 1)), shape{candidates: 3, groups: 1, years: 3, share: 1})
		c.spoil(p)
		_, err := Solve(t.Context(), p)
		if err == nil || !strings.Contains(err.Error(), c.want) || inventory.KindOf(err) != inventory.Invalid {
			t.Errorf("%v, expected %q", err, c.want)
		}
	}
}

// Corners: nothing to plan, nothing to spend, nothing to pay, more than there is.
func TestCorners(t *testing.T) {
	visit := func(cost, takes float64) []PlannedVisit {
		return []PlannedVisit{{Hours: 1, Cost: cost, TakesOff: takes}}
	}
	for _, c := range []struct {
		name    string
		budget  float64
		setUp   float64
		of      []Candidate
		planned int
		left    int
	}{
		{"no candidates", 10, 1, nil, 0, 0},
		{"no budget", 0, 0, []Candidate{{Harm: 1, Visits: visit(1, 0.5)}}, 0, 0},
		{"no budget, a must", 0, 0, []Candidate{{Harm: 1, Must: true, Visits: visit(1, 0.5)}}, 0, 1},
		{"no budget, costs nothing", 0, 0, []Candidate{{Harm: 1, Visits: visit(0, 0.5)}}, 1, 0},
		{"no harm", 10, 0, []Candidate{{Visits: visit(1, 0.5)}}, 0, 0},
		{"no harm, a must", 10, 0, []Candidate{{Must: true, Visits: visit(1, 0.5)}}, 1, 0},
		{"huge", 10, 1, []Candidate{{Harm: 1, Visits: visit(1e300, 0.5)}, {Harm: 1, Visits: visit(1, 0.5)}}, 1, 0},
		{"a must before a better one", 10, 0, []Candidate{{Harm: 1e6, Visits: visit(10, 1), Earliest: 1}, {Must: true, DueBy: 1, Earliest: 1, Visits: visit(10, 0.1)}}, 1, 0},
		{"may not begin in time", 10, 0, []Candidate{{Harm: 1, Must: true, DueBy: 0, Earliest: 1, Visits: visit(1, 0.5)}}, 1, 0},
		{"due after the years", 10, 0, []Candidate{{Must: true, DueBy: 9, Visits: visit(1, 0.5)}}, 1, 0},
		{"the set-up does not fit", 10, 10, []Candidate{{Harm: 1, Visits: visit(1, 0.5)}}, 0, 0},
	} {
		p := &Problem{Years: 2, Measure: Money, Budget: []float64{c.budget, c.budget}, GroupCost: c.setUp, Lasts: 5, Candidates: c.of}
		plan, err := Solve(t.Context(), p)
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		holds(t, p, plan)
		planned := 0
		for _, s := range plan.Start {
			if s != NotPlanned {
				planned++
			}
		}
		if planned != c.planned || len(plan.Left) != c.left || !plan.Exact || plan.Gap != 0 {
			t.Errorf("%s: %+v", c.name, plan)
		}
	}
}
