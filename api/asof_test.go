package api_test

import (
	"encoding/json"
	"fmt"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory/postgres/pgtest"
)

// everything reads all that is served of the inventory, but for what says when and
// by which computation it was answered.
func (s *service) everything(t *testing.T, asOf string) map[string]string {
	t.Helper()
	if asOf != "" {
		asOf = "&as_of=" + url.QueryEscape(asOf)
	}
	out := make(map[string]string)
	for _, c := range []string{"sites", "trees", "cuts", "visits", "targets", "counts", "jobs", "zones", "overlaps"} {
		var all strings.Builder
		for path := "/collections/" + c + "/items?limit=10000" + asOf; path != ""; {
			page := parse[struct {
				Features []struct {
					ID         any
					Geometry   json.RawMessage
					Properties map[string]any
				}
				Links []link
			}](t, s.got(t, path))
			for _, f := range page.Features {
				delete(f.Properties, "generation")
				delete(f.Properties, "computed_at")
				if c == "sites" { // of the run in force, which is none of the past
					delete(f.Properties, "profile")
				}
				properties, _ := json.Marshal(f.Properties)
				fmt.Fprintf(&all, "%v %s %s\n", f.ID, f.Geometry, properties)
			}
			path = rel(page.Links, "next")
		}
		out[c] = all.String()
	}
	for name, path := range map[string]string{
		"ranking": "/ranking?limit=300", "explain": "/explain?tag=T12", "hours": "/hours?tag=T12", "places": "/places?limit=5", "place": "/places/2", "weeks of trees": "/hours/trees", "weeks of places": "/hours/places", "grid": "/grid?cells=square&size=100",
		"one tree": "/collections/trees/items/12?f=json", "filtered": "/collections/trees/items?filter=" + url.QueryEscape("rank <= 20 AND A_CONTAINS(cut_kinds,('topping'))"),
		"sorted": "/collections/trees/items?sortby=-harm_index,tag&limit=30",
	} {
		body := string(s.got(t, path+joined(path, asOf)))
		// Links and the time of the answer differ by what was asked and when.
		v := parse[map[string]any](t, []byte(body))
		for _, member := range []string{"links", "timeStamp", "generation"} {
			delete(v, member)
		}
		b, _ := json.Marshal(v)
		out[name] = string(b)
	}
	return out
}

func joined(path, asOf string) string {
	if !strings.Contains(path, "?") {
		return strings.Replace(asOf, "&", "?", 1)
	}
	return asOf
}

// instant is the database's clock.
func (s *service) instant(t testing.TB) string {
	return pgtest.Query(t, s.url, `SELECT to_char(clock_timestamp() AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"')`)[0]
}

// got is the body of an answer that must be well.
func (s *service) got(t testing.TB, path string) []byte {
	t.Helper()
	r := s.get(t, path)
	if r.status != 200 {
		t.Fatalf("%s: %d %s", path, r.status, r.body)
	}
	return r.body
}

// Whatever is edited, and by whatever path, what was served at an instant is
// served again as of it.
func TestAsOfServesWhatWasServed(t *testing.T) {
	s := serve(t, func(c *api.Config) { c.Now, c.Edit = time.Now, true })
	s.run(t)
	before := s.everything(t, "")
	at := s.instant(t)
	time.Sleep(2 * time.Millisecond)
	pgtest.Exec(t, s.url, `
		UPDATE trees SET height_m = 31, geometry = ST_Translate(geometry, 0.0002, 0) WHERE tree_id % 7 = 0;
		UPDATE trees SET height_m = 12 WHERE tree_id % 14 = 0;
		DELETE FROM trees WHERE tree_id % 11 = 0;
		INSERT INTO trees (client_id, site_id, tag, height_m, geometry) VALUES (1, 1, 'NEW', 20, ST_SetSRID(ST_MakePoint(25.2805, 54.6803), 4326));
		UPDATE cuts SET kind = 'stub', regrowth_length_m = 9 WHERE tree_id % 6 = 0;
		DELETE FROM cuts WHERE tree_id % 9 = 0;
		INSERT INTO visits (client_id, site_id, tree_id, visited_on, whole_tree, next_visit_on) VALUES (1, 1, 12, '2026-06-01', 'probable', '2027-06-01');
		UPDATE targets SET people_per_hour = 500, geometry = ST_Translate(geometry, 0, 0.0001) WHERE name = 'Path';
		DELETE FROM targets WHERE name = 'Two paths';
		UPDATE counts SET people = 900;
		UPDATE jobs SET state = 'withdrawn', year = 2030 WHERE job_id = 2;
		DELETE FROM jobs WHERE job_id = 4;
		UPDATE sites SET name = 'High Quarter', time_zone = 'Asia/Tokyo', epsg = 3346;
	`)
	if r := s.send(t, "PATCH", "/collections/trees/items/5", "application/merge-patch+json", `{"properties":{"species":"Malus sylvestris","height_m":4}}`); r.status/100 != 2 {
		t.Fatal(r.status, string(r.body))
	}
	s.run(t)
	now := s.everything(t, "")
	then := s.everything(t, at)
	for name := range before {
		if then[name] != before[name] {
			t.Errorf("%s as of the instant differs from what was served then:\n%s", name, firstDifference(before[name], then[name]))
		}
		if name != "counts" && now[name] == before[name] {
			t.Errorf("%s is as before the edits: the comparison says nothing", name)
		}
	}
	// The same instant again rests on what was computed for it.
	runs := pgtest.Query(t, s.url, `SELECT count(*) FROM past_runs`)[0]
	s.got(t, "/collections/trees/items?as_of="+url.QueryEscape(at))
	again := pgtest.Query(t, s.url, `SELECT count(*) FROM past_runs`)[0]
	if runs != "1" || again != "1" {
		t.Errorf("%s and %s computations are kept for one instant", runs, again)
	}
	// And the latest of what is in force was not touched by looking back.
	if after := s.everything(t, ""); after["trees"] != now["trees"] {
		t.Error("looking back has changed what is in force")
	}
}

func firstDifference(a, b string) string {
	la, lb := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(la), len(lb)) {
		if la[i] != lb[i] {
			return fmt.Sprintf("then    %.1500s\nas of   %.1500s", la[i], lb[i])
		}
	}
	return fmt.Sprintf("%d lines and %d", len(la), len(lb))
}

// Only a few instants are kept.
func TestPastComputationsAreLetGo(t *testing.T) {
	s := serve(t, func(c *api.Config) { c.Now = time.Now })
	s.run(t)
	for range 8 {
		at := s.instant(t)
		s.got(t, "/collections/trees/items?limit=1&as_of="+url.QueryEscape(at))
	}
	if kept := pgtest.Query(t, s.url, `SELECT count(DISTINCT at) <= 4, (SELECT count(*) FROM pg_inherits WHERE inhparent = 'exposures'::regclass) <= 7 FROM past_runs`); kept[0] != "t|t" {
		t.Errorf("few enough instants and partitions are kept: %v", kept)
	}
}

func TestAsOfErrors(t *testing.T) {
	s := serve(t, nil)
	for _, c := range []struct{ query, want string }{
		{"as_of=yesterday", "expected an instant"},
		{"as_of=2200-01-01", "yet to come"},
		{"as_of=2026-01-01&as_of=2026-01-02", "more than once"},
	} {
		r := s.get(t, "/collections/trees/items?"+c.query)
		if r.status != 400 || !strings.Contains(string(r.body), c.want) || !strings.Contains(string(r.body), `"parameter":"as_of"`) {
			t.Errorf("%s: %d %s", c.query, r.status, r.body)
		}
	}
	// Before anything was there, nothing was.
	if c := s.features(t, "/collections/trees/items?as_of=2001-01-01"); len(c.Features) != 0 || c.NumberMatched == nil || *c.NumberMatched != 0 {
		t.Errorf("%d features before anything was there", len(c.Features))
	}
}

// TestAsOfBeforeAnything says that a day lies before the first record, rather than
// that there is no site.
func TestAsOfBeforeAnything(t *testing.T) {
	s := serve(t, nil)
	for _, path := range []string{"/places", "/ranking", "/hours/trees", "/hours/places"} {
		if r := s.get(t, path+"?as_of=1990-01-01"); r.status != 404 || !strings.Contains(string(r.body), "nothing was recorded as of 1990-01-01") {
			t.Errorf("%s: %d %s", path, r.status, r.body)
		}
	}
}
