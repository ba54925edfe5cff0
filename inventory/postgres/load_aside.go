package postgres

import (
	"context"
	"strings"
)

// aside is what can be set aside of a table while it is filled from nothing:
// indexes, keys and triggers.
type aside struct {
	table string
	drop  []string
	make  []string
}

var trees = aside{
	table: "trees",
	drop: []string{
		`ALTER TABLE cuts DROP CONSTRAINT cuts_tree`,
		`ALTER TABLE visits DROP CONSTRAINT visits_tree`,
		`ALTER TABLE trees DROP CONSTRAINT trees_match, DROP CONSTRAINT trees_pkey, DROP CONSTRAINT trees_site`,
		`DROP INDEX trees_tag, trees_geometry`,
	},
	make: []string{
		`ALTER TABLE trees ADD CONSTRAINT trees_pkey PRIMARY KEY (client_id, tree_id)`,
		`ALTER TABLE trees ADD CONSTRAINT trees_match UNIQUE (client_id, site_id, match_key)`,
		`CREATE INDEX trees_tag ON trees (client_id, site_id, tag)`,
		`CREATE INDEX trees_geometry ON trees USING gist (geometry)`,
		`ALTER TABLE trees ADD CONSTRAINT trees_site FOREIGN KEY (client_id, site_id) REFERENCES sites`,
		`ALTER TABLE cuts ADD CONSTRAINT cuts_tree FOREIGN KEY (client_id, tree_id) REFERENCES trees ON DELETE CASCADE`,
		`ALTER TABLE visits ADD CONSTRAINT visits_tree FOREIGN KEY (client_id, tree_id) REFERENCES trees ON DELETE CASCADE`,
	},
}

var targets = aside{
	table: "targets",
	drop: []string{
		`ALTER TABLE counts DROP CONSTRAINT counts_target`,
		`ALTER TABLE targets DROP CONSTRAINT targets_match, DROP CONSTRAINT targets_pkey, DROP CONSTRAINT targets_site`,
		`DROP INDEX targets_geometry`,
	},
	make: []string{
		`ALTER TABLE targets ADD CONSTRAINT targets_pkey PRIMARY KEY (client_id, target_id)`,
		`ALTER TABLE targets ADD CONSTRAINT targets_match UNIQUE (client_id, site_id, match_key)`,
		`CREATE INDEX targets_geometry ON targets USING gist (geometry)`,
		`ALTER TABLE targets ADD CONSTRAINT targets_site FOREIGN KEY (client_id, site_id) REFERENCES sites`,
		`ALTER TABLE counts ADD CONSTRAINT counts_target FOREIGN KEY (client_id, target_id) REFERENCES targets ON DELETE CASCADE`,
	},
}

// setAside prepares an empty table to be filled fast; it reports false where the
// table is not empty or somebody is at it just now, and then has changed nothing.
func (l *loader) setAside(ctx context.Context, a aside) (bool, error) {
	var empty bool
	if err := l.tx.QueryRow(ctx, `SELECT NOT EXISTS (SELECT FROM `+a.table+`)`).Scan(&empty); err != nil || !empty {
		return false, err
	}
	// All locks at once, the one on sites that the foreign keys will take
	// included: a lock that is waited for later, with others held, is how two
	// imports end up waiting for each other.
	_, busy := l.tx.Exec(ctx, `SAVEPOINT aside; SET LOCAL lock_timeout = '500ms';
		LOCK TABLE sites, trees, cuts, visits, targets, counts IN ACCESS EXCLUSIVE MODE; SET LOCAL lock_timeout = 0`)
	if busy == nil {
		if err := l.tx.QueryRow(ctx, `SELECT NOT EXISTS (SELECT FROM `+a.table+`)`).Scan(&empty); err != nil {
			return false, err
		}
	}
	if busy != nil || !empty {
		_, back := l.tx.Exec(ctx, `ROLLBACK TO aside`) // which gives the locks back
		return false, back
	}
	// A table truncated in the same transaction is written without WAL where
	// wal_level is minimal.
	statements := append(a.drop[:len(a.drop):len(a.drop)], `ALTER TABLE `+a.table+` DISABLE TRIGGER USER`, `TRUNCATE `+a.table)
	_, err := l.tx.Exec(ctx, strings.Join(statements, ";"))
	return err == nil, err
}

// putBack makes again what setAside dropped, and marks the site as touched,
// which the triggers could not.
func (l *loader) putBack(ctx context.Context, a aside, rows int64) error {
	// The statistics of a tenth of the usual sample serve as well until
	// autovacuum comes by.
	statements := append(a.make[:len(a.make):len(a.make)], `ALTER TABLE `+a.table+` ENABLE TRIGGER USER`,
		`SET LOCAL default_statistics_target = 10`, `ANALYZE `+a.table, `SET LOCAL default_statistics_target = 100`)
	for _, s := range statements {
		if _, err := l.tx.Exec(ctx, s); err != nil {
			return err
		}
	}
	_, err := l.tx.Exec(ctx, `INSERT INTO touched (client_id, site_id) VALUES ($1, $2)`, l.spec.Client, l.site)
	return err
}
