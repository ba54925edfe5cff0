package question

import (
	"context"
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/crs"
)

// projectedAtOnce is how many computed features are transformed together.
const projectedAtOnce = 500

// projector transforms the geometries of computed features, many at a time, and
// hands the features on in their order.
type projector struct {
	store inventory.ReferenceStore
	srid  int
	fn    func(*inventory.Feature) error
	held  []inventory.Feature
	wkb   [][]byte
}

// findProjected is Find for a computed collection in a reference system of its
// own.
func (s *Features) findProjected(ctx context.Context, q inventory.FeatureQuery, fn func(*inventory.Feature) error) (inventory.Opt[inventory.Cursor], error) {
	p := &projector{store: s.Store, srid: q.SRID, fn: fn}
	q.SRID = 0
	rest, err := s.Find(ctx, q, func(f *inventory.Feature) error { return p.hold(ctx, f) })
	if err == nil {
		err = p.release(ctx)
	}
	return rest, err
}

// hold keeps a feature until enough are held.
func (p *projector) hold(ctx context.Context, f *inventory.Feature) error {
	held := *f
	held.Values = slices.Clone(f.Values)
	p.held = append(p.held, held)
	if len(p.held) < projectedAtOnce {
		return nil
	}
	return p.release(ctx)
}

// release hands on all that are held.
func (p *projector) release(ctx context.Context) error {
	p.wkb = p.wkb[:0]
	for i := range p.held {
		if g := p.held[i].Geometry; g != nil {
			b, err := wkb.Marshal(g)
			if err != nil {
				return err
			}
			p.wkb = append(p.wkb, b)
		}
	}
	projected, err := p.store.Project(ctx, crs.WGS84, p.srid, p.wkb)
	if err != nil {
		return err
	}
	held := p.held
	p.held = p.held[:0]
	for i := range held {
		f := &held[i]
		if f.Geometry != nil {
			f.EWKB, f.Geometry, projected = projected[0], nil, projected[1:]
		}
		if err := p.fn(f); err != nil {
			return err
		}
	}
	return nil
}

// Area returns what a box of another reference system, x first, covers of the
// globe, in degrees. The box must lie where that system holds: what it comes to
// in degrees must come back as the same box.
func (s *Features) Area(ctx context.Context, srid int, box orb.Bound) (orb.MultiPolygon, error) {
	ring := crs.Outline(box)
	degrees, err := s.projectRing(ctx, srid, crs.WGS84, ring)
	if err != nil {
		return nil, err
	}
	area, err := crs.OnGlobe(degrees)
	if err != nil {
		return nil, err
	}
	back, err := s.projectRing(ctx, crs.WGS84, srid, degrees)
	if err != nil {
		return nil, err
	}
	// Generous, since what counts is whether the system holds there at all: shifts
	// between data on the ground go there and back with errors of metres.
	most := 1e-3 * math.Max(box.Max[0]-box.Min[0], box.Max[1]-box.Min[1])
	if most += 1e-6 * math.Max(math.Abs(box.Max[0]), math.Abs(box.Max[1])); math.Abs(box.Max[0]) > 1000 {
		most += 10
	}
	for i, p := range back {
		if !(math.Abs(p[0]-ring[i][0]) <= most && math.Abs(p[1]-ring[i][1]) <= most) {
			return nil, inventory.Errorf(inventory.Invalid, "the area reaches beyond where its reference system holds")
		}
	}
	return area, nil
}

func (s *Features) projectRing(ctx context.Context, from, to int, ring orb.Ring) (orb.Ring, error) {
	b, err := wkb.Marshal(orb.LineString(ring))
	if err != nil {
		return nil, err
	}
	out, err := s.Store.Project(ctx, from, to, [][]byte{b})
	if err != nil {
		return nil, err
	}
	g, err := wkb.Unmarshal(out[0])
	if err != nil {
		return nil, err
	}
	line, _ := g.(orb.LineString)
	if len(line) != len(ring) {
		return nil, inventory.Errorf(inventory.Internal, "a line of %d positions was transformed to a %T of %d", len(ring), g, len(line))
	}
	return orb.Ring(line), nil
}
