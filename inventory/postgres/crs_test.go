package postgres_test

import (
	"bytes"
	"context"
	"fmt"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/encoding/wkb"

	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/crs"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// cs2cs transforms a place by PROJ's own tool, which takes and gives coordinates
// in the order and directions of the authority: for EPSG:4326 latitude first.
func cs2cs(t testing.TB, srid int, p orb.Point) (first, second float64) {
	t.Helper()
	cmd := exec.Command("cs2cs", "-f", "%.9f", "EPSG:4326", fmt.Sprintf("EPSG:%d", srid))
	cmd.Stdin = strings.NewReader(fmt.Sprintf("%.10f %.10f\n", p[1], p[0]))
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("cs2cs, which `.ci/provision test` installs: %v %s", err, said.String())
	}
	f := strings.Fields(string(out))
	first, err = strconv.ParseFloat(f[0], 64)
	if err == nil {
		second, err = strconv.ParseFloat(f[1], 64)
	}
	if err != nil {
		t.Fatalf("cs2cs answered %q", out)
	}
	return first, second
}

// TestProject compares coordinates as they are served, in the order of the axes
// that the table says and to the last decimal, with PROJ's.
func TestProject(t *testing.T) {
	db := open(t)
	for _, c := range []struct {
		srid int
		at   orb.Point
	}{
		{4326, orb.Point{25.2800123, 54.6812345}}, {4258, orb.Point{25.28, 54.68}}, // latitude first
		{32635, orb.Point{25.28, 54.68}}, {32632, orb.Point{5.32, 60.39}}, // UTM north
		{32719, orb.Point{-70.4, -23.65}}, {32733, orb.Point{18.42, -33.92}}, // UTM south
		{3857, orb.Point{-0.1276, 51.5072}}, {25832, orb.Point{9.18, 48.78}}, {27700, orb.Point{-0.1276, 51.5072}}, // easting first
		{2056, orb.Point{7.447, 46.948}}, {21781, orb.Point{7.447, 46.948}},
		{3035, orb.Point{10.5, 50.2}}, {31467, orb.Point{9.18, 48.78}}, {2180, orb.Point{19.5, 52.1}}, {2193, orb.Point{174.76, -41.29}}, // northing first
		{3006, orb.Point{18.07, 59.33}}, {3346, orb.Point{25.28, 54.68}},
		{2249, orb.Point{-71.06, 42.36}}, {2263, orb.Point{-73.98, 40.75}}, {26986, orb.Point{-71.06, 42.36}}, {2277, orb.Point{-97.74, 30.27}}, // state plane: US feet and metres
		{5514, orb.Point{14.42, 50.08}},                                                                                                   // Krovak, east and north
		{2065, orb.Point{14.42, 50.08}}, {5513, orb.Point{14.42, 50.08}}, {2046, orb.Point{15.5, -28.4}}, {22275, orb.Point{15.5, -28.4}}, // southing, westing; westing, southing
		{3031, orb.Point{-50, -75}}, {5041, orb.Point{15, 85}}, {32661, orb.Point{15, 85}}, {32761, orb.Point{15, -85}}, {5482, orb.Point{170, -78}}, {3995, orb.Point{15, 78}}, // poles
	} {
		ref, err := crs.EPSG(c.srid)
		if err != nil {
			t.Error(err)
			continue
		}
		if known, err := db.KnownSRID(t.Context(), c.srid); err != nil || !known {
			t.Errorf("EPSG:%d: known %v, %v", c.srid, known, err)
		}
		b, err := wkb.Marshal(c.at)
		if err != nil {
			t.Fatal(err)
		}
		out, err := db.Project(t.Context(), crs.WGS84, c.srid, [][]byte{b, b})
		if err != nil || len(out) != 2 {
			t.Errorf("EPSG:%d: %v", c.srid, err)
			continue
		}
		g, err := wkb.Unmarshal(out[1])
		if err != nil {
			t.Fatal(err)
		}
		got := g.(orb.Point)
		if ref.YFirst {
			got[0], got[1] = got[1], got[0]
		}
		first, second := cs2cs(t, c.srid, c.at)
		digits := func(v float64) string { return strconv.FormatFloat(v, 'f', ref.Decimals, 64) }
		if digits(got[0]) != digits(first) || digits(got[1]) != digits(second) {
			t.Errorf("EPSG:%d of %v: %s, %s; PROJ says %s, %s", c.srid, c.at, digits(got[0]), digits(got[1]), digits(first), digits(second))
		}
	}
}

func TestProjectOutside(t *testing.T) {
	db := open(t)
	for _, c := range []struct {
		srid int
		at   orb.Point
	}{{3857, orb.Point{0, 90}}, {3857, orb.Point{0, -90}}, {32633, orb.Point{105, 0}}, {3035, orb.Point{-170, -52}}, {2249, orb.Point{109, -42}}, {3031, orb.Point{0, 90}}} {
		b, err := wkb.Marshal(c.at)
		if err != nil {
			t.Fatal(err)
		}
		out, err := db.Project(t.Context(), crs.WGS84, c.srid, [][]byte{b})
		if err != nil {
			if inventory.KindOf(err) != inventory.Invalid {
				t.Errorf("EPSG:%d of %v: %v", c.srid, c.at, err)
			}
			continue
		}
		g, err := wkb.Unmarshal(out[0])
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("EPSG:%d of %v: %v", c.srid, c.at, g)
	}
	if out, err := db.Project(t.Context(), crs.WGS84, 32635, nil); err != nil || out != nil {
		t.Error(out, err)
	}
	if _, err := db.Project(t.Context(), crs.WGS84, 32635, [][]byte{{1, 2, 3}}); err == nil {
		t.Error("what is no geometry was transformed")
	}
	for _, srid := range []int{0, -1, 99999, 22300, 22700, 3752, 999999} {
		if known, err := db.KnownSRID(t.Context(), srid); err != nil || known {
			t.Errorf("EPSG:%d: known %v, %v", srid, known, err)
		}
	}
}

// TestSiteReferences has sites with a reference system of their own, with trees
// or a boundary alone, and with nothing.
func TestSiteReferences(t *testing.T) {
	url := pgtest.URL(t)
	db, err := postgres.Open(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(db.Close)
	pgtest.Exec(t, url, `
		INSERT INTO sites (client_id, site_id, name, epsg) VALUES (1, 1, 'set', 2249), (1, 2, 'trees', NULL), (1, 3, 'south', NULL), (1, 4, 'empty', NULL), (1, 6, 'Bergen', NULL);
		INSERT INTO sites (client_id, site_id, name, boundary) VALUES (1, 5, 'bounded', ST_Multi(ST_MakeEnvelope(14, 55, 15, 56, 4326)));
		INSERT INTO trees (client_id, site_id, geometry) SELECT 1, 2, ST_SetSRID(ST_MakePoint(25.2 + n * 1e-5, 54.6), 4326) FROM generate_series(1, 3000) n;
		INSERT INTO trees (client_id, site_id, geometry) VALUES (1, 1, ST_SetSRID(ST_MakePoint(-71, 42), 4326)), (1, 3, ST_SetSRID(ST_MakePoint(18.42, -33.92), 4326)), (1, 6, ST_SetSRID(ST_MakePoint(5.32, 60.39), 4326))`)
	got, err := db.SiteReferences(context.Background(), 1)
	want := []inventory.SiteReference{{Site: 1, SRID: 2249}, {Site: 2, SRID: 32635}, {Site: 3, SRID: 32734}, {Site: 5, SRID: 32633}, {Site: 6, SRID: 32632}}
	if err != nil || !slices.Equal(got, want) {
		t.Errorf("%v, %v; want %v", got, err, want)
	}
	// A few that strayed take no site's system away, whichever tag they have.
	pgtest.Exec(t, url, `
		INSERT INTO trees (client_id, site_id, tag, geometry) SELECT 1, 2, '0' || n, ST_SetSRID(ST_MakePoint(x, y), 4326) FROM (VALUES (1, 0, 0), (2, -74, -40), (3, 170, 80)) v (n, x, y);
		INSERT INTO trees (client_id, site_id, tag, geometry) SELECT 1, 3, n::text, ST_SetSRID(ST_MakePoint(18.42, -33.92), 4326) FROM generate_series(1, 3) n;
		INSERT INTO trees (client_id, site_id, tag, geometry) VALUES (1, 3, '0', ST_SetSRID(ST_MakePoint(0, 0), 4326))`)
	if got, err := db.SiteReferences(context.Background(), 1); err != nil || !slices.Equal(got, want) {
		t.Errorf("with strays %v, %v; want %v", got, err, want)
	}
}
