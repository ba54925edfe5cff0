package postgres

import (
	"context"
	"errors"
	"regexp"
	"strconv"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/crs"
)

// KnownSRID reports whether PostGIS has a code of EPSG's and PROJ can work with
// it, which a few that PostGIS lists it cannot.
func (db *DB) KnownSRID(ctx context.Context, srid int) (known bool, err error) {
	err = db.pool.QueryRow(ctx, `
		SELECT ST_Transform(ST_SetSRID(ST_MakePoint(0, 0), srid), 4326) IS NOT NULL
		FROM spatial_ref_sys WHERE srid = $1 AND auth_name = 'EPSG' AND auth_srid = $1`, srid).Scan(&known)
	var server *pgconn.PgError
	switch {
	case isOutside(err):
		return true, nil // it is known, and its origin lies where it does not hold
	case errors.Is(err, pgx.ErrNoRows), errors.As(err, &server) && server.Code == "XX000":
		return false, nil
	}
	return known, translate(err)
}

// SiteReferences returns the reference systems of a client's sites. Where none
// was set, that of the UTM zone is taken that the middle of the site lies in: of
// its boundary, or the medians of the first thousand of its trees by their tags,
// so that not all need be read each time one changes, and none far away counts
// for more than another.
func (db *DB) SiteReferences(ctx context.Context, client inventory.ClientID) ([]inventory.SiteReference, error) {
	rows, err := db.pool.Query(ctx, `
		SELECT s.site_id, s.epsg, coalesce(ST_X(b.middle), m.lon), coalesce(ST_Y(b.middle), m.lat)
		FROM sites s CROSS JOIN LATERAL (SELECT ST_Centroid(ST_Envelope(s.boundary)) AS middle) b
		LEFT JOIN LATERAL (
			SELECT percentile_disc(0.5) WITHIN GROUP (ORDER BY lon) AS lon, percentile_disc(0.5) WITHIN GROUP (ORDER BY lat) AS lat
			FROM (SELECT ST_X(geometry) AS lon, ST_Y(geometry) AS lat FROM trees t WHERE t.client_id = s.client_id AND t.site_id = s.site_id ORDER BY tag LIMIT 1000) t
			WHERE lon BETWEEN -180 AND 180 AND lat BETWEEN -90 AND 90
		) m ON s.epsg IS NULL AND s.boundary IS NULL
		WHERE s.client_id = $1
		ORDER BY s.site_id`, client)
	if err != nil {
		return nil, translate(err)
	}
	var list []inventory.SiteReference
	var site inventory.SiteID
	var epsg *int
	var lon, lat *float64
	_, err = pgx.ForEachRow(rows, []any{&site, &epsg, &lon, &lat}, func() error {
		switch {
		case epsg != nil:
			list = append(list, inventory.SiteReference{Site: site, SRID: *epsg})
		case lon != nil:
			list = append(list, inventory.SiteReference{Site: site, SRID: crs.UTM(*lon, *lat)})
		}
		return nil
	})
	return list, translate(err)
}

// Project transforms geometries from one reference system to another.
func (db *DB) Project(ctx context.Context, from, to int, list [][]byte) ([][]byte, error) {
	if len(list) == 0 {
		return nil, nil
	}
	rows, err := db.pool.Query(ctx, `
		SELECT ST_AsBinary(ST_Transform(ST_GeomFromWKB(u.g, $2), $3::int))
		FROM unnest($1::bytea[]) WITH ORDINALITY u(g, place) ORDER BY u.place`, list, from, to)
	if err != nil {
		return nil, translate(err)
	}
	out, err := pgx.CollectRows(rows, pgx.RowTo[[]byte])
	return out, translate(err)
}

// isOutside reports whether PROJ refused coordinates: they lie where a reference
// system does not reach. PostGIS has no SQLSTATE of its own for that but ends its
// message with PROJ's code, of which those from 2048 to 4095 are about
// coordinates (PROJ_ERR_COORD_TRANSFM in proj.h) and the others about the system.
func isOutside(err error) bool {
	var server *pgconn.PgError
	if !errors.As(err, &server) || server.Code != "XX000" {
		return false
	}
	m := projError.FindStringSubmatch(server.Message)
	if m == nil {
		return strings.HasPrefix(server.Message, "ptarray_transform: ") // fewer came out than went in
	}
	code, _ := strconv.Atoi(m[1])
	return code >= 2048 && code < 4096
}

var projError = regexp.MustCompile(`^transform: .*\((\d+)\)$`)
