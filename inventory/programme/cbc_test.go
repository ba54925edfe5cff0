package programme

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// CBC, COIN-OR's branch and cut solver for integer programmes (Debian's
// coinor-cbc), solves the same problems, written in the LP format: one column for
// each start and one for each group and year.

// cbc returns the optimum.
func cbc(t *testing.T, p *Problem) float64 {
	t.Helper()
	path, err := exec.LookPath("cbc")
	if err != nil {
		t.Fatal("cbc is not installed: run make test, which installs coinor-cbc")
	}
	in, out := filepath.Join(t.TempDir(), "in.lp"), filepath.Join(t.TempDir(), "out")
	if err := os.WriteFile(in, []byte(lpOf(p)), 0o600); err != nil {
		t.Fatal(err)
	}
	log, err := exec.Command(path, in, "ratio", "0", "allow", "0", "primalT", "1e-9", "integerT", "1e-9", "sec", "100", "solve", "solution", out).CombinedOutput()
	if err != nil {
		t.Fatalf("cbc: %v\n%s", err, log)
	}
	first, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	var value float64
	if _, err := fmt.Sscanf(string(first), "Optimal - objective value %g", &value); err != nil {
		t.Fatalf("cbc: no optimum: %.100s\n%s", first, log)
	}
	return -value
}

// lpOf writes a problem in which everything that must be done has room.
func lpOf(p *Problem) string {
	var objective, once, opens, binary strings.Builder
	budget := make([]strings.Builder, p.Years)
	groups := map[string]int{}
	for i, c := range p.Candidates {
		g, ok := groups[c.Group]
		if !ok {
			g = len(groups)
			groups[c.Group] = g
		}
		terms := 0
		for s := range p.Years {
			if !byHandMay(&c, s, p.Years) || c.Must && !c.Pinned.OK && s > c.DueBy {
				continue
			}
			x := fmt.Sprintf("x%d_%d", i, s)
			alone := *p
			alone.Candidates, alone.Budget = p.Candidates[i:i+1], make([]float64, p.Years)
			for y := range alone.Budget {
				alone.Budget[y] = 1e12
			}
			_, value, _ := byHand(&alone, []int{s})
			fmt.Fprintf(&objective, " - %.17g %s", value, x)
			fmt.Fprintf(&once, " + %s", x)
			terms++
			fmt.Fprintf(&binary, " %s\n", x)
			for _, v := range c.Visits {
				if y := s + v.After; y < p.Years {
					amount := v.Cost
					if p.Measure == Hours {
						amount = v.Hours
					}
					fmt.Fprintf(&budget[y], " + %.17g %s", amount, x)
					fmt.Fprintf(&opens, " %s - z%d_%d <= 0\n", x, g, y)
				}
			}
		}
		if sense := "<="; terms > 0 {
			if c.Must || c.Pinned.OK {
				sense = "="
			}
			fmt.Fprintf(&once, " %s 1\n", sense)
		}
	}
	setUp := p.GroupCost
	if p.Measure == Hours {
		setUp = p.GroupHours
	}
	for g := range len(groups) {
		for y := range p.Years {
			fmt.Fprintf(&budget[y], " + %.17g z%d_%d", setUp, g, y)
			fmt.Fprintf(&binary, " z%d_%d\n", g, y)
		}
	}
	var lp strings.Builder
	fmt.Fprintf(&lp, "Minimize\nobj: %s\nSubject To\n%s%s", objective.String(), once.String(), opens.String())
	for y := range budget {
		fmt.Fprintf(&lp, "%s <= %.17g\n", budget[y].String(), p.Budget[y])
	}
	fmt.Fprintf(&lp, "Binary\n%sEnd\n", binary.String())
	return lp.String()
}

func TestAgainstCBC(t *testing.T) {
	compared, exact, worst := 0, 0, 0.0
	for n := range 16 {
		r := rand.New(rand.NewPCG(uint64(n), 11))
		p := random(r, shape{candidates: 20 + r.IntN(25), groups: 2 + r.IntN(4), years: 3 + r.IntN(2), sequences: 0.15, musts: 0.03, pins: 0.03, share: 0.3 + 0.5*r.Float64()})
		begun := time.Now()
		plan, err := Solve(t.Context(), p)
		if err != nil {
			t.Fatal(err)
		}
		took := time.Since(begun)
		if len(plan.Left)+len(plan.Late) > 0 {
			continue // its integer programme has no solution, or ours must say which
		}
		best := cbc(t, p)
		t.Logf("case %d: %v, proven %v, gap %.3g %%; cbc %v", n, took, plan.Exact, plan.Gap*100, time.Since(begun)-took)
		compared++
		eps := 1e-6 * (1 + best)
		if plan.Bound < best-eps || plan.TakenOff > best+eps {
			t.Errorf("case %d: taken off %v, bound %v; CBC %v", n, plan.TakenOff, plan.Bound, best)
		}
		if plan.Exact && math.Abs(plan.TakenOff-best) > eps {
			t.Errorf("case %d: taken off %v is said to be the optimum; CBC %v", n, plan.TakenOff, best)
		}
		if gap := (best - plan.TakenOff) / best; gap > plan.Gap+1e-6 {
			t.Errorf("case %d: gap %v, in truth %v", n, plan.Gap, gap)
		}
		if plan.TakenOff < 0.99*best {
			t.Errorf("case %d: taken off %v, more than 1 %% below the optimum %v", n, plan.TakenOff, best)
		}
		if plan.Exact {
			exact++
		}
		worst = max(worst, plan.Gap)
	}
	t.Logf("%d compared, %d proven optimal, worst gap %.3g %%", compared, exact, worst*100)
	if compared < 12 {
		t.Errorf("only %d compared", compared)
	}
}
