package paper

import (
	"cmp"
	"maps"
	"slices"

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

// quantities adds up the rows by year, work, class and lines within reach, in that
// order.
func (s *BidSheet) quantities() []quantity {
	type key struct {
		year, class int
		work        string
		line        bool
	}
	sums := map[key]*quantity{}
	for i := range s.Rows {
		r := &s.Rows[i]
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
