package postgres

import (
	"context"
	"strings"

	"github.com/underbough/underbough/inventory"
)

var cutColumns = []string{
	"source_id", "kind", "given_kind", "made_year", "made_on", "count", "diameter_m", "lateral_diameter_m", "height_m",
	"bearing_deg", "reach_m", "stub_length_m", "closure", "decay", "regrowth_length_m", "regrowth_count", "regrowth_diameter_m", "bare_share",
}

// refStage is how a staged row names its tree; tree_id is filled when the trees
// are in.
const refStage = `record bigint, tree_key text COLLATE "C", tree_source_id text COLLATE "C", tree_tag text COLLATE "C", row_text text,
	tree_id bigint, trees_found integer, match_key text COLLATE "C", row_digest bigint, extra jsonb, `

const cutStage = refStage + `
	source_id text, kind text, given_kind text, made_year smallint, made_on date, count integer, diameter_m double precision,
	lateral_diameter_m double precision, height_m double precision, bearing_deg double precision, reach_m double precision,
	stub_length_m double precision, closure double precision, decay boolean, regrowth_length_m double precision,
	regrowth_count integer, regrowth_diameter_m double precision, bare_share double precision`

const refColumns = `record, tree_key, tree_source_id, tree_tag, row_text, match_key, row_digest, extra, `

// Cuts stages a batch of cuts.
func (l *loader) Cuts(ctx context.Context, rows []inventory.CutRow) error {
	if l.stream == nil {
		return l.copyCuts(ctx, rows)
	}
	l.waitingCuts = append(l.waitingCuts, rows...)
	return l.drainFull(ctx)
}

func (l *loader) copyCuts(ctx context.Context, rows []inventory.CutRow) error {
	if err := l.stage(ctx, "load_cuts", cutStage); err != nil {
		return translate(err)
	}
	w := &l.buf
	w.reset()
	for i := range rows {
		c := &rows[i].Cut
		w.row(8 + len(cutColumns))
		l.refRow(&rows[i].Row, rows[i].TreeRef)
		w.textOrNull(c.SourceID)
		w.text(string(c.Kind))
		w.textOrNull(string(c.GivenKind))
		w.int16OrNull(c.Year)
		w.dateOrNull(c.On)
		w.int32OrNull(c.Count)
		for _, v := range [...]inventory.Opt[float64]{c.Diameter, c.LateralDiameter, c.Height, c.Bearing, c.Reach, c.StubLength, c.Closure} {
			w.float64OrNull(v)
		}
		w.boolOrNull(c.Decay)
		w.float64OrNull(c.RegrowthLength)
		w.int32OrNull(c.RegrowthCount)
		w.float64OrNull(c.RegrowthDiameter)
		w.float64OrNull(c.BareShare)
	}
	return l.copyIn(ctx, `load_cuts (`+refColumns+strings.Join(cutColumns, ", ")+`)`)
}

func (l *loader) refRow(r *inventory.Row, ref inventory.TreeRef) {
	w := &l.buf
	w.int64(r.Record)
	w.textOrNull(ref.TreeKey)
	w.textOrNull(ref.TreeSourceID)
	w.textOrNull(ref.TreeTag)
	w.textOrNull(string(r.Text))
	w.text(r.Key)
	w.int64(int64(r.Digest))
	w.json(r.Extra)
}

// findTrees gives each staged row of a table its tree: by key, by source id,
// then by tag, and holds those that name none or several.
func (l *loader) findTrees(ctx context.Context, table string) error {
	// Without statistics the joins below are planned for a handful of rows.
	if _, err := l.tx.Exec(ctx, `ANALYZE `+table); err != nil {
		return err
	}
	statements := []string{
		`UPDATE ` + table + ` l SET tree_id = t.tree_id, trees_found = 1 FROM trees t
		 WHERE l.tree_id IS NULL AND t.client_id = $1 AND t.site_id = $2 AND t.match_key = coalesce(l.tree_key, l.tree_source_id)`,
		// A tree made by hand has a key of its own beside its source id.
		`UPDATE ` + table + ` l SET tree_id = t.tree_id, trees_found = t.n
		 FROM (SELECT source_id, min(tree_id) tree_id, count(*) n FROM trees WHERE client_id = $1 AND site_id = $2 AND match_key LIKE 'hand:%' GROUP BY source_id) t
		 WHERE l.tree_id IS NULL AND t.source_id = l.tree_source_id`,
		`UPDATE ` + table + ` l SET tree_id = t.tree_id, trees_found = t.n
		 FROM (SELECT tag, min(tree_id) tree_id, count(*) n FROM trees WHERE client_id = $1 AND site_id = $2 AND tag IS NOT NULL GROUP BY tag) t
		 WHERE l.tree_id IS NULL AND t.tag = coalesce(l.tree_tag, l.tree_source_id)`,
	}
	for _, s := range statements {
		if _, err := l.tx.Exec(ctx, s, l.spec.Client, l.site); err != nil {
			return err
		}
	}
	return l.holdStaged(ctx, table, `trees_found IS DISTINCT FROM 1`, "'tree'", `
		CASE WHEN trees_found > 1 THEN format('%s trees of this site carry the tag %s: name the tree by its source id', trees_found, coalesce(tree_tag, tree_source_id))
		     WHEN coalesce(tree_tag, tree_source_id) IS NULL THEN 'the record names no tree: map tree_tag or tree_source_id'
		     ELSE format('no tree of this site has the tag or source id %s: load the trees first, or correct it', coalesce(tree_tag, tree_source_id)) END`)
}

// mergeCuts matches cuts on their tree and key. An update changes the columns
// that a file of cuts gives; of cuts inside trees, those that the cut gives.
func (l *loader) mergeCuts(ctx context.Context, added, updated, unchanged *int64) error {
	if !l.staged["load_cuts"] {
		return nil
	}
	if err := l.findTrees(ctx, "load_cuts"); err != nil {
		return err
	}
	if err := l.number(ctx, "load_cuts"); err != nil {
		return err
	}
	given, kept := l.given(cutColumns), []string(nil)
	if l.spec.Role == inventory.RoleTrees {
		given, kept = nil, cutColumns
	}
	changed, err := l.tx.Exec(ctx, `
		UPDATE cuts t SET `+assignments(given, kept)+`, row_digest = l.row_digest, import_id = $2
		FROM load_cuts l
		WHERE t.client_id = $1 AND t.tree_id = l.tree_id AND t.match_key = l.match_key AND t.row_digest IS DISTINCT FROM l.row_digest
		  AND (`+differences(given, kept)+`)`, l.spec.Client, l.id)
	if err != nil {
		return err
	}
	made, err := l.insertNew(ctx, "cuts", "load_cuts", cutColumns)
	if err != nil {
		return err
	}
	*added, *updated = made, changed.RowsAffected()
	var all int64
	if err := l.tx.QueryRow(ctx, `SELECT count(*) FROM load_cuts`).Scan(&all); err != nil {
		return err
	}
	*unchanged = all - *added - *updated
	return nil
}

// number tells like rows of one tree apart by their order in the file: the
// second and later ones get a number after their key.
func (l *loader) number(ctx context.Context, table string) error {
	_, err := l.tx.Exec(ctx, `
		UPDATE `+table+` l SET match_key = l.match_key || '#' || n.n
		FROM (SELECT ctid AS at, row_number() OVER (PARTITION BY tree_id, match_key ORDER BY record, ctid) n FROM `+table+`) n
		WHERE n.at = l.ctid AND n.n > 1`)
	return err
}

// insertNew adds the staged rows of table whose tree and key are not there yet.
func (l *loader) insertNew(ctx context.Context, table, stage string, columns []string) (int64, error) {
	list := strings.Join(columns, ", ")
	tag, err := l.tx.Exec(ctx, `
		INSERT INTO `+table+` (client_id, site_id, import_id, changed_by, tree_id, match_key, row_digest, extra, `+list+`)
		SELECT $1, $2, $3, actor(), tree_id, match_key, row_digest, extra, `+list+` FROM `+stage+` l ORDER BY record
		ON CONFLICT (client_id, tree_id, match_key) DO NOTHING`,
		l.spec.Client, l.site, l.id)
	return tag.RowsAffected(), err
}
