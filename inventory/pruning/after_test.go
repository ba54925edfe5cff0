package pruning_test

import (
	"reflect"
	"strings"
	"testing"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/pruning"
)

// A tree in mid-age: visits of 0, 15, 15 and 10 % after 0, 1, 3 and 6 years, within a
// cap of 20 % and a total of 60 % (the template's; the total is an assumption).
func TestAfter(t *testing.T) {
	cut := topped(2015)
	cut.RegrowthCount = inventory.Some(11)
	s := pruning.Specify(caseOf(tree(func(t *inventory.Tree) { t.DBH = some(0.3) }), cut), rules)
	if got := afterYears(&s); !same(got, []int{0, 1, 3, 6}) {
		t.Fatalf("the template: %v", got)
	}
	done := func(visit, year int, dose inventory.Opt[float64]) pruning.Done {
		return pruning.Done{Visit: visit, On: on(year), Dose: dose}
	}
	none := inventory.Opt[float64]{}
	for _, c := range []struct {
		name   string
		done   []pruning.Done
		doses  []float64
		years  []int
		spoken string // empty for nothing
	}{
		{"nothing done", nil, []float64{0, 0.15, 0.15, 0.1}, []int{0, 1, 3, 6}, ""},
		{"as allowed", []pruning.Done{done(1, 2027, some(0)), done(2, 2028, some(0.15))}, []float64{0, 0.15, 0.15, 0.1}, []int{0, 1, 3, 6}, ""},
		{"not recorded counts as allowed", []pruning.Done{done(1, 2027, none), done(2, 2028, none)}, []float64{0, 0.15, 0.15, 0.1}, []int{0, 1, 3, 6}, ""},
		{"over the visit, within the cap", []pruning.Done{done(1, 2027, some(0.1))}, []float64{0, 0.15, 0.15, 0.1}, []int{0, 1, 3, 6}, "visit 1 took 10 %, 0 % was allowed"},
		// 0.6 - 0.4 left for 0.4: half of each; and three seasons from 2027 on.
		{"over the cap", []pruning.Done{done(1, 2027, some(0.4))}, []float64{0, 0.075, 0.075, 0.05}, []int{0, 3, 5, 8}, "40 % taken of the 60 % in all"},
		{"over the total", []pruning.Done{done(1, 2027, some(0.65))}, []float64{0, 0, 0, 0}, []int{0, 1, 3, 6}, "take 0 % together"},
		// Over the cap at the second visit in 2028: the third in 2031, 3 - 1 = 2 before.
		{"over at the second", []pruning.Done{done(1, 2027, none), done(2, 2028, some(0.3))}, []float64{0, 0.15, 0.15, 0.1}, []int{0, 1, 4, 7}, "visit 3 comes 1 year later"},
		// In two rounds in one season.
		{"over in two rounds", []pruning.Done{done(1, 2027, some(0)), done(2, 2028, some(0.15)), done(2, 2028, some(0.15))}, []float64{0, 0.15, 0.15, 0.1}, []int{0, 1, 4, 7}, "visit 2 took 30 %, 15 % was allowed"},
	} {
		out := pruning.After(s, c.done, rules)
		for i, v := range out.Visits {
			near(t, c.name, v.Dose, c.doses[i], 1e-9)
		}
		if got := afterYears(&out); !same(got, c.years) {
			t.Errorf("%s: visits after %v years, expected %v", c.name, got, c.years)
		}
		said := ""
		for _, f := range out.Rules {
			if f.Rule == pruning.OverDose {
				said = f.Why
			}
		}
		if !strings.Contains(said, c.spoken) || (said == "") != (c.spoken == "") {
			t.Errorf("%s: said %q, expected %q", c.name, said, c.spoken)
		}
		if c.spoken == "" && !reflect.DeepEqual(out, s) {
			t.Errorf("%s: the specification changed", c.name)
		}
		for _, v := range out.Visits[len(c.done):] {
			for _, item := range v.Items {
				if v.Dose == 0 && (item.Rule == pruning.KeepShoots || item.Rule == pruning.OneLeader) && item.Cut != "" {
					t.Errorf("%s: nothing live is left to take, and %+v", c.name, item)
				}
			}
		}
		clean(t, &out)
	}
}
