package postgres_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkt"

	"github.com/underbough/underbough/geo"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// The judge here is PostGIS: it draws a zone as a polygon of geodesic rays
// (ST_Project on geography), cuts the target with it, and measures what is
// left as geography. Near the antimeridian both sides are moved to 0–360.
const judgeSQL = `
WITH rays AS (
	SELECT i, ST_Project(ST_MakePoint($1, $2)::geography, $3,
		radians(mod((($4::float8 + $5::float8 / 2 - $5::float8 * i / $6::int))::numeric, 360)::float8))::geometry AS p
	FROM generate_series(0, $6::int) AS i
), corners AS (
	SELECT CASE WHEN $5::float8 >= 360
		THEN (SELECT array_agg(p ORDER BY i) FILTER (WHERE i < $6::int) FROM rays)
		ELSE ST_SetSRID(ST_MakePoint($1, $2), 4326) || (SELECT array_agg(p ORDER BY i) FROM rays)
	END AS c
), shapes AS (
	SELECT ST_MakePolygon(ST_MakeLine(c || c[1])) AS zone, ST_GeomFromText($7, 4326) AS target FROM corners
), moved AS (
	SELECT CASE WHEN abs($1) > 179 THEN ST_Intersection(ST_ShiftLongitude(zone), ST_ShiftLongitude(target))
		ELSE ST_Intersection(zone, target) END AS cut FROM shapes
)
SELECT ST_Length(ST_CollectionExtract(cut, 2)::geography), ST_Area(ST_CollectionExtract(cut, 3)::geography) FROM moved`

const judgeRays = 4096 // an inscribed polygon of so many corners is 4e-7 small

type geoCase struct {
	origin orb.Point
	zone   geo.Zone
	target orb.Geometry
	edges  int
}

func judge(t *testing.T, conn *pgx.Conn, c geoCase, radius float64) (m geo.Measure) {
	t.Helper()
	rays := judgeRays
	if !c.zone.IsDisc() {
		rays = int(judgeRays * c.zone.Width / 360)
	}
	err := conn.QueryRow(context.Background(), judgeSQL, c.origin[0], c.origin[1], radius,
		c.zone.Bearing, c.zone.Width, rays, wkt.MarshalString(c.target)).Scan(&m.LengthM, &m.AreaM2)
	if err != nil {
		t.Fatalf("%+v: %v", c, err)
	}
	return m
}

// Tolerances: the judge's disc is a geodesic one where geo's plane does not let
// the meridians converge, at r metres a displacement of up to 0.8·r²·tanφ/R
// (bow). It is allowed for along the edges of areas and the circle, and for
// lengths, where a grazing line magnifies it, by asking again with the radius
// that much less and more.
// ST_Area on geography rounds at about 1e-3 m². Where more than a tenth of
// the zone is covered, 0.1 % must hold whatever the bow.
func TestOverlapAgainstGeography(t *testing.T) {
	conn, err := pgx.Connect(context.Background(), pgtest.URL(t))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	const noiseM2 = 5e-3
	rng, worst, touched := rand.New(rand.NewPCG(2, 6)), 0.0, 0
	for range 150 {
		c := randomCase(rng)
		r, whole := c.zone.Radius, c.zone.Area()
		bow := 0.8 * r * r * math.Abs(math.Tan(c.origin[1]*math.Pi/180)) / 6.37e6
		got, want := geo.Overlap(c.zone, c.origin, c.target), judge(t, conn, c, r)
		if want != (geo.Measure{}) {
			touched++
		}
		off := math.Abs(got.AreaM2 - want.AreaM2)
		if off > 2e-6*whole+noiseM2+bow*(2*r*float64(c.edges)+2*math.Pi*r) || (want.AreaM2 > whole/10 && off > 1e-3*want.AreaM2+noiseM2) {
			t.Errorf("area in %+v at %v: got %.9g, PostGIS %.9g", c.zone, c.origin, got.AreaM2, want.AreaM2)
		}
		if want.AreaM2 > whole/10 {
			worst = max(worst, (off-noiseM2)/want.AreaM2)
		}
		off = math.Abs(got.LengthM - want.LengthM)
		if want.LengthM > r/5 {
			worst = max(worst, off/want.LengthM)
		}
		if off <= 1e-5*want.LengthM+1e-6 {
			continue
		}
		slack := (1e-5+2*bow/r)*want.LengthM + 1e-6
		if !c.zone.IsDisc() { // the sides of a sector move too
			slack += 20 * bow * float64(c.edges)
		}
		low := judge(t, conn, c, r-bow-2e-6*r).LengthM - slack
		high := judge(t, conn, c, r+bow+2e-6*r).LengthM + slack
		if got.LengthM < low || got.LengthM > high {
			t.Errorf("length in %+v at %v: got %.9g, PostGIS %.9g to %.9g", c.zone, c.origin, got.LengthM, low, high)
		}
	}
	if touched < 75 {
		t.Errorf("only %d of 150 targets met their zone: this test says too little", touched)
	}
	t.Logf("%d targets met; largest relative difference over a tenth of a zone: %.2g", touched, worst)
}

func TestSizeAgainstGeography(t *testing.T) {
	conn, err := pgx.Connect(context.Background(), pgtest.URL(t))
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close(context.Background())
	rng := rand.New(rand.NewPCG(3, 6))
	for range 100 {
		c := randomCase(rng)
		var want geo.Measure
		err := conn.QueryRow(context.Background(),
			`SELECT ST_Length(g), ST_Area(g) FROM (SELECT ST_GeogFromText($1) AS g) AS x`,
			wkt.MarshalString(c.target)).Scan(&want.LengthM, &want.AreaM2)
		if err != nil {
			t.Fatal(err)
		}
		got := geo.Size(c.target)
		// Geodesic edges against edges straight in degrees, up to 600 m long.
		if math.Abs(got.LengthM-want.LengthM) > 1e-6*want.LengthM || math.Abs(got.AreaM2-want.AreaM2) > 1e-3*want.AreaM2+5e-3 {
			t.Errorf("at %v: got %+v, PostGIS %+v", c.origin, got, want)
		}
	}
}

// randomCase is a zone and a target about it: latitudes −60 to 70 and 75, one
// in three by the antimeridian, holes, multiparts, rings wound either way.
func randomCase(rng *rand.Rand) geoCase {
	between := func(low, high float64) float64 { return low + (high-low)*rng.Float64() }
	c := geoCase{origin: orb.Point{between(-178, 178), between(-60, 70)}, zone: geo.Disc(between(3, 200))}
	if rng.IntN(5) == 0 {
		c.origin[1] = 75
	}
	if rng.IntN(3) == 0 {
		c.origin[0] = []float64{180, -180, 179.9999, -179.9998}[rng.IntN(4)]
	}
	if rng.IntN(2) == 0 {
		c.zone = geo.Sector(c.zone.Radius, between(0, 360), between(10, 350))
	}
	plane, scale := geo.NewPlane(c.origin), c.zone.Radius*between(0.2, 1.5)
	var lines orb.MultiLineString
	var polygons orb.MultiPolygon
	for part := range 1 + rng.IntN(3) {
		line := make(orb.LineString, 2+rng.IntN(6))
		for i := range line {
			line[i] = plane.ToPoint(between(-scale, scale), between(-scale, scale))
		}
		lines = append(lines, line)
		x, y := 3.1*scale*float64(part)+between(-scale/2, scale/2), between(-scale/2, scale/2)
		polygon := orb.Polygon{randomRing(rng, plane, x, y, scale)}
		if rng.IntN(2) == 0 {
			polygon = append(polygon, randomRing(rng, plane, x, y, scale/4))
		}
		polygons = append(polygons, polygon)
	}
	c.target = polygons
	c.edges = 20 * len(polygons)
	if rng.IntN(2) == 0 {
		c.target = lines
	}
	return c
}

// randomRing has corners at half to all of scale from its middle.
func randomRing(rng *rand.Rand, plane geo.Plane, x, y, scale float64) orb.Ring {
	n := 4 + rng.IntN(7)
	ring := make(orb.Ring, n)
	for i := range ring {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		d := scale * (0.5 + 0.5*rng.Float64())
		ring[i] = plane.ToPoint(x+d*cos, y+d*sin)
	}
	if rng.IntN(2) == 0 {
		slices.Reverse(ring)
	}
	return append(ring, ring[0])
}

func (c geoCase) String() string { return fmt.Sprintf("%+v at %v", c.zone, c.origin) }
