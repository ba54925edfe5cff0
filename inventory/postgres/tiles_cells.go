package postgres

import (
	"math"
	"strings"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/tiling"
)

// treeCell is what the trees of a cell come to. Sums are kept in millionths as
// whole numbers, whose sum is the same in any order: the rows then need none.
type treeCell struct {
	trees                  int64
	people, vehicles, harm int64
	worst                  int64 // the tree of the most harm, of those the one of the least id
	most                   float64
	ratings                []int32 // by code; made with the first
}

const millionths = 1e6

func inMillionths(v float64) int64 { return int64(math.Round(v * millionths)) }

// sumTrees sums the trees up by cell; ring takes in the cells around the tile.
func (r *tileReader) sumTrees(ring bool) (cells tiling.Cells, sums []treeCell, err error) {
	cells = tiling.NewCells(r.query.Tile, inventory.CellsPerTile)
	sums = make([]treeCell, cells.Len())
	add := func(p *tiling.Placed) {
		at, within := cells.At(p.At())
		if at >= 0 && (within || ring) {
			sums[at].add(p)
		}
	}
	if r.query.State == "" {
		around := 1.0
		if ring {
			around += tiling.Extent / inventory.CellsPerTile
		}
		return cells, sums, r.placed(tileRows{around: around}, add)
	}
	tiles := []tiling.Tile{r.query.Tile}
	if ring {
		tiles = r.query.Tile.Around()
	}
	return cells, sums, r.eachGathered(tiles, add)
}

// eachGathered hands on the trees of some tiles that the filter holds for, from
// what is gathered of their sites.
func (r *tileReader) eachGathered(tiles []tiling.Tile, fn func(*tiling.Placed)) error {
	for _, site := range r.sites {
		if r.query.Site.OK && site.ID != int64(r.query.Site.V) {
			continue
		}
		g, err := r.db.gatheredOf(r.ctx, r.query.Client, site, r.query.State)
		if err != nil {
			return err
		}
		set, err := r.db.matching(r.ctx, g, site, r.query.Filter)
		if err != nil {
			return err
		}
		for _, t := range tiles {
			from, to := g.trees.In(t)
			for i := from; i < to; i++ {
				if set.has(int32(i)) && !g.more[i].nowhere {
					fn(&g.trees[i])
				}
			}
		}
	}
	return nil
}

func (c *treeCell) add(p *tiling.Placed) {
	harm := -1.0
	if p.Rated {
		harm = p.Harm
		c.people += inMillionths(float64(p.People))
		c.vehicles += inMillionths(float64(p.Vehicles))
		c.harm += inMillionths(harm * 1000)
		if c.ratings == nil {
			c.ratings = make([]int32, len(ratingWords))
		}
		c.ratings[p.Rating]++
	}
	if c.trees == 0 || harm > c.most || harm == c.most && p.ID < c.worst {
		c.worst, c.most = p.ID, harm
	}
	c.trees++
}

// placed hands on trees as they come.
func (r *tileReader) placed(w tileRows, fn func(*tiling.Placed)) error {
	w.collection, w.needs, w.unordered = "trees", "e", true
	w.columns = only("t.tree_id, t.geometry, e.rating, e.harm, " + peopleSQL + ", e.vehicles")
	return r.rows(w, func(raw [][]byte) error {
		at, err := pointOf(raw[1])
		if err != nil || !tiling.Finite(at) {
			return err
		}
		p := tiling.Placed{ID: integer(raw[0]), Rated: raw[2] != nil}
		p.Put(at)
		if p.Rated {
			p.Rating, p.Harm, p.People, p.Vehicles = uint8(integer(raw[2])), number(raw[3]), float32(number(raw[4])), float32(number(raw[5]))
		}
		fn(&p)
		return nil
	})
}

// exposure makes the layer of the sums.
func (r *tileReader) exposure() error {
	cells, sums, err := r.sumTrees(false)
	if err != nil {
		return err
	}
	l := r.layer
	for at := range sums {
		c := &sums[at]
		square, ok := cells.Within(at)
		if !ok || c.trees == 0 {
			continue
		}
		l.Begin(cells.ID(at))
		l.Int("trees", c.trees)
		rated := int64(0)
		for code, n := range c.ratings {
			if n > 0 {
				l.Int(ratingKeys[code], int64(n))
				rated += int64(n)
			}
		}
		if rated < c.trees {
			l.Int("rating_none", c.trees-rated)
		}
		if rated > 0 {
			l.Float("people", threeDigits(float64(c.people)/millionths))
			l.Float("vehicles", threeDigits(float64(c.vehicles)/millionths))
			l.Float("harm_sum", threeDigits(float64(c.harm)/millionths))
			l.Float("harm_max", threeDigits(c.most*1000))
		}
		l.Ring(square, false)
		l.End()
	}
	return nil
}

// ratingKeys are the names under which trees of a rating are counted, by code.
var ratingKeys = wordsOf(len(ratingWords), func(code int) string { return "rating_" + strings.ReplaceAll(ratingWords[code], " ", "_") })

// treesByCell makes a layer with the worst tree of each cell, and of the cells
// next to the tile, so that none is cut at its side.
func (r *tileReader) treesByCell() error {
	cells, sums, err := r.sumTrees(true)
	if err != nil {
		return err
	}
	var ids []int64
	cellOf := make(map[int64]int)
	for i := range sums {
		if c := &sums[i]; c.trees > 0 {
			ids = append(ids, c.worst)
			cellOf[c.worst] = i
		}
	}
	if len(ids) == 0 {
		return nil
	}
	words := wordList{}
	r.query.Filter = nil // they have passed it
	worst := tileRows{collection: "trees", needs: treeNeeds, columns: only(treeTileColumns), anywhere: true,
		more: func(f *featureSQL) string { return " AND t.tree_id = ANY(" + f.arg(ids) + ")" }}
	return r.rows(worst, func(raw [][]byte) error {
		p, err := pointOf(raw[1])
		if err != nil {
			return err
		}
		at := cellOf[integer(raw[0])]
		r.tree(raw, cells.Into(at, tiling.Unit(r.query.Tile.Place(p))), sums[at].trees, &words)
		return nil
	})
}

// targetCell is what the targets of a cell come to.
type targetCell struct {
	targets int64
	first   int64 // the least id
	where   orb.Point
	kinds   map[string]int64
}

// targetsByCell makes a layer with a point for each cell that a target's middle
// lies in, and counts.
func (r *tileReader) targetsByCell() error {
	cells := tiling.NewCells(r.query.Tile, inventory.CellsPerTile)
	sums := make([]targetCell, cells.Len())
	columns := only("g.target_id, ST_XMin(g.geometry), ST_YMin(g.geometry), ST_XMax(g.geometry), ST_YMax(g.geometry), g.kind")
	err := r.rows(tileRows{collection: "targets", columns: columns, around: tiling.Extent/inventory.CellsPerTile + 1, unordered: true}, func(raw [][]byte) error {
		if raw[1] == nil { // empty
			return nil
		}
		middle := orb.Point{(number(raw[1]) + number(raw[3])) / 2, (number(raw[2]) + number(raw[4])) / 2}
		if !tiling.Finite(middle) {
			return nil
		}
		at, _ := cells.At(tiling.Project(middle))
		if at < 0 {
			return nil
		}
		c := &sums[at]
		if id := integer(raw[0]); c.targets == 0 || id < c.first {
			c.first, c.where = id, middle
		}
		c.targets++
		if c.kinds == nil {
			c.kinds = make(map[string]int64)
		}
		c.kinds[string(raw[5])]++
		return nil
	})
	if err != nil {
		return err
	}
	l := r.layer
	for i := range sums {
		c := &sums[i]
		if c.targets == 0 {
			continue
		}
		l.Begin(c.first)
		l.Int("targets", c.targets)
		for _, k := range inventory.TargetKinds {
			if n := c.kinds[string(k)]; n > 0 {
				l.Int(string(k), n)
			}
		}
		l.Points(cells.Into(i, tiling.Unit(r.query.Tile.Place(c.where))))
		l.End()
	}
	return nil
}
