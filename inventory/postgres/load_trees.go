package postgres

import (
	"context"
	"slices"
	"strings"

	"github.com/underbough/underbough/inventory"
)

// treeColumns are the columns a tree import can bring, in the order they are
// copied. Those after the key may be left alone by an import that lacks them.
var treeColumns = []string{
	"source_id", "tag", "species", "common_name", "status", "dbh_m", "stems",
	"height_m", "crown_radius_m", "condition", "planted_year",
	"lean_deg", "lean_bearing_deg", "brittle", "crown_north_m", "crown_east_m", "crown_south_m", "crown_west_m", "crown",
}

const treeStage = `
	record bigint, match_key text COLLATE "C", row_digest bigint, extra jsonb, geometry geometry(Point, 4326),
	source_id text COLLATE "C", tag text COLLATE "C", species text, common_name text, status text, dbh_m double precision, stems smallint,
	height_m double precision, crown_radius_m double precision, condition text, planted_year smallint,
	lean_deg double precision, lean_bearing_deg double precision, brittle boolean,
	crown_north_m double precision, crown_east_m double precision, crown_south_m double precision, crown_west_m double precision, crown geometry(Geometry, 4326), crown_repair text, row_text text`

// beginTrees decides whether trees can go straight in.
func (l *loader) beginTrees(ctx context.Context) (err error) {
	if l.direct, err = l.setAside(ctx, trees); err != nil || l.direct {
		return err
	}
	return l.stage(ctx, "load_trees", treeStage)
}

// Trees copies a batch of trees and the cuts inside them.
func (l *loader) Trees(ctx context.Context, rows []inventory.TreeRow) error {
	if err := l.copyTrees(ctx, rows); err != nil {
		return translate(err)
	}
	var cuts []inventory.CutRow
	for i := range rows {
		cuts = append(cuts, rows[i].Cuts...)
	}
	if len(cuts) == 0 {
		return nil
	}
	return l.Cuts(ctx, cuts)
}

func (l *loader) copyTrees(ctx context.Context, rows []inventory.TreeRow) error {
	if !l.direct {
		return l.stageTrees(ctx, rows)
	}
	plain := rows
	if slices.ContainsFunc(rows, drawn) {
		plain = slices.DeleteFunc(slices.Clone(rows), drawn)
		for i := range rows {
			if drawn(rows[i]) {
				l.waitingDrawn = append(l.waitingDrawn, rows[i])
				l.waitingText += len(rows[i].Text)
			}
		}
	}
	if len(plain) > 0 {
		if err := l.streamTrees(ctx, plain); err != nil {
			return err
		}
	}
	return l.drainFull(ctx)
}

// drawn reports whether a tree brings a crown, which may need repair.
func drawn(r inventory.TreeRow) bool { return r.Crown != nil }

// stageTrees copies trees into the staged table.
func (l *loader) stageTrees(ctx context.Context, rows []inventory.TreeRow) error {
	if err := l.stage(ctx, "load_trees", treeStage); err != nil {
		return translate(err)
	}
	l.buf.reset()
	for i := range rows {
		l.buf.row(7 + len(treeColumns))
		l.buf.int64(rows[i].Record)
		if err := l.treeRow(&l.buf, &rows[i]); err != nil {
			return err
		}
		l.buf.textOrNull(rows[i].Repair)
		l.buf.textOrNull(string(rows[i].Text))
	}
	return l.copyIn(ctx, "load_trees")
}

// streamTrees sends trees straight into their table.
func (l *loader) streamTrees(ctx context.Context, rows []inventory.TreeRow) error {
	if l.stream == nil {
		l.stream = openStream(l.life, l.tx, `trees (client_id, site_id, import_id, changed_by, match_key, row_digest, extra, geometry, `+strings.Join(treeColumns, ", ")+`)`)
	}
	w := &copyBuffer{b: l.stream.buffer()}
	for i := range rows {
		w.row(8 + len(treeColumns))
		w.int32(int32(l.spec.Client))
		w.int64(int64(l.site))
		w.int64(int64(l.id))
		w.text(l.spec.Actor)
		if err := l.treeRow(w, &rows[i]); err != nil {
			return err
		}
	}
	l.added += int64(len(rows))
	return l.stream.send(ctx, w.b)
}

func (l *loader) treeRow(w *copyBuffer, r *inventory.TreeRow) error {
	t := &r.Tree
	w.text(r.Key)
	w.int64(int64(r.Digest))
	w.json(r.Extra)
	w.point(t.Point)
	w.textOrNull(t.SourceID)
	w.textOrNull(t.Tag)
	w.textOrNull(t.Species)
	w.textOrNull(t.CommonName)
	w.text(string(t.Status))
	w.float64OrNull(t.DBH)
	w.int16OrNull(t.Stems)
	w.float64OrNull(t.Height)
	w.float64OrNull(t.CrownRadius)
	w.textOrNull(t.Condition)
	w.int16OrNull(t.PlantedYear)
	w.float64OrNull(t.Lean)
	w.float64OrNull(t.LeanBearing)
	w.boolOrNull(t.Brittle)
	for _, r := range t.CrownRadii {
		w.float64OrNull(r)
	}
	if t.Crown == nil {
		w.null()
		return nil
	}
	return w.geometry(t.Crown)
}

func (l *loader) mergeTrees(ctx context.Context, c *inventory.Counts) error {
	if l.staged["load_trees"] {
		if err := l.repairCrowns(ctx, "load_trees"); err != nil {
			return err
		}
		if err := l.tx.QueryRow(ctx, `SELECT count(crown_repair) FROM load_trees`).Scan(&c.Repaired); err != nil {
			return err
		}
	}
	if l.direct {
		if err := l.fillTrees(ctx); err != nil {
			return err
		}
		if err := l.putBack(ctx, trees, l.added); err != nil {
			return err
		}
		c.Added = l.added
	} else if err := l.mergeStagedTrees(ctx, c); err != nil {
		return err
	}
	if !l.staged["load_cuts"] {
		return nil
	}
	if !l.direct {
		// A few trees may have become a million since the planner last looked.
		if c.Added > 1000 {
			if _, err := l.tx.Exec(ctx, `ANALYZE trees (client_id, site_id, match_key, tag)`); err != nil {
				return err
			}
		}
		// The tree a record was matched with may have another key and a tag that
		// others share.
		if _, err := l.tx.Exec(ctx, `UPDATE load_cuts l SET tree_id = m.tree_id, trees_found = 1 FROM load_match m WHERE m.record = l.record`); err != nil {
			return err
		}
	}
	return l.mergeCuts(ctx, &c.CutsAdded, &c.CutsUpdated, &c.CutsUnchanged)
}

// fillTrees moves the trees that were staged for their crowns into the table
// that the others went straight into.
func (l *loader) fillTrees(ctx context.Context) error {
	if !l.staged["load_trees"] {
		return nil
	}
	all := `match_key, row_digest, extra, geometry, ` + strings.Join(treeColumns, ", ")
	added, err := l.tx.Exec(ctx, `
		INSERT INTO trees (client_id, site_id, import_id, changed_by, `+all+`)
		SELECT $1, $2, $3, actor(), `+all+` FROM load_trees ORDER BY record`, l.spec.Client, l.site, l.id)
	l.added += added.RowsAffected()
	return err
}

// mergeStagedTrees matches on the key, then on the source id of trees made by
// hand, then on the tag where one of the two sides has no source id, and changes
// only the columns the file gives. One record matches one tree: of several that
// bear its tag the first in the file has it, and the others are new trees.
func (l *loader) mergeStagedTrees(ctx context.Context, c *inventory.Counts) error {
	// Identity and a surveyed crown are never taken away, and the number of stems
	// is taken from a diameter only where that tells it.
	kept := []string{"source_id", "crown"}
	if !slices.Contains(l.spec.Columns, "stems") {
		kept = append(kept, "stems")
	}
	given := append(slices.DeleteFunc(l.given(treeColumns), func(c string) bool { return slices.Contains(kept, c) }), "geometry")
	statements := []string{
		`ANALYZE load_trees`,
		`CREATE TEMP TABLE load_match ON COMMIT DROP AS
		 SELECT l.record, t.tree_id FROM load_trees l
		 JOIN trees t ON t.client_id = $1 AND t.site_id = $2 AND t.match_key = l.match_key`,
		`ANALYZE load_match`,
		`INSERT INTO load_match
		 SELECT DISTINCT ON (min(t.tree_id)) l.record, min(t.tree_id) FROM load_trees l
		 JOIN trees t ON t.client_id = $1 AND t.site_id = $2 AND t.source_id = l.source_id
		 WHERE t.match_key LIKE 'hand:%'
		   AND NOT EXISTS (SELECT FROM load_match m WHERE m.record = l.record)
		 GROUP BY l.record HAVING count(*) = 1 ORDER BY min(t.tree_id), l.record`,
		`INSERT INTO load_match
		 SELECT DISTINCT ON (min(t.tree_id)) l.record, min(t.tree_id) FROM load_trees l
		 JOIN trees t ON t.client_id = $1 AND t.site_id = $2 AND t.tag = l.tag
		 WHERE (t.source_id IS NULL OR l.source_id IS NULL)
		   AND NOT EXISTS (SELECT FROM load_match m WHERE m.record = l.record)
		   AND NOT EXISTS (SELECT FROM load_match m WHERE m.tree_id = t.tree_id)
		 GROUP BY l.record HAVING count(*) = 1 ORDER BY min(t.tree_id), l.record`,
		`ANALYZE load_match`,
	}
	for _, s := range statements {
		var args []any
		if strings.Contains(s, "$1") {
			args = []any{l.spec.Client, l.site}
		}
		if _, err := l.tx.Exec(ctx, s, args...); err != nil {
			return err
		}
	}
	updated, err := l.tx.Exec(ctx, `
		UPDATE trees t SET `+assignments(given, kept)+`, row_digest = l.row_digest, import_id = $2,
			match_key = CASE WHEN l.source_id IS NOT NULL THEN l.match_key ELSE t.match_key END
		FROM load_trees l JOIN load_match m USING (record)
		WHERE t.client_id = $1 AND t.tree_id = m.tree_id AND t.row_digest IS DISTINCT FROM l.row_digest
		  AND (`+differences(given, kept)+`)`,
		l.spec.Client, l.id)
	if err != nil {
		return err
	}
	var matched int64
	if err := l.tx.QueryRow(ctx, `SELECT count(*) FROM load_match`).Scan(&matched); err != nil {
		return err
	}
	all := `match_key, row_digest, extra, geometry, ` + strings.Join(treeColumns, ", ")
	added, err := l.tx.Exec(ctx, `
		INSERT INTO trees (client_id, site_id, import_id, changed_by, `+all+`)
		SELECT $1, $2, $3, actor(), `+all+` FROM load_trees l
		WHERE NOT EXISTS (SELECT FROM load_match m WHERE m.record = l.record) ORDER BY record`,
		l.spec.Client, l.site, l.id)
	if err != nil {
		return err
	}
	c.Added, c.Updated = added.RowsAffected(), updated.RowsAffected()
	c.Unchanged = matched - c.Updated
	return nil
}

// given returns those of columns that the import's file has.
func (l *loader) given(columns []string) []string {
	var out []string
	for _, c := range columns {
		if slices.Contains(l.spec.Columns, c) {
			out = append(out, c)
		}
	}
	return out
}

// merged is the row's extra columns with those of the file laid over them.
const merged = "nullif(coalesce(t.extra, '{}') || coalesce(l.extra, '{}'), '{}')"

// assignments and differences write "c = l.c" and "t.c IS DISTINCT FROM l.c"
// for columns, which are always names of ours, and for the extra columns. Where
// the file says nothing of a kept column, it stays as it is.
func assignments(given, kept []string) string {
	parts := []string{"extra = " + merged}
	for _, c := range given {
		parts = append(parts, c+" = l."+c)
	}
	for _, c := range kept {
		parts = append(parts, c+" = coalesce(l."+c+", t."+c+")")
	}
	return strings.Join(parts, ", ")
}

func differences(given, kept []string) string {
	parts := []string{"t.extra IS DISTINCT FROM " + merged}
	for _, c := range given {
		parts = append(parts, "t."+c+" IS DISTINCT FROM l."+c)
	}
	for _, c := range kept {
		parts = append(parts, "t."+c+" IS DISTINCT FROM coalesce(l."+c+", t."+c+")")
	}
	return strings.Join(parts, " OR ")
}
