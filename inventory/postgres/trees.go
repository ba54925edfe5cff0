package postgres

import (
	"context"
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
	rows, err := db.pool.Query(ctx, `
		SELECT tree_id, site_id, coalesce(source_id, ''), coalesce(tag, ''), ST_X(geometry), ST_Y(geometry), coalesce(species, ''),
		       coalesce(common_name, ''), status, dbh_m, stems, height_m, crown_radius_m, coalesce(condition, ''), planted_year
		FROM trees WHERE client_id = $1 AND site_id = $2 AND (tag = $3 OR match_key = $3) ORDER BY tree_id`, site.Client, site.ID, tag)
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (ranking.Facts, error) {
		var f ranking.Facts
		t := &f.Tree
		var dbh, height, crown *float64
		var stems, planted *int
		err := row.Scan(&t.ID, &t.Site, &t.SourceID, &t.Tag, &t.Point[0], &t.Point[1], &t.Species, &t.CommonName, &t.Status,
			&dbh, &stems, &height, &crown, &t.Condition, &planted)
		t.DBH, t.Height, t.CrownRadius, t.Stems, t.PlantedYear = opt(dbh), opt(height), opt(crown), opt(stems), opt(planted)
		return f, err
	})
	if err != nil {
		return nil, translate(err)
	}
	for i := range list {
		if err := db.addRecords(ctx, site.Client, &list[i]); err != nil {
			return nil, translate(err)
		}
	}
	return list, nil
}

func (db *DB) addRecords(ctx context.Context, client inventory.ClientID, f *ranking.Facts) error {
	rows, err := db.pool.Query(ctx, `SELECT `+cutSelect+` FROM cuts WHERE client_id = $1 AND tree_id = $2 ORDER BY cut_id`, client, f.Tree.ID)
	if err != nil {
		return err
	}
	if f.Cuts, err = pgx.CollectRows(rows, scanCut); err != nil {
		return err
	}
	rows, err = db.pool.Query(ctx, `
		SELECT visit_id, tree_id, coalesce(source_id, ''), visited_on, coalesce(visited_by, ''), coalesce(condition, ''),
		       coalesce(whole_tree, ''), coalesce(crown, ''), coalesce(limb, ''), coalesce(note, '')
		FROM visits WHERE client_id = $1 AND tree_id = $2 ORDER BY visited_on, visit_id`, client, f.Tree.ID)
	if err != nil {
		return err
	}
	f.Visits, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (inventory.Visit, error) {
		var v inventory.Visit
		var whole, crown, limb string
		err := row.Scan(&v.ID, &v.Tree, &v.SourceID, &v.On, &v.By, &v.Condition, &whole, &crown, &limb, &v.Note)
		v.WholeTree, _ = inventory.ParseLikelihood(whole)
		v.Crown, _ = inventory.ParseLikelihood(crown)
		v.Limb, _ = inventory.ParseLikelihood(limb)
		return v, err
	})
	return err
}

// FindTargetsNear returns the targets of a site whose bounds come within a box
// about a position, degrees; the index finds them.
func (db *DB) FindTargetsNear(ctx context.Context, site inventory.Site, west, south, east, north float64) ([]inventory.Target, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT target_id, site_id, coalesce(source_id, ''), coalesce(name, ''), kind, ST_AsEWKB(geometry), people_per_hour, people_present,
		       dwell_minutes, vehicles_per_day, speed_mps, stalls, share_occupied, turnover_per_day, coalesce(hours, ''), sheltered
		FROM targets WHERE client_id = $1 AND site_id = $2 AND geometry && ST_MakeEnvelope($3, $4, $5, $6, 4326) ORDER BY target_id`,
		site.Client, site.ID, west, south, east, north)
	if err != nil {
		return nil, translate(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (inventory.Target, error) {
		var t inventory.Target
		var f [8]*float64
		var wkb []byte
		var sheltered *bool
		if err := row.Scan(&t.ID, &t.Site, &t.SourceID, &t.Name, &t.Kind, &wkb, &f[0], &f[1], &f[2], &f[3], &f[4], &f[5], &f[6], &f[7], &t.Hours, &sheltered); err != nil {
			return t, err
		}
		for i, to := range []*inventory.Opt[float64]{&t.PeoplePerHour, &t.PeoplePresent, &t.DwellMinutes, &t.VehiclesPerDay, &t.Speed, &t.Stalls, &t.ShareOccupied, &t.TurnoverPerDay} {
			*to = opt(f[i])
		}
		t.PeopleSheltered = opt(sheltered)
		var err error
		t.Geometry, _, err = ewkb.Unmarshal(wkb)
		return t, err
	})
	return list, translate(err)
}
