package postgres

import (
	"context"
	"strings"

	"github.com/underbough/underbough/inventory"
)

var visitColumns = []string{
	"source_id", "visited_on", "visited_by", "condition", "whole_tree", "crown", "limb", "note", "dbh_m", "height_m", "crown_radius_m",
	"stem_diameter_m", "decay_diameter_m", "sound_wall_m", "opening_share", "other_points", "next_visit_on",
}

const visitStage = refStage + `
	source_id text, visited_on date, visited_by text, condition text, whole_tree text, crown text, limb text, note text,
	dbh_m double precision, height_m double precision, crown_radius_m double precision,
	stem_diameter_m double precision, decay_diameter_m double precision, sound_wall_m double precision, opening_share double precision, other_points smallint, next_visit_on date`

// Visits stages a batch of visits.
func (l *loader) Visits(ctx context.Context, rows []inventory.VisitRow) error {
	if err := l.stage(ctx, "load_visits", visitStage); err != nil {
		return translate(err)
	}
	w := &l.buf
	w.reset()
	for i := range rows {
		v := &rows[i].Visit
		w.row(8 + len(visitColumns))
		l.refRow(&rows[i].Row, rows[i].TreeRef)
		w.textOrNull(v.SourceID)
		w.date(v.On)
		w.textOrNull(v.By)
		w.textOrNull(v.Condition)
		w.textOrNull(v.WholeTree.String())
		w.textOrNull(v.Crown.String())
		w.textOrNull(v.Limb.String())
		w.textOrNull(v.Note)
		for _, f := range [...]inventory.Opt[float64]{
			v.DBH, v.Height, v.CrownRadius, v.StemDiameter, v.DecayDiameter, v.SoundWall, v.OpeningShare,
		} {
			w.float64OrNull(f)
		}
		w.int16OrNull(v.OtherPoints)
		w.dateOrNull(v.NextOn)
	}
	return l.copyIn(ctx, `load_visits (`+refColumns+strings.Join(visitColumns, ", ")+`)`)
}

// mergeVisits adds what is new. A visit is never overwritten: its key is made
// of all it says, so that a corrected one stands beside the first.
func (l *loader) mergeVisits(ctx context.Context, c *inventory.Counts) error {
	if !l.staged["load_visits"] {
		return nil
	}
	if err := l.findTrees(ctx, "load_visits"); err != nil {
		return err
	}
	if err := l.number(ctx, "load_visits"); err != nil {
		return err
	}
	var all int64
	if err := l.tx.QueryRow(ctx, `SELECT count(*) FROM load_visits`).Scan(&all); err != nil {
		return err
	}
	added, err := l.insertNew(ctx, "visits", "load_visits", visitColumns)
	c.Added, c.Unchanged = added, all-added
	return err
}
