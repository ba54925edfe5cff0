package pruning_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
)

func on(year int) time.Time { return time.Date(year, 2, 10, 0, 0, 0, 0, time.UTC) }

// The visits of a restoration after 0, 3, 5 and 8 years (the template's; common
// practice, no source, but for the seasons of growth before the second).
func TestProgress(t *testing.T) {
	s := restoration(t)
	for i, after := range []int{0, 3, 5, 8} {
		s.Visits[i].AfterYears = after
	}
	done := func(visit, year int) pruning.Done {
		return pruning.Done{Visit: visit, On: on(year), Dose: some(0.05)}
	}
	four := []pruning.Done{done(1, 2027), done(2, 2030), done(3, 2032), done(4, 2035)}
	found := slices.Clone(four)
	found[3].Finished = true
	for _, c := range []struct {
		name       string
		history    []pruning.Done
		at         time.Time
		next, due  int
		late       bool
		ended, fit bool
		words      string
	}{
		{"nothing done", nil, asOf, 1, 2026, false, false, false, "0 of 4 visits made"},
		{"nothing done, two years on", nil, on(2028), 1, 2026, true, false, false, "overdue"},
		{"first done", four[:1], on(2028), 2, 2030, false, false, false, "visit 2 due in 2030"},
		{"second late moves the third", []pruning.Done{done(1, 2027), done(2, 2032)}, on(2033), 3, 2034, false, false, false, "2 of 4"},
		{"not counted ahead of its day", four[:2], on(2029), 2, 2030, false, false, false, "1 of 4"},
		{"out of order", []pruning.Done{done(2, 2030), done(1, 2027)}, on(2031), 3, 2032, false, false, false, "2 of 4"},
		{"all done is not restored", four, on(2035), 0, 2036, false, true, false, "not yet found restored"},
		{"found restored", found, on(2035), 0, 2036, false, true, true, "restored; next look due in 2036"},
		{"found restored early", []pruning.Done{done(1, 2027), {Visit: 2, On: on(2030), Finished: true}}, on(2030), 0, 2031, false, true, true, "not recorded at 1 visit"},
	} {
		g := pruning.ProgressOf(&s, c.history, c.at)
		if g.Next != c.next || g.Due != c.due || g.Late != c.late || g.Ended != c.ended || g.Restored != c.fit || !strings.Contains(g.Words, c.words) {
			t.Errorf("%s: %+v", c.name, g)
		}
	}
	near(t, "dose", pruning.ProgressOf(&s, four, on(2036)).Dose, 0.2, 1e-12)
	over := pruning.ProgressOf(&s, []pruning.Done{{Visit: 1, On: on(2027), Dose: some(0.3)}}, on(2028))
	if !strings.Contains(over.Words, "visit 1 took 30 %, over the cap of 10 %") {
		t.Errorf("dose over the cap: %s", over.Words)
	}
	gone := pruning.Specify(caseOf(tree(func(t *inventory.Tree) { t.Status = inventory.Vacant })), rules)
	if g := pruning.ProgressOf(&gone, nil, asOf); g.Next != 0 || g.Ended || g.Words != "Nothing is asked for." {
		t.Errorf("no tree: %+v", g)
	}
}
