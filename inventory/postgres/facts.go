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
	// about 16 bytes each and as much again for the index.
	defaultStripeVertices = 6_000_000
	// reachMargin is farther than any zone reaches, degrees of latitude.
	reachMargin = 250.0 / 111_000
)

// stripes cuts the site so that no stripe has more vertices than fit.
func (r *recompute) stripes(ctx context.Context, tx pgx.Tx) ([]stripe, error) {
	var vertices int64
	err := tx.QueryRow(ctx, `SELECT coalesce(sum(ST_NPoints(geometry)), 0) FROM targets WHERE client_id = $1 AND site_id = $2`,
		r.site.Client, r.site.ID).Scan(&vertices)
	if err != nil {
		return nil, err
	}
	n := int(vertices/r.db.stripeVertices) + 1
	if n == 1 {
		return []stripe{{whole: true}}, nil
	}
	shares := make([]float64, n-1)
	for i := range shares {
		shares[i] = float64(i+1) / float64(n)
	}
	var cuts []float64
	err = tx.QueryRow(ctx, `
		SELECT percentile_disc($3::float8[]) WITHIN GROUP (ORDER BY ST_XMin(geometry)) FROM targets
		WHERE client_id = $1 AND site_id = $2`, r.site.Client, r.site.ID, shares).Scan(&cuts)
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

// site writes the condition that every query carries.
func (r *recompute) where(alias string) string {
	return fmt.Sprintf("%[1]s.client_id = %[2]d AND %[1]s.site_id = %[3]d", alias, r.site.Client, r.site.ID)
}

// readTargets adds the targets that a stripe's trees can reach.
func (r *recompute) readTargets(ctx context.Context, tx pgx.Tx, s stripe, to *ranking.Stripe) error {
	query := `SELECT target_id, geometry, kind, people_per_hour, people_present, dwell_minutes, vehicles_per_day, speed_mps,
		stalls, share_occupied, turnover_per_day, hours, sheltered FROM targets t WHERE ` + r.where("t")
	if !s.whole {
		// A degree of longitude is shorter than one of latitude: widen by the
		// most that can be at 75 degrees.
		margin := reachMargin * 4
		query += fmt.Sprintf(" AND ST_XMax(geometry) >= %v AND ST_XMin(geometry) <= %v", s.west-margin, s.east+margin)
	}
	return copyOut(ctx, tx, query, chunkBytes, func(chunk []byte) error {
		rows := rowReader{chunk}
		for rows.next() {
			t, err := targetRow(&rows)
			if err != nil {
				return err
			}
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

// treeChunkBytes makes a chunk of some 20,000 trees: enough that neighbours in it
// lie close together on the ground, however the inventory is ordered.
const treeChunkBytes = 2 << 20

// work is a chunk of trees with the cuts and visits that belong to them.
type work struct {
	trees  []byte
	cuts   []inventory.Cut
	visits []inventory.Visit
	result chan outcome
}

// factStream reads trees, cuts and visits side by side, all in the order of the
// tree's id.
type factStream struct {
	recompute *recompute
	stripe    stripe
	cuts      pending[inventory.Cut]
	visits    pending[inventory.Visit]
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

func (f *factStream) read(ctx context.Context, g *errgroup.Group, tx pgx.Tx, emit func(*work) error) error {
	f.cuts = pending[inventory.Cut]{of: func(c *inventory.Cut) inventory.TreeID { return c.Tree },
		more: streamRows(ctx, g, f.recompute, `SELECT tree_id, cut_id, kind, made_year, made_on, diameter_m, bearing_deg, reach_m, decay, regrowth_length_m
			FROM cuts c WHERE `+f.recompute.where("c")+` ORDER BY client_id, tree_id, cut_id`, cutRow)}
	f.visits = pending[inventory.Visit]{of: func(v *inventory.Visit) inventory.TreeID { return v.Tree },
		more: streamRows(ctx, g, f.recompute, `SELECT tree_id, visited_on, whole_tree, crown, limb
			FROM visits v WHERE `+f.recompute.where("v")+` ORDER BY client_id, tree_id, visited_on, visit_id`, visitRow)}
	query := `SELECT tree_id, geometry, status, dbh_m, height_m, crown_radius_m FROM trees t
		WHERE ` + f.recompute.where("t") + ` AND status IN ('alive', 'dead')`
	if !f.stripe.whole {
		query += fmt.Sprintf(" AND ST_X(geometry) >= %v AND ST_X(geometry) < %v", f.stripe.west, f.stripe.east)
	}
	err := copyOut(ctx, tx, query+` ORDER BY client_id, tree_id`, treeChunkBytes, func(chunk []byte) error {
		last := lastTree(chunk)
		cuts, err := f.cuts.upTo(ctx, last)
		if err != nil {
			return err
		}
		visits, err := f.visits.upTo(ctx, last)
		if err != nil {
			return err
		}
		return emit(&work{trees: chunk, cuts: cuts, visits: visits, result: make(chan outcome, 1)})
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
	rows := rowReader{chunk}
	for rows.next() {
		id = rows.int64()
		for range 5 {
			rows.field()
		}
	}
	return inventory.TreeID(id)
}

// streamRows reads a query on a connection of its own and sends its rows in
// lots, until all are taken or ctx ends.
func streamRows[T any](ctx context.Context, g *errgroup.Group, r *recompute, query string, row func(*rowReader) T) <-chan []T {
	out := make(chan []T, 2)
	g.Go(func() error {
		defer close(out)
		tx, err := r.attach(ctx)
		if err != nil {
			return err
		}
		defer tx.Rollback(context.WithoutCancel(ctx))
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
	return out
}

func cutRow(rows *rowReader) inventory.Cut {
	return inventory.Cut{
		Tree: inventory.TreeID(rows.int64()), ID: inventory.CutID(rows.int64()), Kind: inventory.CutKind(rows.text()),
		Year: rows.int16(), On: rows.date(), Diameter: rows.float64(), Bearing: rows.float64(), Reach: rows.float64(),
		Decay: rows.bool(), RegrowthLength: rows.float64(),
	}
}

func visitRow(rows *rowReader) inventory.Visit {
	v := inventory.Visit{Tree: inventory.TreeID(rows.int64()), On: rows.date().V}
	for _, to := range []*inventory.Likelihood{&v.WholeTree, &v.Crown, &v.Limb} {
		*to, _ = inventory.ParseLikelihood(rows.text())
	}
	return v
}
