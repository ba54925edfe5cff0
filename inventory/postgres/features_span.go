package postgres

import (
	"context"
	"time"

	"github.com/jackc/pgx/v5"

	"github.com/underbough/underbough/inventory"
)

// FeatureSpan returns the time from the beginning of the earliest feature of a
// stored collection to the end of the latest; false where no feature has a time.
func (db *DB) FeatureSpan(ctx context.Context, client inventory.ClientID, c *inventory.Collection) (span inventory.Span, ok bool, err error) {
	q := inventory.FeatureQuery{Client: client, Collection: c, Pick: make([]bool, len(c.Properties))}
	var from, to *time.Time
	err = db.withSites(ctx, client, false, func(sites siteStates) error {
		f, err := newFeatureSQL(ctx, q, sites)
		if err != nil {
			return err
		}
		if err := f.span(); err != nil {
			return err
		}
		return db.ask(ctx, false, f.text.String(), f.args, func(rows pgx.Rows) error {
			for rows.Next() {
				if err := rows.Scan(&from, &to); err != nil {
					return err
				}
			}
			return rows.Err()
		})
	})
	if err != nil || from == nil || to == nil {
		return span, false, err
	}
	return inventory.Span{From: *from, To: *to}, true, nil
}

func (s *featureSQL) span() error {
	s.need(s.table.timeNeeds)
	where, err := s.where()
	if err != nil {
		return err
	}
	s.text.WriteString("SELECT min(" + s.table.begin + "), max(" + s.table.end + ")" + s.from() + where)
	return nil
}
