package api_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/underbough/underbough/api"
	"github.com/underbough/underbough/inventory"
	"github.com/underbough/underbough/inventory/profile"
	"github.com/underbough/underbough/inventory/question"
	"github.com/underbough/underbough/inventory/ranking"
)

func TestKeptRankings(t *testing.T) {
	s := serve(t, nil)
	if a := s.answer(t, "/rankings"); len(a.Rows) != 0 || *a.NumberMatched != 0 {
		t.Error(a.Rows)
	}
	site := inventory.Site{ID: 1, Client: 1, Name: "Low Quarter", TimeZone: "Europe/Vilnius"}
	keep := func(name string, q ranking.Question) *ranking.Record {
		r, err := question.Record(t.Context(), s.db, site, name, "a test", q, profile.Default(), today)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	first := keep("spring", ranking.Question{By: ranking.ByHarm, Cuts: []inventory.CutKind{inventory.CutTopping}, Limit: 40})
	tag := s.get(t, "/rankings").header.Get("ETag")
	fallen := s.features(t, "/ranking?cut=topping&limit=1").Features[0]
	s.exec(t, fmt.Sprintf(`UPDATE trees SET status = 'removed' WHERE tree_id = %v; UPDATE targets SET people_per_hour = 400 WHERE target_id = 2`, fallen.ID))
	second := keep("summer", ranking.Question{By: ranking.ByHarm, Cuts: []inventory.CutKind{inventory.CutTopping}, Limit: 40, Season: "leaf-on", Draws: 20, Seed: 18446744073709551615, Top: 5})
	one, two := fmt.Sprintf("/rankings/%d", first.ID), fmt.Sprintf("/rankings/%d", second.ID)

	t.Run("the list, the latest first", func(t *testing.T) {
		a := s.answer(t, "/rankings?site=Low+Quarter")
		if len(a.Rows) != 2 || a.Rows[0]["name"] != "summer" || a.Rows[1]["name"] != "spring" || a.Rows[1]["rows_sha256"] != first.Digest || a.Rows[0]["seed"] == nil {
			t.Fatal(a.Rows)
		}
		for _, row := range a.Rows {
			delete(row, "links")
			delete(row, "seed") // more digits than a float64 has
		}
		if r := s.get(t, "/rankings", "If-None-Match", tag); r.status != 200 {
			t.Error("a ranking was kept and the tag is the same")
		}
		if r := s.get(t, "/rankings", "If-None-Match", s.get(t, "/rankings").header.Get("ETag")); r.status != 304 {
			t.Error(r.status)
		}
		if r := s.get(t, "/rankings"); !strings.Contains(string(r.body), `"seed":18446744073709551615`) || !strings.Contains(string(r.body), "a full run") {
			t.Errorf("%s", r.body)
		}
		if r := s.get(t, "/rankings?f=csv"); strings.Count(string(r.body), "\r\n") != 3 {
			t.Errorf("%s", r.body)
		}
	})
	t.Run("a ranking's rows are those that were kept, to the byte", func(t *testing.T) {
		r := s.get(t, one)
		raw := parse[struct{ Rows []json.RawMessage }](t, r.body).Rows
		h := sha256.New()
		for _, row := range raw {
			h.Write(append(row, '\n'))
		}
		if got := hex.EncodeToString(h.Sum(nil)); got != first.Digest || len(raw) != 40 {
			t.Errorf("%d rows with the digest %s, want %s", len(raw), got, first.Digest)
		}
		a := s.answer(t, one)
		s.table(t, one, a.Rows)
		f := s.features(t, one+"?f=geojson").Features
		if len(f) != 40 || f[0].ID != fallen.ID || f[0].Geometry.Type != "Point" || string(f[0].Geometry.Coordinates) != string(fallen.Geometry.Coordinates) || f[0].Properties["reason"] != fallen.Properties["reason"] {
			t.Errorf("%+v, was %+v", f[0], fallen)
		}
		if r := s.get(t, one, "If-None-Match", r.header.Get("ETag")); r.status != 304 {
			t.Error(r.status)
		}
	})
	t.Run("two side by side", func(t *testing.T) {
		a := s.answer(t, one+"/compare/"+fmt.Sprint(second.ID))
		s.table(t, one+"/compare/"+fmt.Sprint(second.ID), a.Rows)
		gone := a.Rows[0]
		for _, row := range a.Rows {
			if row["tree_id"] == fallen.ID {
				gone = row
			}
		}
		if gone["tree_id"] != fallen.ID || gone["rank_before"] != 1.0 || gone["rank_after"] != nil || fmt.Sprint(gone["why"]) != "[not in the later ranking]" {
			t.Error(gone)
		}
		moved := 0
		for _, row := range a.Rows {
			if row["places_up"] != nil && row["places_up"] != row["rank_before"].(float64)-row["rank_after"].(float64) {
				t.Error(row)
			}
			if strings.Contains(fmt.Sprint(row["why"]), "people ") {
				moved++
			}
		}
		if moved == 0 {
			t.Error("nobody moved for the people")
		}
		if a := s.answer(t, one+"/compare/"+fmt.Sprint(first.ID)); len(a.Rows) != 0 {
			t.Error("it differs from itself", a.Rows)
		}
	})
	t.Run("made again to the byte, whatever was edited since", func(t *testing.T) {
		for _, path := range []string{one, two} {
			r := s.get(t, path+"/check")
			if got := parse[map[string]any](t, r.body); r.status != 200 || got["same"] != true || got["rows_sha256"] != got["rows_sha256_now"] || got["first_difference"] != nil || r.header.Get("Cache-Control") != "no-store" {
				t.Error(path, r.status, string(r.body))
			}
		}
	})
	if r := serveOn(t, s, func(c *api.Config) { c.Store = vast{c.Store, 300_001} }).get(t, two+"/check"); r.status != 422 || !strings.Contains(string(r.body), "command underbough") {
		t.Error(r.status, string(r.body))
	}
	for path, want := range map[string]int{
		"/rankings/99": 404, "/rankings/0": 404, "/rankings/-1": 404, "/rankings/01": 404, "/rankings/one": 404, "/rankings/99999999999999999999": 404,
		one + "/compare/99": 404, one + "/compare/x": 404, one + "/compare": 404, "/rankings/99/check": 404, one + "/check?f=csv": 400, one + "?limit=3": 400, "/rankings?site=Nowhere": 400,
	} {
		if r := s.get(t, path); r.status != want || r.header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%s: %d %s", path, r.status, r.body)
		}
	}
	for _, path := range []string{one, one + "/compare/" + fmt.Sprint(second.ID), one + "/check"} {
		if r := s.do(t, "HEAD", path); r.status != 200 || len(r.body) != 0 || r.header.Get("Content-Type") != "application/json" {
			t.Error(path, r.status, r.header)
		}
	}
	t.Run("a row that was tampered with is found", func(t *testing.T) {
		s.exec(t, fmt.Sprintf(`ALTER TABLE ranked DISABLE TRIGGER USER; UPDATE ranked SET row = replace(row::text, 'topped', 'tipped')::json WHERE ranking_id = %d AND place = 7`, first.ID))
		r := s.get(t, one+"/check")
		got := parse[struct {
			Same      bool
			Different *struct {
				Place     int
				Kept, Now map[string]any
			} `json:"first_difference"`
		}](t, r.body)
		if r.status != 200 || got.Same || got.Different == nil || got.Different.Place != 7 || !strings.Contains(got.Different.Kept["cuts"].(string), "tipped") || !strings.Contains(got.Different.Now["cuts"].(string), "topped") {
			t.Error(r.status, string(r.body))
		}
	})
}

// keepRankings keeps two rankings, numbers 1 and 2.
func (s *service) keepRankings(t testing.TB) {
	t.Helper()
	site := inventory.Site{ID: 1, Client: 1, Name: "Low Quarter", TimeZone: "Europe/Vilnius"}
	for _, name := range []string{"spring", "summer"} {
		if _, err := question.Record(t.Context(), s.db, site, name, "a test", ranking.Question{By: ranking.ByHarm, Limit: 20}, profile.Default(), today); err != nil {
			t.Fatal(err)
		}
	}
}
