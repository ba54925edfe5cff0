package postgres

import (
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb/encoding/wkb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/exposure"
	"github.com/underbough/underbough/inventory/tiling"
)

// inTile is the SQL of a geometry in units of the tile, cut along its buffer and
// valid; NULL where nothing of it is there. It is simplified to half a pixel of
// 512, but at the deepest level, where that is finer than any survey.
func (r *tileReader) inTile(f *featureSQL, geometry string) string {
	b := r.query.Tile.Metres()
	geometry = r.near(f, geometry)
	envelope := fmt.Sprintf("ST_MakeEnvelope(%s, %s, %s, %s, 3857)", f.arg(b.Min[0]), f.arg(b.Min[1]), f.arg(b.Max[0]), f.arg(b.Max[1]))
	simple := "ST_Transform(" + geometry + ", 3857)"
	if r.query.Tile.Z < inventory.MaxTileZoom {
		simple = fmt.Sprintf("ST_Simplify(%s, %s, true)", simple, f.arg((b.Max[0]-b.Min[0])/1024))
	}
	return fmt.Sprintf("ST_AsMVTGeom(%s, %s, %d, %d, true)", simple, envelope, tiling.Extent, tiling.Buffer)
}

// manyPoints is from how many on a geometry is cut before anything else is done
// with it.
const manyPoints = 1000

// near is the SQL of what of a geometry lies about the tile, up to half its side
// away, where it has so many points that all of them would take long.
func (r *tileReader) near(f *featureSQL, geometry string) string {
	t := r.query.Tile
	n := float64(int(1) << t.Z)
	north, south := (float64(t.Y)-0.5)/n, (float64(t.Y)+1.5)/n
	top, bottom := 90.0, -90.0
	if north > 0 {
		top = tiling.Unproject(0, north)[1]
	}
	if south < 1 {
		bottom = tiling.Unproject(0, south)[1]
	}
	west, east := ((float64(t.X)-0.5)/n-0.5)*360, ((float64(t.X)+1.5)/n-0.5)*360
	return fmt.Sprintf("CASE WHEN ST_NPoints(%[1]s) < %[2]d THEN %[1]s ELSE ST_ClipByBox2D(%[1]s, ST_MakeEnvelope(%[3]s, %[4]s, %[5]s, %[6]s, 4326)) END",
		geometry, manyPoints, f.arg(west), f.arg(bottom), f.arg(east), f.arg(top))
}

// targets makes the layer of targets. What is smaller than a pixel of 512, and
// what rounding to units leaves nothing of, is a point.
func (r *tileReader) targets() error {
	if r.query.Tile.Z < r.query.Layer.SingleFrom {
		return r.targetsByCell()
	}
	l := r.layer
	columns := func(f *featureSQL) string {
		pixel := f.arg(360 / float64(int(1)<<r.query.Tile.Z) / 512)
		point := r.inTile(f, "ST_PointOnSurface("+r.near(f, "g.geometry")+")")
		small := "greatest(ST_XMax(g.geometry) - ST_XMin(g.geometry), ST_YMax(g.geometry) - ST_YMin(g.geometry)) < " + pixel
		return "g.target_id, ST_AsBinary(CASE WHEN " + small + " THEN " + point + " ELSE coalesce(" + r.inTile(f, "g.geometry") + ", " + point + ") END), " +
			"g.kind, g.name, s.name, g.people_per_hour, g.people_present, g.vehicles_per_day"
	}
	return r.rows(tileRows{collection: "targets", needs: "s", columns: columns, around: tiling.Buffer}, func(raw [][]byte) error {
		if raw[1] == nil {
			return nil
		}
		g, err := wkb.Unmarshal(raw[1])
		if err != nil {
			return fmt.Errorf("target %d in tile units: %w", integer(raw[0]), err)
		}
		l.Begin(integer(raw[0]))
		l.Text("kind", raw[2])
		l.Text("name", raw[3])
		l.Text("site", raw[4])
		for i, name := range []string{"people_per_hour", "people_present", "vehicles_per_day"} {
			if b := raw[5+i]; b != nil {
				l.Float(name, threeDigits(number(b)))
			}
		}
		l.Geometry(g)
		l.End()
		return nil
	})
}

// surveyedReach is the farthest that a surveyed crown's outline may lie from the
// stem, metres.
const surveyedReach = 60

// zones makes the layer of what trees can reach: the ground under the whole tree
// and then the crown. A tree beyond the tile may reach into it.
func (r *tileReader) zones() error {
	reach, err := r.reach()
	if err != nil || reach == 0 {
		return err
	}
	tile, l := r.query.Tile, r.layer
	// Farther north a metre takes more units.
	b := tile.Degrees(0)[0]
	east, north := tile.UnitsPerMetre(max(-b.Min[1], b.Max[1]))
	columns := func(f *featureSQL) string {
		return "t.tree_id, t.geometry, t.tag, e.ground_m, e.ground_bearing_deg, e.ground_width_deg, e.crown_radius_m, e.rating, e.harm, " +
			"CASE WHEN t.crown IS NOT NULL THEN ST_AsBinary(" + r.inTile(f, "t.crown") + ") END, t.crown IS NOT NULL"
	}
	standing := func(*featureSQL) string { return " AND e.tree_id IS NOT NULL" }
	return r.rows(tileRows{collection: "trees", needs: "e", columns: columns, around: max(reach, surveyedReach)*max(east, north)*1.01 + tiling.Buffer, more: standing}, func(raw [][]byte) error {
		at, err := pointOf(raw[1])
		if err != nil || !tiling.Finite(at) {
			return err
		}
		begin := func(part exposure.Part) {
			l.Begin(4*integer(raw[0]) + int64(part))
			l.Int("tree_id", integer(raw[0]))
			l.Text("tag", raw[2])
			l.Text("part", []byte(part.String()))
			l.Text("rating", []byte(ratingWords[integer(raw[7])]))
			l.Float("harm_index", threeDigits(number(raw[8])*1000))
		}
		if ring := tile.Ground(at, number(raw[3]), number(raw[4]), number(raw[5])); ring != nil {
			begin(exposure.WholeTree)
			l.Ring(ring, false)
			l.End()
		}
		switch surveyed := raw[10][0] != 0; {
		case surveyed && raw[9] != nil:
			g, err := wkb.Unmarshal(raw[9])
			if err != nil {
				return fmt.Errorf("crown of tree %d in tile units: %w", integer(raw[0]), err)
			}
			begin(exposure.Crown)
			l.Geometry(g)
			l.End()
		case !surveyed:
			if ring := tile.Ground(at, number(raw[6]), 0, 360); ring != nil {
				begin(exposure.Crown)
				l.Ring(ring, false)
				l.End()
			}
		}
		return nil
	})
}

// reach is the farthest that any tree in force reaches, metres; 0 before any run.
func (r *tileReader) reach() (m float64, err error) {
	var generations []int64
	for _, s := range r.sites {
		if s.Generation > 0 {
			generations = append(generations, s.Generation)
		}
	}
	if generations == nil {
		return 0, nil
	}
	err = r.db.ask(r.ctx, false, `SELECT coalesce(max(reach_m), 0) FROM runs WHERE client_id = $1 AND generation = ANY($2)`, []any{r.query.Client, generations},
		func(rows pgx.Rows) error {
			for rows.Next() {
				if err := rows.Scan(&m); err != nil {
					return err
				}
			}
			return rows.Err()
		})
	return m, err
}
