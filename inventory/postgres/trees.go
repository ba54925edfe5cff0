package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

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
	diameter_m, lateral_diameter_m, height_m, bearing_deg, reach_m, stub_length_m, closure, decay,
	regrowth_length_m, regrowth_count, regrowth_diameter_m`

func scanCut(row pgx.CollectableRow) (inventory.Cut, error) {
	var c inventory.Cut
	var year, count, shoots *int
	var on *time.Time
	var f [9]*float64
	var decay *bool
	err := row.Scan(&c.ID, &c.Tree, &c.SourceID, &c.Kind, &c.GivenKind, &year, &on, &count,
		&f[0], &f[1], &f[2], &f[3], &f[4], &f[5], &f[6], &decay, &f[7], &shoots, &f[8])
	c.Year, c.On, c.Count, c.Decay, c.RegrowthCount = opt(year), opt(on), opt(count), opt(decay), opt(shoots)
	for i, to := range []*inventory.Opt[float64]{&c.Diameter, &c.LateralDiameter, &c.Height, &c.Bearing, &c.Reach, &c.StubLength, &c.Closure, &c.RegrowthLength, &c.RegrowthDiameter} {
		*to = opt(f[i])
	}
	return c, err
}

// FindTreeFacts returns the trees of a site that carry a tag or source id, with
// their cuts and visits.
func (db *DB) FindTreeFacts(ctx context.Context, site inventory.Site, tag string) ([]ranking.Facts, error) {
	var list []ranking.Facts
	err := db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, `
		SELECT tree_id, site_id, coalesce(source_id, ''), coalesce(tag, ''), ST_X(geometry), ST_Y(geometry), coalesce(species, ''),
		       coalesce(common_name, ''), status, dbh_m, stems, height_m, crown_radius_m, coalesce(condition, ''), planted_year
		FROM trees WHERE client_id = $1 AND site_id = $2 AND (tag = $3 OR match_key = $3) ORDER BY tree_id`, site.Client, site.ID, tag)
		if err != nil {
			return err
		}
		if list, err = pgx.CollectRows(rows, scanTree); err != nil || len(list) == 0 {
			return err
		}
		return addAllRecords(ctx, tx, site.Client, list)
	})
	return list, err
}

func scanTree(row pgx.CollectableRow) (ranking.Facts, error) {
	var f ranking.Facts
	t := &f.Tree
	var dbh, height, crown *float64
	var stems, planted *int
	err := row.Scan(&t.ID, &t.Site, &t.SourceID, &t.Tag, &t.Point[0], &t.Point[1], &t.Species, &t.CommonName, &t.Status,
		&dbh, &stems, &height, &crown, &t.Condition, &planted)
	t.DBH, t.Height, t.CrownRadius, t.Stems, t.PlantedYear = opt(dbh), opt(height), opt(crown), opt(stems), opt(planted)
	return f, err
}
