package postgres

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb/encoding/ewkb"
	"golang.org/x/sync/errgroup"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

// stripe is the part of a site between two meridians. A tree belongs to the
// stripe that its point lies in; the targets are those within reach of any.
type stripe struct {
	whole      bool
	west, east float64 // west <= longitude < east
}

const (
	// defaultStripeVertices is how many target vertices are kept in memory at a time:
	// about 16 bytes each and as much again for the index. Each further stripe reads
	// through all trees again.
	defaultStripeVertices = 15_000_000
	// reachMargin is farther than any zone reaches, degrees of latitude.
	reachMargin = 250.0 / 111_000
)

// stripes cuts the site so that no stripe has more vertices than fit.
func (w *sweeper) stripes(ctx context.Context) ([]stripe, error) {
	from := w.from("targets", "t") + ` WHERE ` + w.where("t")
	var vertices int64
	if err := w.tx.QueryRow(ctx, `SELECT coalesce(sum(ST_NPoints(geometry)), 0) FROM `+from).Scan(&vertices); err != nil {
		return nil, err
	}
	n := int(vertices/w.db.stripeVertices) + 1
	if n == 1 {
		return []stripe{{whole: true}}, nil
	}
	shares := make([]float64, n-1)
	for i := range shares {
		shares[i] = float64(i+1) / float64(n)
	}
	var cuts []float64
	err := w.tx.QueryRow(ctx, `SELECT percentile_disc($1::float8[]) WITHIN GROUP (ORDER BY ST_XMin(geometry)) FROM `+from, shares).Scan(&cuts)
	if err != nil {
		return nil, err
	}
	out := make([]stripe, 0, n)
	west := -181.0
	for _, east := range append(cuts, 181) {
		if east > west {
			out = append(out, stripe{west: west, east: east})
			west = east
		}
	}
	return out, nil
}

// readTargets adds the targets that a stripe's trees can reach, in the order of
// their ids: sums over targets then come out alike to the last bit, whoever
// reads them.
func (w *sweeper) readTargets(ctx context.Context, s stripe, to *ranking.Stripe) error {
	query := `SELECT target_id, geometry, kind, people_per_hour, people_present, dwell_minutes, vehicles_per_day, speed_mps,
		stalls, share_occupied, turnover_per_day, hours, sheltered FROM ` + w.from("targets", "t") + ` WHERE ` + w.where("t")
	if !s.whole {
		// A degree of longitude is shorter than one of latitude: widen by the
		// most that can be at 75 degrees.
		margin := reachMargin * 4
		query += fmt.Sprintf(" AND ST_XMax(geometry) >= %v AND ST_XMin(geometry) <= %v", s.west-margin, s.east+margin)
	}
	return copyOut(ctx, w.tx, query+` ORDER BY client_id, target_id`, chunkBytes, func(chunk []byte) error {
		rows := rowReader{chunk}
		for rows.next() {
			t, err := targetRow(&rows)
			if err != nil {
				return err
			}
			w.counted[t.ID].put(&t)
			if err := to.Add(t); err != nil {
				return err
			}
		}
		return nil
	})
}

func targetRow(rows *rowReader) (inventory.Target, error) {
	t := inventory.Target{ID: inventory.TargetID(rows.int64())}
	g, _, err := ewkb.Unmarshal(rows.field())
	if err != nil {
		return t, fmt.Errorf("target %d: %w", t.ID, err)
	}
	t.Geometry = g
	t.Kind = inventory.TargetKind(rows.text())
	t.PeoplePerHour, t.PeoplePresent, t.DwellMinutes = rows.float64(), rows.float64(), rows.float64()
	t.VehiclesPerDay, t.Speed, t.Stalls = rows.float64(), rows.float64(), rows.float64()
	t.ShareOccupied, t.TurnoverPerDay = rows.float64(), rows.float64()
	t.Hours, t.PeopleSheltered = rows.text(), rows.bool()
	return t, nil
}

// counted is what was counted at a target.
type counted struct{ people, vehicles *inventory.CountedWeek }

func (c counted) put(t *inventory.Target) { t.PeopleCounted, t.VehiclesCounted = c.people, c.vehicles }

// readCounts folds counts into weeks: the mean of each hour of the week. The
// order within a mean is fixed, for the sake of its last bit.
func readCounts(ctx context.Context, tx pgx.Tx, from, where string, args ...any) (map[inventory.TargetID]counted, error) {
	rows, err := tx.Query(ctx, `
		SELECT n.target_id, ((extract(isodow FROM n.counted_at) - 1) * 24 + extract(hour FROM n.counted_at))::int AS hour,
		       avg(n.people ORDER BY n.counted_at), count(n.people)::int, avg(n.vehicles ORDER BY n.counted_at), count(n.vehicles)::int
		FROM `+from+` WHERE `+where+` GROUP BY 1, 2`, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	found := make(map[inventory.TargetID]counted)
	for rows.Next() {
		var id inventory.TargetID
		var hour int
		var mean [2]*float64
		var seen [2]int32
		if err := rows.Scan(&id, &hour, &mean[0], &seen[0], &mean[1], &seen[1]); err != nil {
			return nil, err
		}
		c := found[id]
		for i, to := range []**inventory.CountedWeek{&c.people, &c.vehicles} {
			if mean[i] == nil {
				continue
			}
			if *to == nil {
				*to = &inventory.CountedWeek{}
			}
			(*to).PerHour[hour], (*to).Seen[hour] = *mean[i], seen[i]
		}
		found[id] = c
	}
	return found, rows.Err()
}

// treeChunkBytes makes a chunk of some 500,000 trees: enough that neighbours in
// it lie close together on the ground, however the inventory is ordered.
const treeChunkBytes = 64 << 20

// chunk is some trees as they came, in the order of their ids, with the cuts and
// visits that belong to them.
type chunk struct {
	rows   []byte
	cuts   []inventory.Cut
	visits []inventory.Visit
}

// factStream reads trees, cuts and visits side by side, all in the order of the
// tree's id.
type factStream struct {
	*sweeper
	stripe stripe
	cuts   pending[inventory.Cut]
	visits pending[inventory.Visit]
}

// pending is a stream of rows of which some were read ahead.
type pending[T any] struct {
	more  <-chan []T
	ahead []T
	of    func(*T) inventory.TreeID
}

// upTo takes the rows of trees up to and including id.
func (p *pending[T]) upTo(ctx context.Context, id inventory.TreeID) ([]T, error) {
	var out []T
	for {
		n := 0
		for n < len(p.ahead) && p.of(&p.ahead[n]) <= id {
			n++
		}
		out = append(out, p.ahead[:n]...)
		p.ahead = p.ahead[n:]
		if len(p.ahead) > 0 {
			return out, nil
		}
		select {
		case rows, ok := <-p.more:
			if !ok {
				return out, ctx.Err()
			}
			p.ahead = rows
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// treeStream are the columns of a tree that decoder.tree reads.
const treeStream = `tree_id, geometry, status, dbh_m, height_m, crown_radius_m, species, lean_deg, lean_bearing_deg, brittle,
	crown_north_m, crown_east_m, crown_south_m, crown_west_m, crown`

const treeStreamFields = 15

func (f *factStream) read(ctx context.Context, g *errgroup.Group, emit func(*chunk) error) error {
	f.cuts = pending[inventory.Cut]{of: func(c *inventory.Cut) inventory.TreeID { return c.Tree },
		more: streamRows(ctx, g, f.sweeper, `SELECT `+cutStream+` FROM `+f.from("cuts", "c")+` WHERE `+f.where("c")+` AND c.gone_on IS NULL ORDER BY client_id, tree_id, cut_id`, cutRow)}
	f.visits = pending[inventory.Visit]{of: func(v *inventory.Visit) inventory.TreeID { return v.Tree },
		more: streamRows(ctx, g, f.sweeper, `SELECT `+visitStream+` FROM `+f.from("visits", "v")+` WHERE `+f.where("v")+` ORDER BY client_id, tree_id, visited_on, visit_id`, visitRow)}
	query := `SELECT ` + treeStream + ` FROM ` + f.from("trees", "t") + ` WHERE ` + f.where("t") + ` AND status IN ('alive', 'dead')`
	if !f.stripe.whole {
		query += fmt.Sprintf(" AND ST_X(geometry) >= %v AND ST_X(geometry) < %v", f.stripe.west, f.stripe.east)
	}
	err := f.db.reading(inSnapshot(ctx, f.snapshot), func(tx pgx.Tx) error {
		return copyOut(ctx, tx, query+` ORDER BY client_id, tree_id`, treeChunkBytes, func(rows []byte) error {
			c := &chunk{rows: rows}
			last := lastTree(rows)
			var err error
			if c.cuts, err = f.cuts.upTo(ctx, last); err != nil {
				return err
			}
			if c.visits, err = f.visits.upTo(ctx, last); err != nil {
				return err
			}
			return emit(c)
		})
	})
	if err != nil {
		return err
	}
	// What is left belongs to trees no longer standing; the readers wait until
	// somebody takes it.
	for range f.cuts.more {
	}
	for range f.visits.more {
	}
	return nil
}

// lastTree returns the id of a chunk's last tree.
func lastTree(chunk []byte) inventory.TreeID {
	var id int64
	for rows := (rowReader{chunk}); rows.next(); {
		id = rows.int64()
		rows.skip(treeStreamFields - 1)
	}
	return inventory.TreeID(id)
}

// streamRows reads a query on a connection of its own and sends its rows in
// lots, until all are taken or ctx ends.
func streamRows[T any](ctx context.Context, g *errgroup.Group, w *sweeper, query string, row func(*rowReader) T) <-chan []T {
	out := make(chan []T, 2)
	g.Go(func() (err error) {
		defer inventory.Recover(&err)
		defer close(out)
		return w.db.reading(inSnapshot(ctx, w.snapshot), func(tx pgx.Tx) error {
			return copyOut(ctx, tx, query, chunkBytes, func(chunk []byte) error {
				var lot []T
				rows := rowReader{chunk}
				for rows.next() {
					lot = append(lot, row(&rows))
				}
				select {
				case out <- lot:
					return nil
				case <-ctx.Done():
					return ctx.Err()
				}
			})
		})
	})
	return out
}

// cutStream are the columns that cutRow reads: what the engine looks at.
const cutStream = `tree_id, cut_id, kind, made_year, made_on, diameter_m, lateral_diameter_m, bearing_deg, reach_m, stub_length_m, bare_share,
	closure, decay, regrowth_length_m, regrowth_diameter_m, regrowth_count`

func cutRow(rows *rowReader) inventory.Cut {
	return inventory.Cut{
		Tree: inventory.TreeID(rows.int64()), ID: inventory.CutID(rows.int64()), Kind: inventory.CutKind(rows.text()),
		Year: rows.int16(), On: rows.date(), Diameter: rows.float64(), LateralDiameter: rows.float64(),
		Bearing: rows.float64(), Reach: rows.float64(), StubLength: rows.float64(), BareShare: rows.float64(),
		Closure: rows.float64(), Decay: rows.bool(), RegrowthLength: rows.float64(), RegrowthDiameter: rows.float64(), RegrowthCount: rows.int32(),
	}
}

// visitStream are the columns that visitRow reads.
const visitStream = `tree_id, visit_id, visited_on, whole_tree, crown, limb, stem_diameter_m, decay_diameter_m, sound_wall_m, opening_share, other_points`

func visitRow(rows *rowReader) inventory.Visit {
	v := inventory.Visit{Tree: inventory.TreeID(rows.int64()), ID: inventory.VisitID(rows.int64()), On: rows.date().V}
	for _, to := range []*inventory.Likelihood{&v.WholeTree, &v.Crown, &v.Limb} {
		*to, _ = inventory.ParseLikelihood(rows.text())
	}
	v.StemDiameter, v.DecayDiameter, v.SoundWall, v.OpeningShare = rows.float64(), rows.float64(), rows.float64(), rows.float64()
	v.OtherPoints = rows.int16()
	return v
}
