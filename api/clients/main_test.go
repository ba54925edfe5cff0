//go:build clients

package clients_test

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
	"github.com/underbough/underbough/inventory/profile"
)

func TestMain(m *testing.M) {
	pgtest.Main(m)
}

// today is when the tests take place.
var today = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)

// reach is an invented place of 20,000 trees on a grid of 10 m, 160 from west to
// east, of which every third was topped and every fifth visited; with 60 houses
// around courts, parking, ways, and one target of every type of geometry. Tree n
// has the id 3 n and the tag B and n. Coordinates have seven decimals at most, as
// many as are served.
const reach = `
INSERT INTO sites (client_id, name, time_zone) VALUES (1, 'Birch Reach', 'Europe/Vilnius');
INSERT INTO trees (client_id, site_id, tree_id, tag, species, status, dbh_m, height_m, crown_radius_m, planted_year, brittle, extra, geometry)
SELECT 1, 1, 3 * n, 'B' || n, CASE n % 4 WHEN 0 THEN 'Tilia cordata' WHEN 1 THEN 'Acer platanoides' WHEN 2 THEN 'Quercus robur' END,
       CASE WHEN n % 50 = 0 THEN 'dead' WHEN n % 50 = 7 THEN 'stump' ELSE 'alive' END,
       CASE WHEN n % 5 > 0 THEN (20 + n % 40) * 0.01 END, CASE WHEN n % 6 > 0 THEN 8 + n % 12 END, CASE WHEN n % 2 = 0 THEN 2 + n % 4 END,
       1950 + n % 60, n % 9 = 0, '{"note": "a \"quoted\" word, ž"}',
       ST_SetSRID(ST_MakePoint(25.28 + (n - 1) % 160 * 0.000156, 54.68 + (n - 1) / 160 * 0.00009), 4326)
FROM generate_series(1, 20000) n;
SELECT setval(pg_get_serial_sequence('trees', 'tree_id'), 90000);
INSERT INTO cuts (client_id, site_id, tree_id, kind, made_year, diameter_m, bearing_deg, reach_m, regrowth_length_m)
SELECT 1, 1, 3 * n, 'topping', 2008 + n % 12, 0.12, CASE WHEN n % 2 = 0 THEN n % 360 END, 3, 2.5 FROM generate_series(3, 20000, 3) n;
INSERT INTO visits (client_id, site_id, tree_id, visited_on, next_visit_on, note)
SELECT 1, 1, 3 * n, date '2020-01-01' + n % 2000, date '2026-01-01' + n % 700, 'looked at from the street' FROM generate_series(5, 20000, 5) n;
INSERT INTO targets (client_id, site_id, name, kind, geometry)
SELECT 1, 1, 'House ' || n, 'building', ST_GeomFromText(format('POLYGON((%1$s %3$s,%2$s %3$s,%2$s %4$s,%1$s %4$s,%1$s %3$s),(%5$s %7$s,%5$s %8$s,%6$s %8$s,%6$s %7$s,%5$s %7$s))',
       x, x + 0.0006, y, y + 0.0003, x + 0.0002, x + 0.0004, y + 0.0001, y + 0.0002), 4326)
FROM (SELECT n, 25.2812 + n % 10 * 0.0024 AS x, 54.6812 + n / 10 * 0.0018 AS y FROM generate_series(0, 59) n) h;
INSERT INTO targets (client_id, site_id, name, kind, people_per_hour, stalls, vehicles_per_day, geometry) VALUES
 (1, 1, 'Lot', 'parking', NULL, 40, NULL, ST_GeomFromText('POLYGON((25.2802 54.6802,25.2812 54.6802,25.2812 54.6806,25.2802 54.6806,25.2802 54.6802),(25.2805 54.6803,25.2805 54.6804,25.2807 54.6804,25.2807 54.6803,25.2805 54.6803))', 4326)),
 (1, 1, 'Path', 'walkway', 80, NULL, NULL, ST_GeomFromText('LINESTRING(25.2799 54.6801,25.2920 54.6860,25.3049 54.6911)', 4326)),
 (1, 1, 'Street', 'road', NULL, NULL, 4000, ST_GeomFromText('LINESTRING(25.2799 54.6856,25.3049 54.6857)', 4326)),
 (1, 1, 'Two paths', 'walkway', 10, NULL, NULL, ST_GeomFromText('MULTILINESTRING((25.2800 54.68075,25.2827 54.68075),(25.2810 54.6799,25.2810 54.6812))', 4326)),
 (1, 1, 'Stop', 'transit_stop', 25, NULL, NULL, ST_GeomFromText('POINT(25.2901 54.68585)', 4326)),
 (1, 1, 'Seats', 'seating', NULL, NULL, NULL, ST_GeomFromText('MULTIPOINT((25.28150 54.68045),(25.28165 54.68045))', 4326)),
 (1, 1, 'Blocks', 'building', NULL, NULL, NULL, ST_GeomFromText('MULTIPOLYGON(((25.2815 54.6806,25.2818 54.6806,25.2818 54.6808,25.2815 54.6808,25.2815 54.6806)),((25.2820 54.6806,25.2822 54.6806,25.2822 54.6808,25.2820 54.6808,25.2820 54.6806)))', 4326)),
 (1, 1, 'Mixed', 'other', NULL, NULL, NULL, ST_GeomFromText('GEOMETRYCOLLECTION(POINT(25.2824 54.6803),LINESTRING(25.2824 54.6803,25.2826 54.6803))', 4326));
ANALYZE;
`

// service is a running service over the place.
type service struct {
	db  string // the database's address
	url string // where the service is reached

	mu       sync.Mutex
	requests []string
}

// asked returns what the service was asked for since it was called last.
func (s *service) asked() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	list := s.requests
	s.requests = nil
	return list
}

// serve starts a service that may be edited, and lets it work the exposures out.
func serve(t *testing.T) *service {
	t.Helper()
	s := &service{db: pgtest.URL(t)}
	pgtest.Exec(t, s.db, reach)
	store, err := postgres.Open(t.Context(), s.db)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(store.Close)
	handler := api.New(api.Config{Store: store, Client: 1, Profile: profile.Default(), Edit: true,
		Log: slog.New(slog.NewTextHandler(t.Output(), &slog.HandlerOptions{Level: slog.LevelWarn})), Now: func() time.Time { return today }}).Handler()
	web := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.mu.Lock()
		s.requests = append(s.requests, r.Method+" "+r.URL.RequestURI())
		s.mu.Unlock()
		handler.ServeHTTP(w, r)
	}))
	t.Cleanup(web.Close)
	s.url = web.URL
	s.catchUp(t)
	return s
}

// catchUp brings the exposures up to date, as any ranking does first.
func (s *service) catchUp(t *testing.T) {
	t.Helper()
	get(t, s.url+"/ranking?limit=1")
}

// get returns the body at an address.
func get(t *testing.T, address string) []byte {
	t.Helper()
	resp, err := http.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("%s: %d %v %.500s", address, resp.StatusCode, err, body)
	}
	return body
}

// sql returns what the database says, a row a string with | between values.
func (s *service) sql(t *testing.T, query string) []string {
	t.Helper()
	return pgtest.Query(t, s.db, query)
}

// one is the only value of a query.
func (s *service) one(t *testing.T, query string) string {
	t.Helper()
	rows := s.sql(t, query)
	if len(rows) != 1 {
		t.Fatalf("%d rows, expected one: %s", len(rows), query)
	}
	return rows[0]
}

const hint = "run `make test-clients`, which installs what is missing"

// need ends the test where a program is not there.
func need(t *testing.T, programs ...string) {
	t.Helper()
	for _, p := range programs {
		if _, err := exec.LookPath(p); err != nil {
			t.Fatalf("there is no %s: %s", p, hint)
		}
	}
}

// run runs a program, which must do its work without a word of an error. GDAL
// says ERROR and ends as if nothing was the matter.
func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), name, args...)
	var said strings.Builder
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil || strings.Contains(said.String(), "ERROR") {
		t.Fatalf("%s %s: %v\n%s\n%.2000s", name, strings.Join(args, " "), err, said.String(), out)
	}
	if said.Len() > 0 {
		t.Logf("%s says: %s", name, strings.TrimSpace(said.String()))
	}
	return string(out)
}

// table reads CSV without its head as rows of values with | between.
func table(t *testing.T, text string) []string {
	t.Helper()
	records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil || len(records) == 0 {
		t.Fatalf("%v in %.500s", err, text)
	}
	var rows []string
	for _, r := range records[1:] {
		rows = append(rows, strings.Join(r, "|"))
	}
	return rows
}

// same compares two lists in whatever order they came.
func same(t *testing.T, what string, got, want []string) {
	t.Helper()
	got, want = slices.Sorted(slices.Values(got)), slices.Sorted(slices.Values(want))
	if len(want) == 0 {
		t.Fatalf("%s: the database has nothing to compare with", what)
	}
	if slices.Equal(got, want) {
		return
	}
	i := 0
	for i < min(len(got), len(want)) && got[i] == want[i] {
		i++
	}
	t.Errorf("%s: %d rows, expected %d; the first that differs is\n%s, expected\n%s", what, len(got), len(want), at(got, i), at(want, i))
}

func at(rows []string, i int) string {
	if i < len(rows) {
		return rows[i]
	}
	return "none"
}

func parse[T any](t *testing.T, text []byte) (v T) {
	t.Helper()
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatalf("%v in %.500s", err, text)
	}
	return v
}
