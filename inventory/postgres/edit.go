package postgres

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
)

// editTable says where edits of a collection go: through the view of its name in
// the schema gis, whose triggers hold the rules for every path.
type editTable struct {
	table, key string
	site       bool // each feature is of a site, whose exposures it may touch
	// own says that the geometry is the feature's own, not that of what it is of.
	own bool
	// finds are fixed properties by which a new feature names what it is of, but
	// for a property that says so better.
	finds  []string
	better string
	// kept are left as they are where a replacement does not give them.
	kept []string
	// or is what a replacement is given where it does not say.
	or map[string]string
}

var editTables = map[string]*editTable{
	"sites":   {table: "sites", key: "site_id", own: true},
	"trees":   {table: "trees", key: "tree_id", own: true, site: true, kept: []string{"site"}, or: map[string]string{"status": string(inventory.Alive)}},
	"cuts":    {table: "cuts", key: "cut_id", site: true, finds: []string{"site", "tag"}, better: "tree_id", kept: []string{"tree_id"}},
	"visits":  {table: "visits", key: "visit_id", site: true, finds: []string{"site", "tag"}, better: "tree_id", kept: []string{"tree_id"}},
	"targets": {table: "targets", key: "target_id", own: true, site: true, kept: []string{"site"}},
	"counts":  {table: "counts", key: "count_id", site: true, kept: []string{"target_id"}},
}

// EditFeature makes one edit, and brings the exposures of the sites it touches up
// to date in the same transaction.
func (db *DB) EditFeature(ctx context.Context, e inventory.Edit, p *profile.Profile) (id int64, err error) {
	t, ok := editTables[e.Collection.ID]
	if !ok || !e.Collection.Editable {
		return 0, inventory.Errorf(inventory.Invalid, "%s cannot be edited", e.Collection.ID)
	}
	err = db.editing(ctx, func(ctx context.Context, tx pgx.Tx) error {
		_, err := tx.Exec(ctx, `SELECT set_config('underbough.client', (SELECT name FROM clients WHERE client_id = $1), true), set_config('underbough.actor', $2, true)`, e.Client, e.Actor)
		if err != nil {
			return err
		}
		sites, err := t.edit(ctx, tx, &e)
		if err != nil {
			return inWords(err)
		}
		id = e.ID
		return catchUpSites(ctx, tx, e.Client, sites, p)
	})
	return id, err
}

// edit makes the edit and returns the sites that it touched.
func (t *editTable) edit(ctx context.Context, tx pgx.Tx, e *inventory.Edit) (sites []int64, err error) {
	if e.Kind == inventory.PutBack {
		return t.putBack(ctx, tx, e)
	}
	if e.Kind != inventory.Create {
		if sites, err = t.lock(ctx, tx, e); err != nil {
			return nil, err
		}
	}
	wkb, err := placed(ctx, tx, e)
	if err != nil {
		return nil, err
	}
	sql, args, err := t.statement(e, wkb)
	if err != nil || sql == "" {
		return sites, err
	}
	if e.Kind == inventory.Delete {
		_, err = tx.Exec(ctx, sql, args...)
		return sites, err
	}
	if err := tx.QueryRow(ctx, sql, args...).Scan(&e.ID); err != nil || !t.site {
		return sites, err
	}
	var site int64
	err = tx.QueryRow(ctx, `SELECT site_id FROM `+t.table+` WHERE client_id = $1 AND `+t.key+` = $2`, e.Client, e.ID).Scan(&site)
	if !slices.Contains(sites, site) {
		sites = append(sites, site)
	}
	return sites, err
}

// lock keeps others from the feature until the edit is through, and refuses it
// where the feature is gone or at another version.
func (t *editTable) lock(ctx context.Context, tx pgx.Tx, e *inventory.Edit) (sites []int64, err error) {
	var version, site int64
	err = tx.QueryRow(ctx, `SELECT version, site_id FROM `+t.table+` WHERE client_id = $1 AND `+t.key+` = $2 FOR UPDATE`, e.Client, e.ID).Scan(&version, &site)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return nil, inventory.Errorf(inventory.NotFound, "there is no feature %d in %s", e.ID, e.Collection.ID)
	case err != nil:
		return nil, err
	case e.Versions != nil && !slices.Contains(e.Versions, version):
		return nil, inventory.Errorf(inventory.Conflict, "feature %d of %s is at version %d, which is not the one that the edit was made from: %w; read it again and repeat the edit", e.ID, e.Collection.ID, version, inventory.ErrChanged)
	case slices.Contains(e.Unless, version):
		return nil, inventory.Errorf(inventory.Conflict, "feature %d of %s is at version %d still, which the edit is not for: %w", e.ID, e.Collection.ID, version, inventory.ErrUnchanged)
	case !t.site:
		return nil, nil
	}
	return []int64{site}, nil
}

// catchUpSites brings sites up to date that have exposures in force under a
// profile. Where an edit touched too much for that, the next question makes a
// full run.
func catchUpSites(ctx context.Context, tx pgx.Tx, client inventory.ClientID, sites []int64, p *profile.Profile) error {
	slices.Sort(sites) // in one order, so that no two wait for each other
	for _, id := range sites {
		site := inventory.Site{ID: inventory.SiteID(id), Client: client}
		var asOf time.Time
		err := tx.QueryRow(ctx, `
			SELECT s.name, s.time_zone, r.as_of FROM sites s JOIN runs r USING (client_id, site_id, generation)
			WHERE s.client_id = $1 AND s.site_id = $2 AND r.profile_digest = $3`, client, id, p.Digest).Scan(&site.Name, &site.TimeZone, &asOf)
		if errors.Is(err, pgx.ErrNoRows) {
			continue
		}
		if err != nil {
			return err
		}
		if _, _, err := catchUp(ctx, tx, site, p, asOf); err != nil {
			return err
		}
	}
	return nil
}

// statement is the SQL of an edit through the view. All of its text is constant:
// names come from the collection, values are parameters. It is empty where there
// is nothing to change.
func (t *editTable) statement(e *inventory.Edit, wkb []byte) (string, []any, error) {
	var sql featureSQL
	view := "gis." + t.table
	if e.Kind == inventory.Delete {
		return `DELETE FROM ` + view + ` WHERE ` + t.key + ` = ` + sql.arg(e.ID), sql.args, nil
	}
	values, err := t.values(e)
	if err != nil {
		return "", nil, err
	}
	var names, params []string
	add := func(name, sql string) { names, params = append(names, name), append(params, sql) }
	for _, name := range slices.Sorted(maps.Keys(values)) {
		p, _ := e.Collection.Property(name)
		param, err := editParam(&sql, p, values[name])
		if err != nil {
			return "", nil, err
		}
		if p.Type == inventory.Number && e.Kind != inventory.Create {
			// A figure that comes back as it was served is the figure that is there,
			// digits beyond those served and all.
			param = fmt.Sprintf("CASE WHEN abs(%[3]s - %[1]s) < 1e-9 THEN %[2]s ELSE %[1]s END", param, name, roundedSQL(name, p.Decimals))
		}
		add(name, param)
	}
	if shape, ok := t.shape(&sql, e, wkb); ok {
		add("geometry", shape)
	}
	if e.Kind == inventory.Create {
		if len(names) == 0 {
			names, params = []string{t.key}, []string{"NULL"}
		}
		return `INSERT INTO ` + view + ` (` + strings.Join(names, ", ") + `) VALUES (` + strings.Join(params, ", ") + `) RETURNING ` + t.key, sql.args, nil
	}
	if len(names) == 0 {
		return "", nil, nil
	}
	for i := range names {
		names[i] += " = " + params[i]
	}
	return `UPDATE ` + view + ` SET ` + strings.Join(names, ", ") + ` WHERE ` + t.key + ` = ` + sql.arg(e.ID) + ` RETURNING ` + t.key, sql.args, nil
}

// values are those of the edit that are written.
func (t *editTable) values(e *inventory.Edit) (map[string]inventory.Value, error) {
	out := make(map[string]inventory.Value)
	for name, v := range e.Values {
		p, ok := e.Collection.Property(name)
		switch {
		case !ok:
			return nil, inventory.Errorf(inventory.Invalid, "%s have no property %.60q", e.Collection.ID, name)
		case !p.Fixed, e.Kind == inventory.Create && slices.Contains(t.finds, name) && !e.Gives(t.better):
			out[name] = v
		}
	}
	if e.Kind != inventory.Replace {
		return out, nil
	}
	for i := range e.Collection.Properties {
		p := &e.Collection.Properties[i]
		if p.Fixed || e.Gives(p.Name) {
			continue
		}
		out[p.Name] = inventory.Value{Null: true}
		if word, ok := t.or[p.Name]; ok {
			out[p.Name] = inventory.Value{Bytes: []byte(word)}
		}
		if slices.Contains(t.kept, p.Name) {
			delete(out, p.Name)
		}
	}
	return out, nil
}

// raised is the routine of the server that RAISE comes from: its messages are
// meant for people already.
const raised = "exec_stmt_raise"

// inWords gives an error of an edit its kind, and leaves the words of the
// triggers as they are.
func inWords(err error) error {
	var server *pgconn.PgError
	if !errors.As(err, &server) {
		return err
	}
	kind := kindOfState(server.Code)
	if server.Code == "2BP01" { // other things depend on it
		kind = inventory.Conflict
	}
	if server.Routine != raised {
		return translate(err)
	}
	return &inventory.Error{Kind: kind, Message: server.Message, Field: server.ColumnName, Err: err}
}
