package paper

import (
	"cmp"
	"maps"
	"slices"

	"github.com/underbough/underbough/inventory/practice"
	"github.com/underbough/underbough/inventory/programme"
)

// quantity is a line that bidders price: the visits of one kind of work to trees
// of one class in one year.
type quantity struct {
	year, class int
	work, label string
	line        bool // a utility line is within reach
	visits      int
	hours, cost float64
}

// noClass is of trees whose stem diameter is not recorded.
const noClass = 1 << 10

// isLook reports whether a row is a look by an assessor: no work for those who
// bid for pruning.
func (r *BidRow) isLook() bool { return r.Work == practice.SecondOpinion }

// quantities adds up the pruning by year, work, class and lines within reach, in
// that order. Looks by an assessor are not in it.
func (s *BidSheet) quantities() []quantity {
	return s.sums(func(r *BidRow) bool { return !r.isLook() })
}

// looks adds up the looks by an assessor in the same way.
func (s *BidSheet) looks() []quantity { return s.sums((*BidRow).isLook) }

func (s *BidSheet) sums(of func(*BidRow) bool) []quantity {
	type key struct {
		year, class int
		work        string
		line        bool
	}
	sums := map[key]*quantity{}
	for i := range s.Rows {
		r := &s.Rows[i]
		if !of(r) {
			continue
		}
		class, label := bidClass(r)
		k := key{r.Year, class, plain(string(r.Work)), r.LineInReach}
		q := sums[k]
		if q == nil {
			q = &quantity{year: k.year, class: class, work: k.work, label: label, line: k.line}
			sums[k] = q
		}
		q.visits, q.hours, q.cost = q.visits+1, q.hours+r.Hours, q.cost+r.Cost
	}
	list := make([]quantity, 0, len(sums))
	for _, q := range slices.Collect(maps.Values(sums)) {
		list = append(list, *q)
	}
	slices.SortFunc(list, func(a, b quantity) int {
		return cmp.Or(cmp.Compare(a.year, b.year), cmp.Compare(a.work, b.work), cmp.Compare(a.class, b.class), cmp.Compare(yesNo(a.line), yesNo(b.line)))
	})
	return list
}

// mobilisation is setting up, once for each package in a year.
const (
	mobilisation     = "mobilisation"
	perPackage       = "one for each package in the year"
	perLookPackage   = "one for each package in the year with looks and no pruning"
	notPartOfBid     = "looks by an assessor, not part of this bid"
	lookMobilisation = "mobilisation for looks alone"
)

// mobilisations counts the packages of each year that have pruning, a line a
// year; and those that have looks by an assessor and nothing else.
func (s *BidSheet) mobilisations() (pruning, looksOnly []quantity) {
	packages := map[int]map[string]bool{} // by year; true where there is pruning
	for i := range s.Rows {
		r := &s.Rows[i]
		if packages[r.Year] == nil {
			packages[r.Year] = map[string]bool{}
		}
		packages[r.Year][r.Package] = packages[r.Year][r.Package] || !r.isLook()
	}
	for _, year := range slices.Sorted(maps.Keys(packages)) {
		n := map[bool]int{}
		for _, prunes := range packages[year] {
			n[prunes]++
		}
		line := func(work, label string, n int) quantity {
			return quantity{year: year, work: work, label: label, visits: n, hours: float64(n) * s.GroupHours, cost: float64(n) * s.GroupCost}
		}
		if n[true] > 0 {
			pruning = append(pruning, line(mobilisation, perPackage, n[true]))
		}
		if n[false] > 0 {
			looksOnly = append(looksOnly, line(lookMobilisation, perLookPackage, n[false]))
		}
	}
	return pruning, looksOnly
}

// priced are the lines that bidders price: the pruning, then setting up.
func (s *BidSheet) priced() []quantity {
	pruning, _ := s.mobilisations()
	return append(s.quantities(), pruning...)
}

// lineCell says whether a utility line is within reach; empty where that is no
// question.
func (q *quantity) lineCell() any {
	if q.work == mobilisation || q.work == lookMobilisation {
		return nil
	}
	return yesNo(q.line)
}

// bidClass is the class of a tree's stem, with its label in both units.
func bidClass(r *BidRow) (int, string) {
	if !r.Tree.DBH.OK {
		return noClass, "not recorded"
	}
	c := programme.BidClassOf(r.Tree.DBH.V)
	return c.Index, c.Cm + " (" + c.Inches + ")"
}

func yesNo(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}
