package api_test

import (
	"testing"
	"time"
)

func TestZZTime(t *testing.T) {
	s := serve(t, nil)
	s.exec(t, `INSERT INTO trees (client_id, site_id, tag, species, status, dbh_m, geometry)
SELECT 1, 1, 'B' || n, 'Tilia cordata', 'alive', 0.2 + n % 40 * 0.0127, ST_SetSRID(ST_MakePoint(26 + n % 316 * 0.000144, 55 + n / 316 * 0.00009), 4326) FROM generate_series(1, 100000) n;
INSERT INTO cuts (client_id, site_id, tree_id, kind, made_year) SELECT client_id, site_id, tree_id, 'topping', 2012 FROM trees WHERE tag LIKE 'B%5';
INSERT INTO targets (client_id, site_id, kind, people_per_hour, geometry) SELECT 1, 1, 'walkway', n % 90, ST_SetSRID(ST_MakeLine(ST_MakePoint(26 + n % 173 * 0.00026, 55 + n / 173 * 0.00016), ST_MakePoint(26.0002 + n % 173 * 0.00026, 55.0001 + n / 173 * 0.00016)), 4326) FROM generate_series(1, 30000) n`)
	for _, p := range []string{"/ranking?limit=1", "/ranking?limit=1", "/hours?tag=B777&window=3", "/ranking?limit=100&draws=500", "/ranking?limit=100&season=leaf-off", "/places", "/grid?size=50", "/grid?cells=square&size=5", "/what-if?change=tree+B777+removed", "/what-if?change=target+900+gone"} {
		begun := time.Now()
		r := s.get(t, p)
		t.Log(p, r.status, len(r.body), time.Since(begun).Round(time.Millisecond))
	}
}
