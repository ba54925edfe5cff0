package programme

import (
	"math"
	"runtime"
	"sync"
)

// The bound is a Lagrangian relaxation (Geoffrion 1974): the yearly budgets are
// given up and what is used of them is paid for at a price. Groups then have
// nothing to do with each other, and the best of each is found exactly by going
// through all sets of years in which it may be worked in. For any prices from 0 the
// sum is more than or the same as any programme within the budgets can take off.

// none is the choice of no option.
const none = int32(-1)

// view is what of the model is still open: a node of the search narrows it.
type view struct {
	forced []bool   // by place: must have an option
	off    []bool   // by option: not to be chosen; nil for none
	open   []uint16 // by group: years whose set-up is paid in any case; nil for none
}

// relaxed is what the relaxation makes of some prices.
type relaxed struct {
	value  float64   // the bound; -Inf where some group cannot do what it must
	slack  []float64 // budget less what is used, by year: the slope of the bound
	choice []int32   // option by place, or none
}

// groupSum is what one group comes to.
type groupSum struct {
	value float64
	used  [MaxYears]float64
}

// relax evaluates the relaxation at prices by year. Its sums run in the order of
// the groups, whatever the number of processors.
func (m *model) relax(price []float64, v *view) relaxed {
	r := relaxed{slack: make([]float64, m.years), choice: make([]int32, len(m.order))}
	sums := make([]groupSum, len(m.runs))
	workers := 1
	if len(m.order) > 2000 {
		workers = runtime.GOMAXPROCS(0)
	}
	var wait sync.WaitGroup
	for w := range workers {
		run := func() {
			e := evaluator{m: m, price: price, view: v, choice: r.choice}
			for g := w; g < len(m.runs); g += workers {
				sums[g] = e.group(g)
			}
		}
		if workers == 1 {
			run()
			break
		}
		wait.Go(run)
	}
	wait.Wait()
	for y, b := range m.budget {
		r.slack[y] = b
		r.value += price[y] * b
	}
	for g := range sums {
		r.value += sums[g].value
		for y := range r.slack {
			r.slack[y] -= sums[g].used[y]
		}
	}
	return r
}

// evaluator finds the best of a group.
type evaluator struct {
	m      *model
	price  []float64
	view   *view
	choice []int32
	worth  [1 << MaxYears]float64 // by set of years
	unmet  [1 << MaxYears]int32   // how many must be done and cannot
	list   []ordered              // the options of all candidates, best first in each
	ends   []int                  // of each candidate's in list
	base   int                    // place of the group's first candidate
}

type ordered struct {
	opt   int32
	mask  uint16
	worth float64
}

// group returns the best of group g and notes its choice.
func (e *evaluator) group(g int) groupSum {
	m := e.m
	e.collect(m.runs[g])
	all := uint16(1)<<m.years - 1
	must := uint16(0)
	if e.view.open != nil {
		must = e.view.open[g]
	}
	best := all
	if m.setUp > 0 {
		e.sumWorth()
		top := math.Inf(-1)
		for s := uint16(0); s <= all; s++ {
			if s&must != must || e.unmet[s] > 0 {
				continue
			}
			worth := e.worth[s]
			for y := range m.years {
				if s>>y&1 == 1 {
					worth -= e.price[y] * m.setUp
				}
			}
			if worth > top {
				top, best = worth, s
			}
		}
	}
	return e.take(g, best, must)
}

// collect lists the options of a run of candidates that may be chosen, best first.
func (e *evaluator) collect(run [2]int) {
	e.list, e.ends, e.base = e.list[:0], e.ends[:0], run[0]
	for k := run[0]; k < run[1]; k++ {
		begin := len(e.list)
		for o := e.m.first[k]; o < e.m.first[k+1] && !e.m.left[k]; o++ {
			if e.view.off != nil && e.view.off[o] {
				continue
			}
			worth := e.m.priced(&e.m.opts[o], e.price)
			if worth <= 0 && !e.view.forced[k] {
				continue
			}
			e.list = append(e.list, ordered{o, e.m.opts[o].mask, worth})
			for j := len(e.list) - 1; j > begin && e.list[j].worth > e.list[j-1].worth; j-- {
				e.list[j], e.list[j-1] = e.list[j-1], e.list[j]
			}
		}
		e.ends = append(e.ends, len(e.list))
	}
}

// sumWorth fills, for every set of years, what the group is worth when only they
// may be worked in. A candidate whose options are single visits is worth its
// first option that meets the set: its steps down from one option to the next are
// noted at the complement of what they need, and one sum over subsets (the zeta
// transform) adds up those of all candidates. Sequences are gone through one by
// one.
func (e *evaluator) sumWorth() {
	n := 1 << e.m.years
	worth, unmet := e.worth[:n], e.unmet[:n]
	clear(worth)
	clear(unmet)
	sure, musts := 0.0, false
	begin := 0
	var sequences []int
	for i, end := range e.ends {
		list := e.list[begin:end]
		begin = end
		if len(list) == 0 {
			continue
		}
		if !single(list) {
			sequences = append(sequences, i)
			continue
		}
		var met uint16
		for j, o := range list {
			met |= o.mask
			step := o.worth
			if j+1 < len(list) {
				step -= list[j+1].worth
			}
			// Lost where the set has none of met.
			worth[met] -= step
			sure += step
		}
		if e.view.forced[e.base+i] {
			unmet[met]++
			musts = true
		}
	}
	// Sum over subsets of the complement: worth[t] counts for s where t and s are
	// disjoint.
	for y := range e.m.years {
		bit := 1 << y
		for s := range n {
			if s&bit != 0 {
				worth[s] += worth[s^bit]
				if musts {
					unmet[s] += unmet[s^bit]
				}
			}
		}
	}
	for s := range n / 2 {
		c := n - 1 - s
		worth[s], worth[c] = worth[c]+sure, worth[s]+sure
		unmet[s], unmet[c] = unmet[c], unmet[s]
	}
	for _, i := range sequences {
		e.addSequence(i, worth, unmet)
	}
}

// addSequence adds what one candidate with visits in several years is worth.
func (e *evaluator) addSequence(i int, worth []float64, unmet []int32) {
	for s := range worth {
		if o := best(e.of(i), uint16(s)); o != nil {
			worth[s] += o.worth
		} else if e.view.forced[e.base+i] {
			unmet[s]++
		}
	}
}

// of returns the options of the group's candidate i, best first.
func (e *evaluator) of(i int) []ordered {
	if i == 0 {
		return e.list[:e.ends[0]]
	}
	return e.list[e.ends[i-1]:e.ends[i]]
}

// best returns the best option within a set of years, nil if there is none.
func best(list []ordered, set uint16) *ordered {
	for j := range list {
		if list[j].mask&^set == 0 {
			return &list[j]
		}
	}
	return nil
}

// single reports whether all options are single visits.
func single(list []ordered) bool {
	for _, o := range list {
		if o.mask&(o.mask-1) != 0 {
			return false
		}
	}
	return true
}

// take chooses each candidate's best option within a set of years. Only the years
// that are then worked in are set up, and those that must be.
func (e *evaluator) take(g int, set, must uint16) groupSum {
	m := e.m
	var sum groupSum
	years := must
	for i := range e.ends {
		k := e.base + i
		e.choice[k] = none
		o := best(e.of(i), set)
		if o == nil {
			if e.view.forced[k] && !m.left[k] {
				sum.value = math.Inf(-1)
			}
			continue
		}
		e.choice[k] = o.opt
		sum.value += o.worth
		years |= o.mask
		for _, u := range m.uses[m.opts[o.opt].from:m.opts[o.opt].to] {
			sum.used[u.year] += u.amount
		}
	}
	for y := range m.years {
		if years>>y&1 == 1 {
			sum.value -= e.price[y] * m.setUp
			sum.used[y] += m.setUp
		}
	}
	return sum
}
