package postgres

import (
	"context"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb/encoding/ewkb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

// opt turns a nullable column into an Opt.
func opt[T any](p *T) inventory.Opt[T] {
	if p == nil {
		return inventory.Opt[T]{}
	}
	return inventory.Some(*p)
}

const cutSelect = `cut_id, tree_id, coalesce(source_id, ''), kind, coalesce(given_kind, ''), made_year, made_on, count,
	diameter_m, lateral_diameter_m, height_m, bearing_deg, reach_m, stub_length_m, bare_share, closure, decay,
	regrowth_length_m, regrowth_count, regrowth_diameter_m`

func scanCut(row pgx.CollectableRow) (inventory.Cut, error) {
	var c inventory.Cut
	var year, count, shoots *int
	var on *time.Time
	var f [10]*float64
	var decay *bool
	err := row.Scan(&c.ID, &c.Tree, &c.SourceID, &c.Kind, &c.GivenKind, &year, &on, &count,
		&f[0], &f[1], &f[2], &f[3], &f[4], &f[5], &f[6], &f[7], &decay, &f[8], &shoots, &f[9])
	c.Year, c.On, c.Count, c.Decay, c.RegrowthCount = opt(year), opt(on), opt(count), opt(decay), opt(shoots)
	for i, to := range []*inventory.Opt[float64]{&c.Diameter, &c.LateralDiameter, &c.Height, &c.Bearing, &c.Reach, &c.StubLength, &c.BareShare, &c.Closure, &c.RegrowthLength, &c.RegrowthDiameter} {
		*to = opt(f[i])
	}
	return c, err
}

// FindTreeFacts returns the trees of a site that carry a tag or source id, or have
// the number after #, with their cuts and visits.
func (db *DB) FindTreeFacts(ctx context.Context, site inventory.Site, tag string) ([]ranking.Facts, error) {
	var list []ranking.Facts
	src := sourceOf(ctx, site.Client)
	err := db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `SELECT `+treeSelect+` FROM `+src.from("trees", "t")+`
			WHERE t.client_id = $1 AND t.site_id = $2 AND (t.tag = $3 OR t.match_key = $3 OR t.tree_id = $4) ORDER BY t.tree_id`, site.Client, site.ID, tag, numbered(tag))
		if err != nil {
			return err
		}
		if list, err = pgx.CollectRows(rows, scanTree); err != nil || len(list) == 0 {
			return err
		}
		return addAllRecords(ctx, tx, src, list)
	})
	return list, err
}

// numbered is the id that a name such as #12 gives; 0 for none.
func numbered(name string) int64 {
	number, ok := strings.CutPrefix(name, "#")
	if !ok {
		return 0
	}
	id, err := strconv.ParseInt(number, 10, 64)
	if err != nil {
		return 0
	}
	return id
}

const treeSelect = `t.tree_id, t.site_id, coalesce(t.source_id, ''), coalesce(t.tag, ''), ST_X(t.geometry), ST_Y(t.geometry), coalesce(t.species, ''),
	coalesce(t.common_name, ''), t.status, t.dbh_m, t.stems, t.height_m, t.crown_radius_m, coalesce(t.condition, ''), t.planted_year,
	t.lean_deg, t.lean_bearing_deg, t.brittle, t.crown_north_m, t.crown_east_m, t.crown_south_m, t.crown_west_m, ST_AsEWKB(t.crown)`

func scanTree(row pgx.CollectableRow) (ranking.Facts, error) {
	var f ranking.Facts
	t := &f.Tree
	var dbh, height, crown, lean, leanTo *float64
	var stems, planted *int
	var brittle *bool
	var sides [4]*float64
	var outline []byte
	err := row.Scan(&t.ID, &t.Site, &t.SourceID, &t.Tag, &t.Point[0], &t.Point[1], &t.Species, &t.CommonName, &t.Status,
		&dbh, &stems, &height, &crown, &t.Condition, &planted, &lean, &leanTo, &brittle, &sides[0], &sides[1], &sides[2], &sides[3], &outline)
	if err != nil {
		return f, err
	}
	t.DBH, t.Height, t.CrownRadius, t.Stems, t.PlantedYear = opt(dbh), opt(height), opt(crown), opt(stems), opt(planted)
	t.Lean, t.LeanBearing, t.Brittle = opt(lean), opt(leanTo), opt(brittle)
	for i := range sides {
		t.CrownRadii[i] = opt(sides[i])
	}
	t.RadiusFromSides()
	if outline != nil {
		t.Crown, _, err = ewkb.Unmarshal(outline)
	}
	return f, err
}
