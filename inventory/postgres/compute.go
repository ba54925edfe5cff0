package postgres

import (
	"slices"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/ranking"
)

// exposureColumns are written in this order by computer.write.
const exposureColumns = `client_id, site_id, generation, tree_id, over, over_length_m, over_area_m2, over_points, within,
	people, people_in_vehicles, people_sheltered, vehicles, people_within, vehicles_within, busiest_people, busiest_hour, occupied,
	likelihood, part, cut_id, rule, stale, harm, harm_people, harm_property, rating,
	height_m, height_estimated, crown_radius_m, crown_estimated`

const exposureFields = 31

// outcome is what became of a chunk of trees.
type outcome struct {
	rows            []byte
	trees, overlaps int64
}

// computer assesses chunks of trees; it belongs to one goroutine.
type computer struct {
	recompute *recompute
	assessor  *ranking.Assessor
	facts     ranking.Facts
	kinds     []int
	over      []string
	within    []string
	lengths   []float64
	areas     []float64
	points    []int
}

func (c *computer) compute(w *work) (outcome, error) {
	var out outcome
	buf := copyBuffer{b: make([]byte, 0, 2*len(w.trees))}
	rows := rowReader{w.trees}
	cuts, visits := w.cuts, w.visits
	for rows.next() {
		t := &c.facts.Tree
		*t = inventory.Tree{ID: inventory.TreeID(rows.int64())}
		var err error
		if t.Point, err = rows.point(); err != nil {
			return out, err
		}
		t.Status = status(rows.field())
		t.DBH, t.Height, t.CrownRadius = rows.float64(), rows.float64(), rows.float64()
		c.facts.Cuts, cuts = ofTree(cuts, t.ID, func(c *inventory.Cut) inventory.TreeID { return c.Tree })
		c.facts.Visits, visits = ofTree(visits, t.ID, func(v *inventory.Visit) inventory.TreeID { return v.Tree })
		a := c.assessor.Assess(&c.facts)
		c.write(&buf, a)
		out.trees++
		out.overlaps += int64(a.Overlaps)
	}
	out.rows = buf.b
	return out, nil
}

// status avoids a string a row for the two words that are read.
func status(b []byte) inventory.TreeStatus {
	if string(b) == string(inventory.Dead) {
		return inventory.Dead
	}
	return inventory.Alive
}

// ofTree splits off the rows of one tree; rows of trees passed over (stumps,
// removed trees) are dropped.
func ofTree[T any](rows []T, id inventory.TreeID, of func(*T) inventory.TreeID) (mine, rest []T) {
	for len(rows) > 0 && of(&rows[0]) < id {
		rows = rows[1:]
	}
	n := 0
	for n < len(rows) && of(&rows[n]) == id {
		n++
	}
	return rows[:n], rows[n:]
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
