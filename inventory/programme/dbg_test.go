package programme
import ("testing";"math/rand/v2";"time")
func TestDbg(t *testing.T){
	for _, n := range []int{200,201} {
		r := rand.New(rand.NewPCG(uint64(n), 11))
		p := random(r, shape{candidates: n, groups: 20, years: 10, sequences: 0.15, musts: 0.03, pins: 0.03, share: 0.3})
		b:=time.Now()
		plan,err:=Solve(t.Context(),p)
		if err != nil { t.Fatal(err)}
		println(n, len(p.Candidates), p.Years, time.Since(b).String(), plan.Exact, int(plan.Gap*1e6), int(plan.TakenOff*1e6), len(plan.Left))
	}
}
