package postgres

import (
	"cmp"
	"slices"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/ranking"
)

// exposureColumns are written in this order by computer.write.
const exposureColumns = `client_id, site_id, generation, tree_id, over, over_length_m, over_area_m2, over_points, within,
	people, people_in_vehicles, people_sheltered, vehicles, people_within, vehicles_within, busiest_people, busiest_hour, occupied,
	likelihood, part, part_people, part_vehicles, cut_id, rule, stale, harm, harm_people, harm_property, rating,
	height_m, height_estimated, crown_radius_m, crown_estimated`

const exposureFields = 33

// outcome is what became of a chunk of trees.
type outcome struct {
	rows            []byte
	trees, overlaps int64
}

// computer assesses chunks of trees; it belongs to one goroutine.
type computer struct {
	recompute *recompute
	assessor  *ranking.Assessor
	used      <-chan []byte // chunks that were written, for reuse
	trees     []standing
	turns     []turn
	facts     ranking.Facts
	kinds     []int
	over      []string
	within    []string
	lengths   []float64
	areas     []float64
	points    []int
}

// standing is a tree of a chunk with the places of its cuts and visits.
type standing struct {
	tree         inventory.Tree
	cuts, visits [2]int // from, to
}

// turn is the place of a tree in a chunk, to be sorted by where it stands.
type turn struct {
	key uint64
	at  int32
}

// compute assesses a chunk. Trees are taken in the order in which they lie on
// the ground, so that those after one another meet the same targets while the
// processor still has them at hand.
func (c *computer) compute(w *work) (outcome, error) {
	if err := c.decode(w); err != nil {
		return outcome{}, err
	}
	slices.SortFunc(c.turns, func(a, b turn) int { return cmp.Compare(a.key, b.key) })
	var out outcome
	var buf copyBuffer
	select {
	case b := <-c.used:
		buf.b = b[:0]
	default:
		buf.b = make([]byte, 0, 256*len(c.trees))
	}
	for _, next := range c.turns {
		t := &c.trees[next.at]
		c.facts.Tree = t.tree
		c.facts.Cuts = w.cuts[t.cuts[0]:t.cuts[1]]
		c.facts.Visits = w.visits[t.visits[0]:t.visits[1]]
		a := c.assessor.Assess(&c.facts)
		c.write(&buf, a)
		out.trees++
		out.overlaps += int64(a.Overlaps)
	}
	out.rows = buf.b
	return out, nil
}

// decode reads a chunk's trees and finds the cuts and visits of each.
func (c *computer) decode(w *work) error {
	c.trees, c.turns = c.trees[:0], c.turns[:0]
	rows := rowReader{w.trees}
	cut, visit := 0, 0
	for rows.next() {
		c.trees = append(c.trees, standing{})
		s := &c.trees[len(c.trees)-1]
		t := &s.tree
		t.ID = inventory.TreeID(rows.int64())
		var err error
		if t.Point, err = rows.point(); err != nil {
			return err
		}
		t.Status = status(rows.field())
		t.DBH, t.Height, t.CrownRadius = rows.float64(), rows.float64(), rows.float64()
		s.cuts = ofTree(w.cuts, &cut, t.ID, func(c *inventory.Cut) inventory.TreeID { return c.Tree })
		s.visits = ofTree(w.visits, &visit, t.ID, func(v *inventory.Visit) inventory.TreeID { return v.Tree })
		c.turns = append(c.turns, turn{key: alongGround(t.Point), at: int32(len(c.turns))})
	}
	return nil
}

// alongGround is a key by which places near one another are mostly near in
// order: the bits of a grid of about 150 m, interleaved.
func alongGround(p orb.Point) uint64 {
	return spread(uint32((p[0]+180)*740)) | spread(uint32((p[1]+90)*740))<<1
}

// spread puts a zero between the bits of v.
func spread(v uint32) uint64 {
	x := uint64(v)
	x = (x | x<<16) & 0x0000ffff0000ffff
	x = (x | x<<8) & 0x00ff00ff00ff00ff
	x = (x | x<<4) & 0x0f0f0f0f0f0f0f0f
	x = (x | x<<2) & 0x3333333333333333
	return (x | x<<1) & 0x5555555555555555
}

// status avoids a string a row for the two words that are read.
func status(b []byte) inventory.TreeStatus {
	if string(b) == string(inventory.Dead) {
		return inventory.Dead
	}
	return inventory.Alive
}

// ofTree finds the rows of one tree from at on; rows of trees passed over
// (stumps, removed trees) are skipped.
func ofTree[T any](rows []T, at *int, id inventory.TreeID, of func(*T) inventory.TreeID) [2]int {
	for *at < len(rows) && of(&rows[*at]) < id {
		*at++
	}
	from := *at
	for *at < len(rows) && of(&rows[*at]) == id {
		*at++
	}
	return [2]int{from, *at}
}

// write appends a tree's row.
func (c *computer) write(w *copyBuffer, a *ranking.Assessment) {
	r := c.recompute
	whole := &a.Parts[0].Exposure
	worst := &a.Parts[a.Worst]
	c.gather(a)

	w.row(exposureFields)
	w.int32(int32(r.site.Client))
	w.int64(int64(r.site.ID))
	w.int64(r.run.Generation)
	w.int64(int64(c.facts.Tree.ID))
	w.texts(c.over)
	w.float32s(c.lengths)
	w.float32s(c.areas)
	w.int32s(c.points)
	w.texts(c.within)
	for _, v := range [...]float64{
		a.Count.People, a.Count.InVehicles, a.Count.Sheltered, a.Count.Vehicles,
		whole.Count.Persons(), whole.Count.Vehicles, a.Week.Busiest,
	} {
		w.float32(v)
	}
	w.int16(int16(a.Week.BusiestHour))
	w.float32(a.Week.Occupied)
	w.text(worst.Judgement.Likelihood.String())
	w.text(worst.Part.String())
	w.float32(worst.Exposure.Count.Persons())
	w.float32(worst.Exposure.Count.Vehicles)
	if worst.Cut >= 0 {
		w.int64(int64(c.facts.Cuts[worst.Cut].ID))
	} else {
		w.null()
	}
	w.text(worst.Judgement.Rule.String())
	w.bool(worst.Judgement.Stale)
	w.float64(a.Harm)
	w.float64(a.HarmPeople)
	w.float64(a.HarmProperty)
	w.text(a.Rating.String())
	w.float32(a.Dimensions.Height)
	w.bool(a.Dimensions.HeightEstimated)
	w.float32(a.Dimensions.CrownRadius)
	w.bool(a.Dimensions.CrownRadiusEstimated)
}

// gather lists the kinds of target under the crown or any limb, those with the
// most people first, with the most that any one of these parts covers; and the
// kinds in reach of the whole tree.
func (c *computer) gather(a *ranking.Assessment) {
	c.over, c.within, c.kinds = c.over[:0], c.within[:0], c.kinds[:0]
	c.lengths, c.areas, c.points = c.lengths[:0], c.areas[:0], c.points[:0]
	var most [16]exposure.Amount
	for i := range a.Parts {
		for k := range a.Parts[i].Exposure.ByKind {
			amount := &a.Parts[i].Exposure.ByKind[k]
			if !amount.Met() {
				continue
			}
			if i == 0 {
				c.within = append(c.within, string(inventory.TargetKinds[k]))
				continue
			}
			if !most[k].Met() {
				c.kinds = append(c.kinds, k)
			}
			most[k] = larger(most[k], *amount)
		}
	}
	slices.SortStableFunc(c.kinds, func(x, y int) int {
		switch px, py := most[x].Count.Persons(), most[y].Count.Persons(); {
		case px > py:
			return -1
		case px < py:
			return 1
		}
		return x - y
	})
	for _, k := range c.kinds {
		c.over = append(c.over, string(inventory.TargetKinds[k]))
		c.lengths = append(c.lengths, most[k].LengthM)
		c.areas = append(c.areas, most[k].AreaM2)
		c.points = append(c.points, most[k].Points)
	}
}

func larger(a, b exposure.Amount) exposure.Amount {
	if b.AreaM2 > a.AreaM2 || b.AreaM2 == a.AreaM2 && b.LengthM > a.LengthM || b.Points > a.Points {
		return b
	}
	return a
}
