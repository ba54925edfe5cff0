package programme

import (
	"context"
	"errors"
	"reflect"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
)

// street is five trees in two streets: 100 a visit, 50 to set up, 200 a year.
func street() *Problem {
	p := &Problem{Years: 3, Measure: Money, Budget: []float64{200, 200, 200}, GroupCost: 50, GroupHours: 0.5, Lasts: 5}
	for i, c := range []struct {
		group string
		harm  float64
	}{{"ash", 1}, {"ash", 5}, {"ash", 2}, {"birch", 4}, {"birch", 3}} {
		p.Candidates = append(p.Candidates, Candidate{Tree: inventory.TreeID(i + 1), Label: string(rune('A' + i)), Group: c.group, Harm: c.harm,
			Visits: []PlannedVisit{{Hours: 1, Cost: 100, TakesOff: 0.2}}})
	}
	return p
}

// Each year has room for one tree: 100 and 50, and another needs 100 more.
func TestBaselinesByHand(t *testing.T) {
	p := street()
	worst, err := WorstFirst(p)
	if err != nil {
		t.Fatal(err)
	}
	if want := []int{NotPlanned, 0, NotPlanned, 1, 2}; !reflect.DeepEqual(worst.Start, want) {
		t.Errorf("worst first: %v, expected %v", worst.Start, want)
	}
	// 0.2 of 5 for 2.5 years, of 4 for 1.5, of 3 for 0.5.
	near(t, "taken off", worst.TakenOff, 2.5+1.2+0.3, 1e-12)
	near(t, "year 2 before", worst.Years[1].HarmBefore, 15, 1e-12)
	near(t, "year 2 left", worst.Years[1].HarmLeft, 15-1-0.4, 1e-12)
	near(t, "year 2 cost", worst.Years[1].Cost, 150, 1e-12)
	near(t, "year 2 hours", worst.Years[1].Hours, 1.5, 1e-12)
	p.Budget = []float64{250, 250, 250}
	flat, err := FlatCycle(p, 3)
	if err != nil {
		t.Fatal(err)
	}
	// Turns 0, 0, 1, 1, 2: both of birch could not be set up beside C in year 2.
	if want := []int{0, 0, 1, 2, 2}; !reflect.DeepEqual(flat.Start, want) {
		t.Errorf("flat cycle: %v, expected %v", flat.Start, want)
	}
	nothing, err := Nothing(p)
	if err != nil {
		t.Fatal(err)
	}
	for y, year := range nothing.Years {
		if year.HarmLeft != 15 || year.HarmBefore != 15 || year.Cost != 0 || year.Trees != 0 {
			t.Errorf("nothing, year %d: %+v", y, year)
		}
	}
}

func TestEvaluateByHand(t *testing.T) {
	p := street()
	p.Candidates[0].Must, p.Candidates[0].DueBy = true, 1
	p.Candidates[4].Pinned = inventory.Some(1)
	plan, err := Evaluate(p, []int{2, 0, 0, 0, 1})
	if err != nil {
		t.Fatal(err)
	}
	if y := plan.Years[0]; y.Trees != 3 || y.Groups != 2 || y.Cost != 400 || y.Used != 400 || y.Over != 200 || y.Hours != 4 {
		t.Errorf("year 1: %+v", y)
	}
	if !reflect.DeepEqual(plan.Late, []int{0}) || len(plan.Left) > 0 || plan.Bound != 0 {
		t.Errorf("late %v, left %v, expected the first, which is late", plan.Late, plan.Left)
	}
	for _, bad := range [][]int{{0}, {0, 0, 0, 0, 3}, {-2, 0, 0, 0, 0}} {
		if _, err := Evaluate(p, bad); inventory.KindOf(err) != inventory.Invalid {
			t.Errorf("%v: %v", bad, err)
		}
	}
}

func TestWhy(t *testing.T) {
	p := street()
	p.Candidates[2].Must, p.Candidates[2].DueBy = true, 2
	p.Candidates[0].Pinned = inventory.Some(1)
	p.Candidates[3].Earliest = 3
	plan, err := Solve(t.Context(), p)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{
		"put in year 2 by a person", "harm index 5000; begun in year 1 it takes off 2500 over 3 years for 100 of money; 25000 for every 1000 of money, where",
		"must be done by year 3", "left out: may not begin before year 4 of 3", "left out: at best, begun in year",
	} {
		if why := Why(p, plan, i); !strings.Contains(why, want) {
			t.Errorf("%d: %q, expected %q (%v)", i, why, want, plan.Start)
		}
	}
}

func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := Solve(ctx, large(3)); !errors.Is(err, context.Canceled) {
		t.Errorf("%v, expected that it was cancelled", err)
	}
}
