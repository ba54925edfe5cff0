package crs

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/paulmach/orb"

	"github.com/underbough/underbough/inventory"
)

// tool runs one of the outside tools that the tests compare with.
func tool(t *testing.T, in, name string, args ...string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Fatalf("%v: `.ci/provision test` installs it", err)
	}
	cmd := exec.Command(path, args...)
	cmd.Stdin = strings.NewReader(in)
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v %s", name, err, said.String())
	}
	return string(out)
}

// registry is the EPSG Dataset as PROJ carries it: every code's axes by number,
// their directions, names and unit.
func registry(t *testing.T) [][]string {
	t.Helper()
	var db string
	for _, dir := range append(filepath.SplitList(os.Getenv("PROJ_DATA")), "/usr/share/proj", "/usr/local/share/proj") {
		if _, err := os.Stat(filepath.Join(dir, "proj.db")); err == nil {
			db = filepath.Join(dir, "proj.db")
			break
		}
	}
	if db == "" {
		t.Fatal("PROJ's proj.db is not found: `.ci/provision test` installs it")
	}
	one := func(table, kind string) string {
		return `SELECT c.code AS code, '` + table + `' AS kind, a.orientation AS d1, b.orientation AS d2, a.name AS n1, b.name AS n2, u.type AS unit, u.conv_factor AS factor FROM ` + table + ` c
			JOIN axis a ON a.coordinate_system_auth_name = c.coordinate_system_auth_name AND a.coordinate_system_code = c.coordinate_system_code AND a.coordinate_system_order = 1
			JOIN axis b ON b.coordinate_system_auth_name = c.coordinate_system_auth_name AND b.coordinate_system_code = c.coordinate_system_code AND b.coordinate_system_order = 2
			JOIN unit_of_measure u ON u.auth_name = a.uom_auth_name AND u.code = a.uom_code
			WHERE c.auth_name = 'EPSG'` + kind
	}
	out := tool(t, "", "ogr2ogr", "-f", "CSV", "/vsistdout/", db, "-sql", one("geodetic_crs", " AND c.type = 'geographic 2D'")+" UNION ALL "+one("projected_crs", ""))
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil || len(rows) < 5000 {
		t.Fatalf("%d rows of %s: %v", len(rows), db, err)
	}
	return rows[1:]
}

// TestAxes compares the table of axes with EPSG's own, code by code, and what
// of the numbers is served with their units.
func TestAxes(t *testing.T) {
	seen, newer := make(map[int]bool), 0
	for _, row := range registry(t) {
		code, err := strconv.Atoi(row[0])
		if err != nil {
			t.Fatal(row)
		}
		seen[code] = true
		first, second := strings.ToLower(row[2]), strings.ToLower(row[3])
		want := other
		switch geographic := row[1] == "geodetic_crs"; {
		case first == "north" && second == "east" && geographic:
			want = latitudeFirst
		case first == "east" && second == "north" && geographic:
			want = longitudeFirst
		case first == "north" && second == "east":
			want = northingFirst
		case first == "east" && second == "north":
			want = eastingFirst
		// Maps of a pole, whose axes both run along meridians: only these put
		// the northing first (EPSG:32661, 32761, 5482).
		case strings.HasPrefix(row[4], "Northing") && strings.HasPrefix(row[5], "Easting") && first[:5] == second[:5] && first != "north":
			want = northingFirst
		}
		got := axesOf(code)
		if got == unknown {
			newer++ // a later edition of the dataset has more
			continue
		}
		if got != want {
			t.Errorf("EPSG:%d has axes %s, %s (%s, %s): class %d, want %d", code, row[2], row[3], row[4], row[5], got, want)
		}
		r, err := EPSG(code)
		if err != nil || r.YFirst != (want == latitudeFirst || want == northingFirst) {
			t.Errorf("EPSG:%d: %+v, %v", code, r, err)
		}
		// One step of the last decimal on the ground, metres.
		step := math.Pow10(-r.Decimals)
		if factor, err := strconv.ParseFloat(row[7], 64); err == nil && row[6] == "length" {
			step *= factor
		} else if row[6] == "angle" {
			step *= 111_320
		} else {
			t.Fatalf("EPSG:%d: unit %s", code, row[6])
		}
		if step > 0.0112 {
			t.Errorf("EPSG:%d: %d decimals are steps of %.4f m", code, r.Decimals, step)
		}
	}
	if newer > 500 {
		t.Errorf("%d codes of the dataset are not in the table", newer)
	}
	for code := range 40_000 {
		if _, err := EPSG(code); (err == nil) && !seen[code] {
			t.Errorf("EPSG:%d is in the table and not in the dataset", code)
		} else if err != nil && inventory.KindOf(err) != inventory.Invalid {
			t.Error(err)
		}
	}
	t.Logf("%d codes compared, %d newer ones refused", len(seen), newer)
}

func TestParse(t *testing.T) {
	lonLat, latLon := CRS84, Reference{SRID: 4326, YFirst: true, Decimals: 7}
	utm, laea := Reference{SRID: 32635, Decimals: 3}, Reference{SRID: 3035, YFirst: true, Decimals: 3}
	for s, want := range map[string]Reference{
		"http://www.opengis.net/def/crs/OGC/1.3/CRS84":   lonLat,
		"https://www.opengis.net/def/crs/OGC/1.3/CRS84":  lonLat,
		"<http://www.opengis.net/def/crs/OGC/1.3/CRS84>": lonLat,
		"[OGC:CRS84]":                                    lonLat,
		"urn:ogc:def:crs:OGC:1.3:CRS84":                  lonLat,
		"urn:ogc:def:crs:OGC::CRS84":                     lonLat,
		"http://www.opengis.net/def/crs/EPSG/0/4326":     latLon,
		"<https://www.opengis.net/def/crs/EPSG/0/4326>":  latLon,
		"http://www.opengis.net/def/crs/EPSG/9.9.1/4326": latLon,
		"urn:ogc:def:crs:EPSG::4326":                     latLon,
		"EPSG:4326":                                      latLon,
		"[EPSG:32635]":                                   utm,
		"http://www.opengis.net/def/crs/EPSG/0/3035":     laea,
	} {
		if got, err := Parse(s); err != nil || got != want {
			t.Errorf("%q: %+v, %v; want %+v", s, got, err, want)
		}
	}
	for _, s := range []string{
		"", "4326", "CRS84", "http://www.opengis.net/def/crs/0/unsupported", "http://www.opengis.net/def/crs/EPSG/0/", "http://www.opengis.net/def/crs/EPSG/0/abc",
		"http://example.com/def/crs/EPSG/0/4326", "http://www.opengis.net/def/crs/OGC/1.3/CRS83", "http://www.opengis.net/def/crs/OGC/0/CRS84h", "<EPSG:4326", "[[EPSG:4326]]",
		"EPSG:4979", "EPSG:4978", "EPSG:5773", "EPSG:7405", "EPSG:0", "EPSG:99999999999999999999", "http://www.opengis.net/def/crs/EPSG/0/4326; DROP TABLE trees", strings.Repeat("x", 5000),
	} {
		got, err := Parse(s)
		if err == nil || inventory.KindOf(err) != inventory.Invalid || len(err.Error()) > 400 {
			t.Errorf("%.50q: %+v, %v", s, got, err)
		}
	}
	for _, r := range []Reference{lonLat, latLon, utm, laea} {
		if got, err := Parse(r.URI()); err != nil || got != r {
			t.Errorf("%s is read as %+v, %v", r.URI(), got, err)
		}
	}
}

// TestUTM compares with GeographicLib's GeoConvert.
func TestUTM(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 2))
	var places []orb.Point
	for range 2000 {
		places = append(places,
			orb.Point{rng.Float64()*360 - 180, rng.Float64()*163.8 - 79.9},
			orb.Point{rng.Float64() * 45, 50 + rng.Float64()*33.9}) // Norway and Svalbard
	}
	for _, lon := range []float64{-180, -174, 0, 3, 6, 9, 12, 21, 33, 42, 179.9999} {
		for _, lat := range []float64{-0.0001, 0, 55.9999, 56, 63.9999, 64, 71.9999, 72, 83.9} {
			places = append(places, orb.Point{lon, lat})
		}
	}
	var in strings.Builder
	for _, p := range places {
		fmt.Fprintf(&in, "%.7f %.7f\n", p[1], p[0])
	}
	rows := strings.Split(strings.TrimSpace(tool(t, in.String(), "GeoConvert", "-u")), "\n")
	if len(rows) != len(places) {
		t.Fatalf("%d rows for %d places", len(rows), len(places))
	}
	for i, row := range rows {
		zone, _, _ := strings.Cut(row, " ")
		n, err := strconv.Atoi(zone[:len(zone)-1])
		if err != nil {
			t.Fatal(row)
		}
		want := 32600 + n
		if strings.HasSuffix(zone, "s") {
			want += 100
		}
		p := places[i]
		if got := UTM(math.Round(p[0]*1e7)/1e7, math.Round(p[1]*1e7)/1e7); got != want {
			t.Errorf("%v: %d, GeoConvert says %s", p, got, zone)
		}
	}
	for _, lon := range []float64{180, 540, -540} {
		if got := UTM(lon, 10); got != 32601 {
			t.Errorf("%v: %d", lon, got)
		}
	}
}

// TestMercatorDegrees compares with PROJ's cs2cs, which gives latitude first.
func TestMercatorDegrees(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	var in strings.Builder
	var boxes []orb.Bound
	for range 200 {
		b := orb.Bound{Min: orb.Point{(rng.Float64()*2 - 1) * 2e7, (rng.Float64()*2 - 1) * 2e7}}
		b.Max = orb.Point{b.Min[0] + 1000, b.Min[1] + 1000}
		boxes = append(boxes, b)
		fmt.Fprintf(&in, "%.6f %.6f\n%.6f %.6f\n", b.Min[0], b.Min[1], b.Max[0], b.Max[1])
	}
	fields := strings.Fields(tool(t, in.String(), "cs2cs", "-f", "%.10f", "EPSG:3857", "EPSG:4326"))
	fields = slices.DeleteFunc(fields, func(s string) bool { return s == "0.0000000000" || s == "0.000" })
	if len(fields) != 4*len(boxes) {
		t.Fatalf("%d numbers for %d boxes", len(fields), len(boxes))
	}
	for i, b := range boxes {
		got := MercatorDegrees(b)
		for k, v := range []float64{got.Min[1], got.Min[0], got.Max[1], got.Max[0]} {
			if want, err := strconv.ParseFloat(fields[4*i+k], 64); err != nil || math.Abs(v-want) > 2e-10 {
				t.Errorf("%v: %v, PROJ says %s", b, v, fields[4*i+k])
			}
		}
	}
}
