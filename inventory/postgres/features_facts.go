package postgres

import (
	"cmp"
	"context"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb/encoding/ewkb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/ranking"
)

// FindFacts returns standing trees in the order of their ids, with all their
// cuts and visits.
func (db *DB) FindFacts(ctx context.Context, q ranking.FactsQuery) ([]ranking.Facts, error) {
	sql, src := &featureSQL{}, sourceOf(ctx, q.Client)
	sql.text.WriteString(`SELECT ` + treeSelect + `
		FROM ` + src.from("trees", "t") + ` WHERE t.status IN ('alive', 'dead') AND t.client_id = ` + sql.arg(q.Client) + ` AND t.tree_id >= ` + sql.arg(int64(q.From)))
	if q.Sites != nil {
		sql.text.WriteString(` AND t.site_id IN (SELECT s.site_id FROM ` + src.from("sites", "s") + ` WHERE s.client_id = t.client_id AND s.name = ANY(` + sql.arg(q.Sites) + `::text[]))`)
	}
	if q.Tags != nil {
		sql.text.WriteString(` AND t.tag = ANY(` + sql.arg(q.Tags) + `::text[])`)
	}
	if q.Trees != nil {
		sql.text.WriteString(` AND t.tree_id = ANY(` + sql.arg(q.Trees) + `::bigint[])`)
	}
	if q.Cut != 0 {
		sql.text.WriteString(` AND t.tree_id = (SELECT c.tree_id FROM ` + src.from("cuts", "c") + ` WHERE c.client_id = t.client_id AND c.cut_id = ` + sql.arg(q.Cut) + `)`)
	}
	sql.text.WriteString(sql.boxes("t.geometry", true, q.Boxes))
	sql.text.WriteString(` ORDER BY t.tree_id LIMIT ` + sql.arg(q.Limit))
	var list []ranking.Facts
	// Trees, cuts and visits of one instant, or a cut could miss its tree.
	err := db.reading(ctx, func(tx pgx.Tx) error {
		rows, err := tx.Query(ctx, sql.text.String(), sql.args...)
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

// standingFacts reads those of some trees of a site that stand, in one round trip.
func standingFacts(ctx context.Context, tx pgx.Tx, site inventory.Site, ids []int64) ([]ranking.Facts, error) {
	var list []ranking.Facts
	b := &pgx.Batch{}
	b.Queue(`SELECT `+treeSelect+` FROM trees t
		WHERE t.client_id = $1 AND t.tree_id = ANY($2) AND t.site_id = $3 AND t.status IN ('alive', 'dead') ORDER BY t.tree_id`, site.Client, ids, site.ID).
		Query(func(rows pgx.Rows) (err error) {
			list, err = pgx.CollectRows(rows, scanTree)
			return err
		})
	queueRecords(b, source{client: site.Client}, ids, func(id inventory.TreeID) *ranking.Facts {
		at, ok := slices.BinarySearchFunc(list, id, func(f ranking.Facts, id inventory.TreeID) int { return cmp.Compare(f.Tree.ID, id) })
		if !ok {
			return nil // a record of a tree that does not stand
		}
		return &list[at]
	})
	return list, tx.SendBatch(ctx, b).Close()
}

// addAllRecords adds the cuts and visits of many trees, one round trip for all.
func addAllRecords(ctx context.Context, tx pgx.Tx, src source, list []ranking.Facts) error {
	ids := make([]int64, len(list))
	at := make(map[inventory.TreeID]*ranking.Facts, len(list))
	for i := range list {
		ids[i], at[list[i].Tree.ID] = int64(list[i].Tree.ID), &list[i]
	}
	b := &pgx.Batch{}
	queueRecords(b, src, ids, func(id inventory.TreeID) *ranking.Facts { return at[id] })
	return tx.SendBatch(ctx, b).Close()
}

// queueRecords asks for the cuts and visits of trees and puts each where of says.
func queueRecords(b *pgx.Batch, src source, ids []int64, of func(inventory.TreeID) *ranking.Facts) {
	b.Queue(`SELECT `+cutSelect+` FROM `+src.from("cuts", "c")+` WHERE client_id = $1 AND tree_id = ANY($2) AND gone_on IS NULL ORDER BY cut_id`, src.client, ids).Query(func(rows pgx.Rows) error {
		cuts, err := pgx.CollectRows(rows, scanCut)
		for _, c := range cuts {
			if f := of(c.Tree); f != nil {
				f.Cuts = append(f.Cuts, c)
			}
		}
		return err
	})
	b.Queue(`SELECT `+visitSelect+` FROM `+src.from("visits", "v")+` WHERE client_id = $1 AND tree_id = ANY($2) ORDER BY visited_on, visit_id`, src.client, ids).Query(func(rows pgx.Rows) error {
		visits, err := pgx.CollectRows(rows, scanVisit)
		for _, v := range visits {
			if f := of(v.Tree); f != nil {
				f.Visits = append(f.Visits, v)
			}
		}
		return err
	})
}

const visitSelect = `visit_id, tree_id, coalesce(source_id, ''), visited_on, coalesce(visited_by, ''), coalesce(condition, ''),
	coalesce(whole_tree, ''), coalesce(crown, ''), coalesce(limb, ''), coalesce(note, ''), dbh_m, height_m, crown_radius_m,
	stem_diameter_m, decay_diameter_m, sound_wall_m, opening_share, other_points, next_visit_on`

func scanVisit(row pgx.CollectableRow) (inventory.Visit, error) {
	var v inventory.Visit
	var word [3]string
	var f [7]*float64
	var points *int
	var next *time.Time
	err := row.Scan(&v.ID, &v.Tree, &v.SourceID, &v.On, &v.By, &v.Condition, &word[0], &word[1], &word[2], &v.Note,
		&f[0], &f[1], &f[2], &f[3], &f[4], &f[5], &f[6], &points, &next)
	for i, to := range []*inventory.Likelihood{&v.WholeTree, &v.Crown, &v.Limb} {
		*to, _ = inventory.ParseLikelihood(word[i])
	}
	for i, to := range []*inventory.Opt[float64]{&v.DBH, &v.Height, &v.CrownRadius, &v.StemDiameter, &v.DecayDiameter, &v.SoundWall, &v.OpeningShare} {
		*to = opt(f[i])
	}
	v.OtherPoints, v.NextOn = opt(points), opt(next)
	return v, err
}

// FindTargetsIn returns the targets whose bounds meet any of the boxes of their
// site, each once, in the order of their ids.
func (db *DB) FindTargetsIn(ctx context.Context, client inventory.ClientID, boxes []ranking.SiteBox) (list []inventory.Target, err error) {
	err = db.reading(ctx, func(tx pgx.Tx) error {
		list, err = targetsIn(ctx, tx, sourceOf(ctx, client), boxes)
		return err
	})
	return list, err
}

func targetsIn(ctx context.Context, tx pgx.Tx, src source, boxes []ranking.SiteBox) ([]inventory.Target, error) {
	if len(boxes) == 0 {
		return nil, nil
	}
	sites := make([]int64, len(boxes))
	var side [4][]float64
	for i, b := range boxes {
		sites[i] = int64(b.Site)
		for k, v := range []float64{b.Min[0], b.Min[1], b.Max[0], b.Max[1]} {
			side[k] = append(side[k], v)
		}
	}
	rows, err := tx.Query(ctx, `
		SELECT `+src.targets()+`
		FROM `+src.from("targets", "g")+` WHERE g.client_id = $1 AND g.target_id IN (
			SELECT g.target_id FROM unnest($2::bigint[], $3::float8[], $4::float8[], $5::float8[], $6::float8[]) b (site, w, s, e, n)
			JOIN `+src.from("targets", "g")+` ON g.client_id = $1 AND g.site_id = b.site AND g.geometry && ST_MakeEnvelope(b.w, b.s, b.e, b.n, 4326))
		ORDER BY g.target_id`, src.client, sites, side[0], side[1], side[2], side[3])
	if err != nil {
		return nil, err
	}
	return collectTargets(ctx, tx, src, rows)
}

// collectTargets takes rows of targets and adds what was counted there.
func collectTargets(ctx context.Context, tx pgx.Tx, src source, rows pgx.Rows) ([]inventory.Target, error) {
	any := false
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (inventory.Target, error) {
		t, counted, err := scanTarget(row)
		any = any || counted
		return t, err
	})
	if err != nil || !any {
		return list, err
	}
	return list, addCounts(ctx, tx, src, list)
}

// targets are the columns that scanTarget reads, of g.
func (s source) targets() string {
	return `g.target_id, g.site_id, coalesce(g.layer, ''), coalesce(g.source_id, ''), coalesce(g.name, ''), g.kind, ST_AsEWKB(g.geometry), g.people_per_hour, g.people_present,
	g.dwell_minutes, g.vehicles_per_day, g.speed_mps, g.stalls, g.share_occupied, g.turnover_per_day, coalesce(g.hours, ''), g.sheltered,
	EXISTS (SELECT FROM ` + s.from("counts", "n") + ` WHERE n.client_id = g.client_id AND n.target_id = g.target_id)`
}

// scanTarget scans those columns; counted says that counts were made there.
func scanTarget(row pgx.CollectableRow) (t inventory.Target, counted bool, err error) {
	var f [8]*float64
	var wkb []byte
	var sheltered *bool
	if err := row.Scan(&t.ID, &t.Site, &t.Layer, &t.SourceID, &t.Name, &t.Kind, &wkb, &f[0], &f[1], &f[2], &f[3], &f[4], &f[5], &f[6], &f[7], &t.Hours, &sheltered, &counted); err != nil {
		return t, false, err
	}
	for i, to := range []*inventory.Opt[float64]{&t.PeoplePerHour, &t.PeoplePresent, &t.DwellMinutes, &t.VehiclesPerDay, &t.Speed, &t.Stalls, &t.ShareOccupied, &t.TurnoverPerDay} {
		*to = opt(f[i])
	}
	t.PeopleSheltered = opt(sheltered)
	t.Geometry, _, err = ewkb.Unmarshal(wkb)
	return t, counted, err
}

// addCounts adds what was counted at the targets of a list.
func addCounts(ctx context.Context, tx pgx.Tx, src source, list []inventory.Target) error {
	ids := make([]int64, len(list))
	for i := range list {
		ids[i] = int64(list[i].ID)
	}
	found, err := readCounts(ctx, tx, src.from("counts", "n"), `n.client_id = $1 AND n.target_id = ANY($2)`, src.client, ids)
	for i := range list {
		found[list[i].ID].put(&list[i])
	}
	return err
}
