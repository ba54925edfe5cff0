package postgres

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"math"
	"slices"
	"sort"
	"strconv"
	"sync"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
	"github.com/underbough/underbough/inventory/tiling"
)

// orderCache keeps the orders that were asked for.
type orderCache struct {
	mu   sync.Mutex
	made map[string][]int32
}

// treeOrder is an order that trees are kept in: the most of a figure first, then
// by tag and by id, what has none of either last.
type treeOrder struct {
	by    string
	value func(p *tiling.Placed, m *treeMore) float64 // of a tree that is rated
}

// keyed is a tree with what decides its place.
type keyed struct {
	value float64
	tag   uint64
	at    int32
}

// firstBytes are the first eight bytes of a tag, in the order of the tags; the
// most there is for none.
func firstBytes(tag []byte) uint64 {
	if tag == nil {
		return math.MaxUint64 // no text begins so: 255 is no byte of UTF-8
	}
	var b [8]byte
	copy(b[:], tag)
	return binary.BigEndian.Uint64(b[:])
}

// sorted returns the trees in an order.
func (g *gathered) sorted(o *treeOrder) []int32 {
	c := &g.orders
	c.mu.Lock()
	defer c.mu.Unlock()
	if list, ok := c.made[o.by]; ok {
		return list
	}
	all := make([]keyed, len(g.trees))
	for i := range g.trees {
		at := int32(i)
		all[i] = keyed{value: g.valueOf(o, at), tag: firstBytes(g.tag(at)), at: at}
	}
	// The first bytes of the tags lie side by side: most trees are put in order
	// without a look at anything else.
	slices.SortFunc(all, func(a, b keyed) int {
		switch {
		case a.value != b.value:
			return cmp.Compare(b.value, a.value)
		case a.tag != b.tag:
			return cmp.Compare(a.tag, b.tag)
		}
		return g.byTag(a.at, b.at)
	})
	list := make([]int32, len(all))
	for i := range all {
		list[i] = all[i].at
	}
	if c.made == nil {
		c.made = make(map[string][]int32)
	}
	c.made[o.by] = list
	return list
}

// unrated stands for no figure: no tree has less than nothing.
const unrated = -1

func (g *gathered) valueOf(o *treeOrder, at int32) float64 {
	if p := &g.trees[at]; p.Rated {
		return o.value(p, &g.more[at])
	}
	return unrated
}

// byTag puts trees of one figure in order: by the bytes of their tags, those that
// have none last, then by id.
func (g *gathered) byTag(a, b int32) int {
	x, y := g.tag(a), g.tag(b)
	switch {
	case x == nil && y != nil:
		return 1
	case x != nil && y == nil:
		return -1
	}
	if c := bytes.Compare(x, y); c != 0 {
		return c
	}
	return cmp.Compare(g.trees[a].ID, g.trees[b].ID)
}

// treeOrders are the orders that are kept, by the property whose greatest values
// come first. The figures are those that are served, as the SQL of a sorted page
// has them (roundedSQL): it is the same arithmetic to the bit.
var treeOrders = map[string]*treeOrder{
	"harm_index": {"harm_index", func(p *tiling.Placed, _ *treeMore) float64 { return rounded(p.Harm*1000, 1e6) }},
	"person_hours_year": {"person_hours_year", func(_ *tiling.Placed, m *treeMore) float64 {
		return rounded(m.persons*ranking.HoursPerYear, 10)
	}},
}

func rounded(v, scale float64) float64 { return math.RoundToEven(v*scale) / scale }

// treeOrderOf is the order that a page is asked in, where it is kept: a figure
// from the greatest, then the tag.
func treeOrderOf(order []inventory.SortKey) *treeOrder {
	if len(order) != 2 || !order[0].Descending || order[1] != (inventory.SortKey{Property: "tag"}) {
		return nil
	}
	return treeOrders[order[0].Property]
}

// after is the first place in an order behind a cursor.
func (g *gathered) after(o *treeOrder, list []int32, c inventory.Cursor) (int, bool) {
	if len(c.Keys) != 2 {
		return 0, false
	}
	value := float64(unrated)
	if c.Keys[0] != nil {
		var err error
		if value, err = strconv.ParseFloat(*c.Keys[0], 64); err != nil || value < 0 || math.IsNaN(value) {
			return 0, false
		}
	}
	return sort.Search(len(list), func(i int) bool {
		at := list[i]
		if by := cmp.Compare(value, g.valueOf(o, at)); by != 0 {
			return by > 0
		}
		tag := g.tag(at)
		switch {
		case c.Keys[1] == nil && tag != nil:
			return false
		case c.Keys[1] != nil && tag == nil:
			return true
		case tag != nil:
			if by := bytes.Compare(tag, []byte(*c.Keys[1])); by != 0 {
				return by > 0
			}
		}
		return g.trees[at].ID > c.IDs[0]
	}), true
}

// cursor is where a page goes on after a tree.
func (g *gathered) cursor(o *treeOrder, at int32) (c inventory.Cursor) {
	c.IDs[0], c.Keys = g.trees[at].ID, make([]*string, 2)
	if v := g.valueOf(o, at); v != unrated {
		text := strconv.FormatFloat(v, 'g', -1, 64)
		c.Keys[0] = &text
	}
	if tag := g.tag(at); tag != nil {
		text := string(tag)
		c.Keys[1] = &text
	}
	return c
}
