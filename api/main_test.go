package api_test

import (
	"bytes"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/postgres"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
	"github.com/underbough/underbough/inventory/profile"
)

func TestMain(m *testing.M) {
	pgtest.Main(m)
}

// today is when the tests take place.
var today = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)

// The quarter the tests ask about: 260 trees on a grid of 10 m, every third
// topped, a parking lot with a hole whose rings both go the wrong way round,
// a path through all of it, seats as points, a visit that judged nothing, people
// counted in one hour. Tree n has the id n and the tag T and n.
const quarter = `
INSERT INTO sites (client_id, name, time_zone) VALUES (1, 'Low Quarter', 'Europe/Vilnius');
INSERT INTO trees (client_id, site_id, tree_id, tag, species, status, dbh_m, height_m, crown_radius_m, planted_year, extra, geometry)
SELECT 1, 1, n, 'T' || n, CASE n % 4 WHEN 0 THEN 'Tilia cordata' WHEN 1 THEN 'Acer platanoides' WHEN 2 THEN 'Quercus robur' END,
       CASE WHEN n % 50 = 0 THEN 'dead' WHEN n % 50 = 7 THEN 'stump' ELSE 'alive' END,
       CASE WHEN n % 5 > 0 THEN 0.2 + n % 40 * 0.0127 END, CASE WHEN n % 6 > 0 THEN 8 + n % 12 END, CASE WHEN n % 2 = 0 THEN 2 + n % 4 END,
       1950 + n % 60, '{"note": "a \"quoted\" word, ž"}',
       ST_SetSRID(ST_MakePoint(25.28 + n % 20 * 0.000144, 54.68 + n / 20 * 0.00009), 4326)
FROM generate_series(1, 260) n;
SELECT setval(pg_get_serial_sequence('trees', 'tree_id'), 2000);
INSERT INTO cuts (client_id, site_id, tree_id, kind, made_year, diameter_m, bearing_deg, reach_m, regrowth_length_m)
SELECT 1, 1, n, 'topping', 2008 + n % 12, 0.12, CASE WHEN n % 2 = 0 THEN n % 360 END, 3, 2.5 FROM generate_series(3, 260, 3) n;
INSERT INTO cuts (client_id, site_id, tree_id, kind, made_on, decay) SELECT 1, 1, n, 'stub', '2021-03-15', true FROM generate_series(12, 260, 12) n;
INSERT INTO targets (client_id, site_id, name, kind, stalls, repair, geometry) VALUES
 (1, 1, 'Lot', 'parking', 40, 'ring closed', ST_GeomFromText('POLYGON((25.2802 54.6802,25.2802 54.6806,25.2812 54.6806,25.2812 54.6802,25.2802 54.6802),(25.2805 54.6803,25.2807 54.6803,25.2807 54.6804,25.2805 54.6804,25.2805 54.6803))', 4326));
INSERT INTO targets (client_id, site_id, name, kind, people_per_hour, geometry) VALUES
 (1, 1, 'Path', 'walkway', 80, ST_GeomFromText('LINESTRING(25.2799 54.6801,25.2829 54.6811)', 4326)),
 (1, 1, 'Two paths', 'walkway', 10, ST_GeomFromText('MULTILINESTRING((25.2800 54.68075,25.2827 54.68075),(25.2810 54.6799,25.2810 54.6812))', 4326)),
 (1, 1, 'Seats', 'seating', NULL, ST_GeomFromText('MULTIPOINT((25.28150 54.68045),(25.28165 54.68045))', 4326)),
 (1, 1, 'Blocks', 'building', NULL, ST_GeomFromText('MULTIPOLYGON(((25.2815 54.6806,25.2818 54.6806,25.2818 54.6808,25.2815 54.6808,25.2815 54.6806)),((25.2820 54.6806,25.2822 54.6806,25.2822 54.6808,25.2820 54.6808,25.2820 54.6806)))', 4326)),
 (1, 1, 'Mixed', 'other', NULL, ST_GeomFromText('GEOMETRYCOLLECTION(POINT(25.2824 54.6803),LINESTRING(25.2824 54.6803,25.2826 54.6803))', 4326));
INSERT INTO visits (client_id, site_id, tree_id, visited_on, note) VALUES (1, 1, 5, '2024-06-01', 'looked at from the street');
INSERT INTO counts (client_id, site_id, target_id, counted_at, people) SELECT 1, 1, target_id, '2026-03-02 08:00', 30 FROM targets WHERE name = 'Mixed';
INSERT INTO practices (client_id, digest, name, body) VALUES (1, 'of the quarter', 'by hand', 'name: by hand');
INSERT INTO specifications (client_id, specification_id, site_id, tree_id, body, practice_digest) SELECT 1, n, 1, 200 + n, '{"work": "cleaning", "visits": [{"number": 1, "after_years": 0, "dose": 0.1, "items": [], "goal": "clean"}]}', 'of the quarter' FROM generate_series(1, 5) n;
INSERT INTO jobs (client_id, job_id, site_id, tree_id, tag, specification_id, visit, year, package, work, state, gates, hours, cost, harm_before, harm_predicted, open_days, quietest, geometry)
SELECT 1, n, 1, 200 + n, 'T' || 200 + n, n, 1, 2026 + n % 3, 'Path', 'cleaning', CASE n % 2 WHEN 0 THEN 'proposed' ELSE 'withdrawn' END, '[{"name": "permit", "why": "the owner asks for one", "cleared": false}]',
       1.25 * n, 0, 0.002 * n, 0.0015 * n, 'all year', 'Sunday at 6', (SELECT geometry FROM trees WHERE tree_id = 200 + n) FROM generate_series(1, 5) n;
SELECT setval(pg_get_serial_sequence('specifications', 'specification_id'), 10), setval(pg_get_serial_sequence('jobs', 'job_id'), 10);
`

// service is a server over the quarter.
type service struct {
	url string // of the database
	web *httptest.Server
	// server is the same as web, to ask it for its API definition without a
	// request.
	server  *api.Server
	defined *defined
	db      *postgres.DB
	log     *lines
}

func serve(t testing.TB, config func(*api.Config)) *service {
	t.Helper()
	s := &service{url: pgtest.URL(t), log: &lines{}}
	pgtest.Exec(t, s.url, quarter)
	db, err := postgres.Open(t.Context(), s.url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(db.Close)
	s.db = db
	return serveOn(t, s, config)
}

// serveOn is another server over the database of one.
func serveOn(t testing.TB, s *service, config func(*api.Config)) *service {
	t.Helper()
	out := *s
	c := api.Config{Store: s.db, Client: 1, Profile: profile.Default(), Log: slog.New(slog.NewJSONHandler(s.log, nil)), Now: func() time.Time { return today }}
	if config != nil {
		config(&c)
	}
	out.server, out.defined = api.New(c), &defined{}
	out.web = httptest.NewServer(out.server.Handler())
	t.Cleanup(out.web.Close)
	return &out
}

// run works out the exposures, as the first ranking does.
func (s *service) run(t testing.TB) {
	t.Helper()
	if r := s.get(t, "/ranking?limit=1"); r.status != 200 {
		t.Fatal(r.status, string(r.body))
	}
}

type reply struct {
	status int
	header http.Header
	body   []byte
}

func (s *service) get(t testing.TB, path string, headers ...string) reply {
	return s.do(t, http.MethodGet, path, headers...)
}

// do makes a request with headers given as name, value, and holds the answer
// against the API definition.
func (s *service) do(t testing.TB, method, path string, headers ...string) reply {
	t.Helper()
	if len(path) > 0 && path[0] == '/' {
		path = s.web.URL + path
	}
	req, err := http.NewRequest(method, path, nil)
	if err != nil {
		t.Fatal(err)
	}
	// No coding but what the test asks for.
	req.Header.Set("Accept-Encoding", "identity")
	for i := 0; i < len(headers); i += 2 {
		if headers[i] == "Host" {
			req.Host = headers[i+1]
		}
		req.Header.Set(headers[i], headers[i+1])
	}
	client := http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := client.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	r := reply{resp.StatusCode, resp.Header, body}
	s.check(t, req, r)
	return r
}

// collection is a GeoJSON answer.
type collection struct {
	Type           string
	Features       []feature
	Links          []link
	NumberMatched  *int
	NumberReturned int
	TimeStamp      string
}

type feature struct {
	Type       string
	ID         any
	Geometry   *geometry
	Properties map[string]any
	Links      []link
}

type geometry struct {
	Type        string
	Coordinates json.RawMessage
	Geometries  []geometry
}

type link struct{ Href, Rel, Type string }

func rel(links []link, rel string) string {
	for _, l := range links {
		if l.Rel == rel {
			return l.Href
		}
	}
	return ""
}

// features asks for features and wants them.
func (s *service) features(t testing.TB, path string) collection {
	t.Helper()
	r := s.get(t, path)
	if r.status != http.StatusOK {
		t.Fatalf("%s: %d %s", path, r.status, r.body)
	}
	return parse[collection](t, r.body)
}

func parse[T any](t testing.TB, body []byte) T {
	t.Helper()
	var v T
	if err := json.Unmarshal(body, &v); err != nil {
		t.Fatalf("%v in %.300s", err, body)
	}
	return v
}

// lines gathers log lines.
type lines struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lines) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lines) all(t testing.TB) []map[string]any {
	l.mu.Lock()
	defer l.mu.Unlock()
	var out []map[string]any
	for _, line := range bytes.Split(bytes.TrimSpace(l.b.Bytes()), []byte("\n")) {
		if len(line) > 0 {
			out = append(out, parse[map[string]any](t, line))
		}
	}
	return out
}

var _ api.Store = (*postgres.DB)(nil)

var _ inventory.FeatureStore = (*postgres.DB)(nil)
