package postgres

import (
	"context"
	"errors"
	"math"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/paulmach/orb/encoding/ewkb"

	"github.com/underbough/underbough/inventory"
)

// wgs84 is the system that geometries are stored in.
const wgs84 = 4326

// editParam adds a value as a parameter and returns its SQL.
func editParam(sql *featureSQL, p *inventory.Property, v inventory.Value) (string, error) {
	var arg any
	cast := map[inventory.PropertyType]string{
		inventory.Text: "text", inventory.Integer: "bigint", inventory.Number: "float8", inventory.Boolean: "boolean", inventory.Date: "date", inventory.Object: "jsonb",
	}[p.Type]
	if p.Name == hourProperty {
		cast = "timestamp"
	}
	switch {
	case cast == "":
		return "", inventory.Errorf(inventory.Internal, "%s has a type that cannot be edited", p.Name)
	case v.Null:
	case p.Name == hourProperty:
		at, err := readHour(string(v.Bytes))
		if err != nil {
			return "", err
		}
		arg = at
	case p.Type == inventory.Text:
		arg = string(v.Bytes)
	case p.Type == inventory.Integer:
		if !longIDs[p.Name] && (v.Int > math.MaxInt32 || v.Int < math.MinInt32) {
			return "", inventory.Errorf(inventory.Invalid, "%s is %d: expected at most %d", p.Name, v.Int, math.MaxInt32)
		}
		if arg = int32(v.Int); longIDs[p.Name] {
			arg = v.Int
		} else {
			cast = "integer"
		}
	case p.Type == inventory.Number:
		arg = v.Float
	case p.Type == inventory.Boolean:
		arg = v.Int != 0
	case p.Type == inventory.Date:
		arg = v.Time
	case p.Type == inventory.Object:
		arg = string(v.Bytes)
	}
	return sql.arg(arg) + "::" + cast, nil
}

// longIDs are the whole numbers that may be longer than four bytes.
var longIDs = map[string]bool{"tree_id": true, "target_id": true}

// hourProperty is served as text, since it has no zone, and is a time here.
const hourProperty = "counted_at"

// readHour reads a time by the site's clock, seconds or not.
func readHour(s string) (time.Time, error) {
	for _, layout := range []string{"2006-01-02T15:04", "2006-01-02T15:04:05"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t, nil
		}
	}
	return time.Time{}, inventory.Errorf(inventory.Invalid, "%s is %.60q: expected the begin of an hour by the site's clock, such as 2026-03-02T08:00", hourProperty, s)
}

// placed returns the edit's geometry as it is stored, nil for none.
func placed(ctx context.Context, tx pgx.Tx, e *inventory.Edit) (wkb []byte, err error) {
	g := e.Geometry.V
	if g == nil {
		return nil, nil
	}
	if e.SRID == 0 || e.SRID == wgs84 {
		wkb, err = ewkb.Marshal(g, wgs84)
	} else {
		wkb, err = ewkb.Marshal(g, e.SRID)
	}
	if err != nil {
		return nil, inventory.Errorf(inventory.Invalid, "geometry: %w", err)
	}
	if e.SRID == 0 || e.SRID == wgs84 {
		return wkb, nil
	}
	// What lies outside of a system's reach comes back from the two ways elsewhere,
	// or not at all.
	var back bool
	err = tx.QueryRow(ctx, `
		SELECT ST_AsEWKB(w), coalesce(ST_HausdorffDistance(g, ST_Transform(w, $2::integer)) < 1e-6 * greatest(1, abs(ST_XMin(g)), abs(ST_XMax(g)), abs(ST_YMin(g)), abs(ST_YMax(g))), false)
		FROM (SELECT ST_GeomFromEWKB($1::bytea) AS g) sent CROSS JOIN LATERAL (SELECT ST_Transform(g, 4326) AS w) stored`, wkb, e.SRID).Scan(&wkb, &back)
	var server *pgconn.PgError
	if errors.As(err, &server) && server.Code == "XX000" || err == nil && !back {
		return nil, inventory.Errorf(inventory.Invalid, "geometry: it lies outside of what EPSG:%d can express: check the order of its coordinates and Content-Crs", e.SRID)
	}
	return wkb, err
}

// shape is the SQL of the edit's geometry, given as it is stored; false where the
// edit has none to write.
func (t *editTable) shape(sql *featureSQL, e *inventory.Edit, wkb []byte) (string, bool) {
	if !e.Geometry.OK && !(e.Kind == inventory.Replace && t.own) {
		return "", false
	}
	if wkb == nil {
		// What has no geometry of its own loses none.
		return "NULL", t.own
	}
	given := `ST_GeomFromEWKB(` + sql.arg(wkb) + `::bytea)`
	if t.table == "sites" {
		given = `ST_Multi(` + given + `)`
	}
	if e.Kind == inventory.Create {
		return given, true
	}
	// A shape that comes back as it was served is the one that is there, digits
	// beyond those served and all. A point in another system may be a few
	// millimetres off after its two ways.
	same := `gis.same_shape(geometry, ` + given + `)`
	if e.SRID != 0 && e.SRID != wgs84 {
		same = `(` + same + ` OR ST_Dimension(` + given + `) = 0 AND ST_DWithin(geometry, ` + given + `, 8e-8))`
	}
	return `CASE WHEN ` + same + ` THEN geometry ELSE ` + given + ` END`, true
}
