package postgres

import (
	"context"
	"errors"
	"strings"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
)

// GetClient returns the id of a client by name.
func (db *DB) GetClient(ctx context.Context, name string) (inventory.ClientID, error) {
	var id inventory.ClientID
	err := db.pool.QueryRow(ctx, `SELECT client_id FROM clients WHERE name = $1`, name).Scan(&id)
	if errors.Is(err, pgx.ErrNoRows) {
		return 0, inventory.Errorf(inventory.NotFound, "there is no client %q", name)
	}
	return id, translate(err)
}

// FindSites lists a client's sites by name.
func (db *DB) FindSites(ctx context.Context, client inventory.ClientID) ([]inventory.Site, error) {
	rows, err := db.pool.Query(ctx, `SELECT site_id, client_id, name, time_zone FROM `+sourceOf(ctx, client).from("sites", "s")+` WHERE client_id = $1 ORDER BY name`, client)
	if err != nil {
		return nil, translate(err)
	}
	sites, err := pgx.CollectRows(rows, pgx.RowToStructByPos[inventory.Site])
	return sites, translate(err)
}

// GetSite returns a site by name. With an empty name it returns the only site
// there is.
func (db *DB) GetSite(ctx context.Context, client inventory.ClientID, name string) (inventory.Site, error) {
	sites, err := db.FindSites(ctx, client)
	if err != nil {
		return inventory.Site{}, err
	}
	names := make([]string, len(sites))
	for i, s := range sites {
		if s.Name == name || name == "" && len(sites) == 1 {
			return s, nil
		}
		names[i] = s.Name
	}
	switch {
	case len(sites) == 0:
		return inventory.Site{}, inventory.Errorf(inventory.NotFound, "there is no site yet: import a file with --site NAME first")
	case name == "":
		return inventory.Site{}, inventory.Errorf(inventory.Invalid, "say which site with --site: %s", strings.Join(names, ", "))
	}
	return inventory.Site{}, inventory.Errorf(inventory.NotFound, "there is no site %q; there is %s", name, strings.Join(names, ", "))
}

// GetSiteByID returns a site by its number.
func (db *DB) GetSiteByID(ctx context.Context, client inventory.ClientID, id inventory.SiteID) (inventory.Site, error) {
	sites, err := db.FindSites(ctx, client)
	if err != nil {
		return inventory.Site{}, err
	}
	for _, s := range sites {
		if s.ID == id {
			return s, nil
		}
	}
	return inventory.Site{}, inventory.Errorf(inventory.NotFound, "there is no site %d", id)
}

// GetRun returns the run whose exposures are in force. fresh is false where an
// edit has come since.
func (db *DB) GetRun(ctx context.Context, site inventory.Site) (run inventory.Run, fresh bool, err error) {
	if at := instantOf(ctx); at.OK {
		return db.pastRun(ctx, site, at.V)
	}
	err = db.pool.QueryRow(ctx, `
		SELECT r.generation, r.profile_name, r.profile_digest, r.as_of, r.computed_at, r.trees, r.targets, r.overlap_count, r.reach_m,
		       NOT EXISTS (SELECT FROM touched t WHERE t.client_id = s.client_id AND t.site_id = s.site_id)
		FROM sites s JOIN runs r USING (client_id, site_id, generation)
		WHERE s.client_id = $1 AND s.site_id = $2`, site.Client, site.ID).
		Scan(&run.Generation, &run.ProfileName, &run.ProfileDigest, &run.AsOf, &run.ComputedAt, &run.Trees, &run.Targets, &run.Overlaps, &run.Reach, &fresh)
	return run, fresh, translate(err)
}
